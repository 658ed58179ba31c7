//! A winding order as CSV, for spreadsheets and machines, and back.
//!
//! The first row names the columns; they are always the same, in the same order. The column `record` says what a row is,
//! and a row fills only the columns of its kind:
//!
//! | record | columns | rows |
//! |---|---|---|
//! | `order` | `order_id`, `revision`, `reason`, `release_time` (RFC 3339, UTC) | one, the first |
//! | `serial` | `serial_id`, `model_id`, `revision_id`, `set_digest` | one for each instrument |
//! | `line` | `note` to `layer2_wire_mass_g`; `for_serials` holds serial and quantity, such as `C27-0107:2;C27-0108:2` | one for each line |
//! | `material` | `wire_id`, `length_m`, `mass_kg` | one for each wire |
//! | `pack` | `wire_id`, `pack_label`, `pack_mass_g`, `pack_count` | after the material whose wire it holds |
//!
//! Columns have the names, units and meaning of the fields of `becket.stringing.v1.WindingOrder`. Numbers have a decimal
//! point and as many digits as are needed to read the same number back, so that reading gives the same order.

use std::{fmt::Display, str::FromStr};

use csv::{ReaderBuilder, StringRecord, Writer};
use prost_types::Timestamp;

use super::fault::{DocumentError, DocumentFault, none};
use crate::stringing::{
    OrderedLayer, OrderedSerial, SerialQuantity, WindingMaterial, WindingMaterialPacks, WindingOrder,
    WindingOrderLine,
};

const COLUMNS: [&str; 36] = [
    "record",
    "order_id",
    "revision",
    "reason",
    "release_time",
    "serial_id",
    "model_id",
    "revision_id",
    "set_digest",
    "note",
    "quantity",
    "for_serials",
    "core_wire_id",
    "cut_length_um",
    "eye_mm",
    "overall_relaxed_mm",
    "core_mass_g",
    "mass_g",
    "layer1_wire_id",
    "layer1_start_from_eye_mm",
    "layer1_end_from_eye_mm",
    "layer1_outer_diameter_mm",
    "layer1_wire_length_mm",
    "layer1_wire_mass_g",
    "layer2_wire_id",
    "layer2_start_from_eye_mm",
    "layer2_end_from_eye_mm",
    "layer2_outer_diameter_mm",
    "layer2_wire_length_mm",
    "layer2_wire_mass_g",
    "wire_id",
    "length_m",
    "mass_kg",
    "pack_label",
    "pack_mass_g",
    "pack_count",
];

/// A row that is being written.
struct Cells(Vec<(String, String)>);

impl Cells {
    fn of(record: &str) -> Self {
        Self(vec![("record".to_owned(), record.to_owned())])
    }

    fn with(mut self, column: &str, value: impl Display) -> Self {
        self.0.push((column.to_owned(), value.to_string()));
        self
    }

    fn in_order(&self) -> impl Iterator<Item = &str> {
        COLUMNS.iter().map(|column| {
            self.0.iter().find(|(name, _)| name == column).map_or("", |(_, value)| value.as_str())
        })
    }
}

/// Writes an order as CSV that [`winding_order_from_csv`] reads back. A string has one or two layers; more would not be
/// written.
#[must_use]
pub fn winding_order_to_csv(order: &WindingOrder) -> String {
    let WindingOrder { order_id, revision, reason, serials, lines, materials, release_time } = order;
    let release_time = release_time.as_ref().map(time_text).unwrap_or_default();
    let head =
        Cells::of("order").with("order_id", order_id).with("revision", revision).with("reason", reason);
    let mut rows = vec![head.with("release_time", release_time)];
    rows.extend(serials.iter().map(serial_cells));
    rows.extend(lines.iter().map(line_cells));
    rows.extend(materials.iter().flat_map(material_cells));
    let mut writer = Writer::from_writer(Vec::new());
    // Writing to memory cannot fail; were it to, the text would only be shorter.
    let _ = writer.write_record(COLUMNS);
    for row in &rows {
        let _ = writer.write_record(row.in_order());
    }
    writer.into_inner().map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default()
}

fn time_text(time: &Timestamp) -> String {
    jiff::Timestamp::new(time.seconds, time.nanos).map(|time| time.to_string()).unwrap_or_default()
}

fn serial_cells(serial: &OrderedSerial) -> Cells {
    let OrderedSerial { serial_id, model_id, revision_id, set_digest } = serial;
    Cells::of("serial")
        .with("serial_id", serial_id)
        .with("model_id", model_id)
        .with("revision_id", revision_id)
        .with("set_digest", set_digest)
}

fn line_cells(line: &WindingOrderLine) -> Cells {
    let WindingOrderLine {
        note,
        quantity,
        serials,
        core_wire_id,
        layers,
        overall_relaxed_mm,
        eye_mm,
        cut_length_um,
        core_mass_g,
        mass_g,
    } = line;
    let serials: Vec<_> =
        serials.iter().map(|serial| format!("{}:{}", serial.serial_id, serial.quantity)).collect();
    let cells = Cells::of("line")
        .with("note", note)
        .with("quantity", quantity)
        .with("for_serials", serials.join(";"))
        .with("core_wire_id", core_wire_id)
        .with("cut_length_um", cut_length_um)
        .with("eye_mm", eye_mm)
        .with("overall_relaxed_mm", overall_relaxed_mm)
        .with("core_mass_g", core_mass_g)
        .with("mass_g", mass_g);
    (1..).zip(layers).fold(cells, |cells, (number, layer)| layer_cells(cells, number, layer))
}

fn layer_cells(cells: Cells, number: usize, layer: &OrderedLayer) -> Cells {
    let OrderedLayer {
        wire_id,
        start_from_eye_mm,
        end_from_eye_mm,
        outer_diameter_mm,
        wire_length_mm,
        wire_mass_g,
    } = layer;
    let column = |name: &str| format!("layer{number}_{name}");
    cells
        .with(&column("wire_id"), wire_id)
        .with(&column("start_from_eye_mm"), start_from_eye_mm)
        .with(&column("end_from_eye_mm"), end_from_eye_mm)
        .with(&column("outer_diameter_mm"), outer_diameter_mm)
        .with(&column("wire_length_mm"), wire_length_mm)
        .with(&column("wire_mass_g"), wire_mass_g)
}

fn material_cells(material: &WindingMaterial) -> Vec<Cells> {
    let WindingMaterial { wire_id, length_m, mass_kg, packs } = material;
    let head =
        Cells::of("material").with("wire_id", wire_id).with("length_m", length_m).with("mass_kg", mass_kg);
    let packs = packs.iter().map(|WindingMaterialPacks { label, mass_g, count }| {
        Cells::of("pack")
            .with("wire_id", wire_id)
            .with("pack_label", label)
            .with("pack_mass_g", mass_g)
            .with("pack_count", count)
    });
    std::iter::once(head).chain(packs).collect()
}

/// Reads an order from CSV; the schema stands in the documentation of this module's source and of the demo files.
///
/// # Errors
/// [`DocumentError`] with every fault: line, column, what is wrong.
pub fn winding_order_from_csv(text: &str) -> Result<WindingOrder, DocumentError> {
    let mut reader = ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
    let not_csv = |error: csv::Error| {
        let line = error.position().map(csv::Position::line);
        DocumentError::Faulty(vec![DocumentFault::new(line, "", format!("not CSV: {error}"))])
    };
    if reader.headers().map_err(not_csv)? != &StringRecord::from(COLUMNS.to_vec()) {
        let problem = format!("the columns of a winding order are {}", COLUMNS.join(","));
        return Err(DocumentError::Faulty(vec![DocumentFault::new(Some(1), "", problem)]));
    }
    let mut order = WindingOrder::default();
    let mut faults = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(not_csv)?;
        let line = record.position().map(csv::Position::line);
        let mut row = Row { line, record: &record, faults: &mut faults };
        row.read_into(&mut order, index == 0);
    }
    if order.revision == 0 && order.serials.is_empty() && faults.is_empty() {
        faults.push(DocumentFault::new(None, "", "there is no order in it"));
    }
    none(faults)?;
    Ok(order)
}

/// A row that is being read.
struct Row<'a> {
    line: Option<u64>,
    record: &'a StringRecord,
    faults: &'a mut Vec<DocumentFault>,
}

impl Row<'_> {
    fn fault(&mut self, column: &str, problem: impl Into<String>) {
        self.faults.push(DocumentFault::new(self.line, column, problem));
    }

    fn text(&self, column: &str) -> &str {
        let at = COLUMNS.iter().position(|name| *name == column);
        at.and_then(|at| self.record.get(at)).unwrap_or_default()
    }

    fn whole<T: FromStr + Default>(&mut self, column: &str) -> T {
        let Ok(number) = self.text(column).parse() else {
            self.fault(column, format!("{:?} is no whole number", super::shortened(self.text(column))));
            return T::default();
        };
        number
    }

    fn number(&mut self, column: &str) -> f64 {
        match self.text(column).parse::<f64>() {
            Ok(number) if number.is_finite() => number,
            _ => {
                self.fault(column, format!("{:?} is no number", super::shortened(self.text(column))));
                0.0
            }
        }
    }

    fn read_into(&mut self, order: &mut WindingOrder, first: bool) {
        if self.record.len() != COLUMNS.len() {
            let problem = format!("the row has {} cells, the header {}", self.record.len(), COLUMNS.len());
            return self.fault("", problem);
        }
        match (self.text("record"), first) {
            ("order", true) => self.head(order),
            (_, true) => self.fault("record", "the first row must be that of the order"),
            ("serial", _) => order.serials.push(OrderedSerial {
                serial_id: self.text("serial_id").to_owned(),
                model_id: self.text("model_id").to_owned(),
                revision_id: self.text("revision_id").to_owned(),
                set_digest: self.text("set_digest").to_owned(),
            }),
            ("line", _) => {
                let line = self.order_line();
                order.lines.push(line);
            }
            ("material", _) => {
                let (length_m, mass_kg) = (self.number("length_m"), self.number("mass_kg"));
                let wire_id = self.text("wire_id").to_owned();
                order.materials.push(WindingMaterial { wire_id, length_m, mass_kg, packs: Vec::new() });
            }
            ("pack", _) => self.pack(order.materials.last_mut()),
            _ => self.fault("record", "must be serial, line, material or pack"),
        }
    }

    fn head(&mut self, order: &mut WindingOrder) {
        order.order_id = self.text("order_id").to_owned();
        order.revision = self.whole("revision");
        order.reason = self.text("reason").to_owned();
        let time = self.text("release_time");
        if time.is_empty() {
            return;
        }
        match time.parse::<jiff::Timestamp>() {
            Ok(time) => {
                let (seconds, nanos) = (time.as_second(), time.subsec_nanosecond());
                order.release_time = Some(Timestamp { seconds, nanos });
            }
            Err(_) => self.fault("release_time", "must be a time such as 2026-12-01T08:30:00Z"),
        }
    }

    fn order_line(&mut self) -> WindingOrderLine {
        WindingOrderLine {
            note: self.whole("note"),
            quantity: self.whole("quantity"),
            serials: self.serials(),
            core_wire_id: self.text("core_wire_id").to_owned(),
            layers: [1, 2].into_iter().filter_map(|number| self.layer(number)).collect(),
            overall_relaxed_mm: self.number("overall_relaxed_mm"),
            eye_mm: self.number("eye_mm"),
            cut_length_um: self.whole("cut_length_um"),
            core_mass_g: self.number("core_mass_g"),
            mass_g: self.number("mass_g"),
        }
    }

    fn serials(&mut self) -> Vec<SerialQuantity> {
        let serial = |part: &str| {
            let (serial_id, quantity) = part.rsplit_once(':')?;
            Some(SerialQuantity { serial_id: serial_id.to_owned(), quantity: quantity.parse().ok()? })
        };
        let parts = self.text("for_serials").split(';').filter(|part| !part.is_empty());
        let serials: Option<Vec<_>> = parts.map(serial).collect();
        if serials.is_none() {
            self.fault("for_serials", "must be serial:quantity, parted by semicolons");
        }
        serials.unwrap_or_default()
    }

    fn layer(&mut self, number: usize) -> Option<OrderedLayer> {
        let column = |name: &str| format!("layer{number}_{name}");
        let wire_id = self.text(&column("wire_id")).to_owned();
        if wire_id.is_empty() {
            return None;
        }
        Some(OrderedLayer {
            wire_id,
            start_from_eye_mm: self.number(&column("start_from_eye_mm")),
            end_from_eye_mm: self.number(&column("end_from_eye_mm")),
            outer_diameter_mm: self.number(&column("outer_diameter_mm")),
            wire_length_mm: self.number(&column("wire_length_mm")),
            wire_mass_g: self.number(&column("wire_mass_g")),
        })
    }

    fn pack(&mut self, material: Option<&mut WindingMaterial>) {
        let packs = WindingMaterialPacks {
            label: self.text("pack_label").to_owned(),
            mass_g: self.number("pack_mass_g"),
            count: self.whole("pack_count"),
        };
        match material.filter(|material| material.wire_id == self.text("wire_id")) {
            Some(material) => material.packs.push(packs),
            None => self.fault("wire_id", "a pack must stand after the material that it holds"),
        }
    }
}
