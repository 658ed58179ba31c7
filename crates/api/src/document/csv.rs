//! CSV files of wires and coils: a header of column names, then one row for each.
//!
//! Columns may come in any order, and those that are not required may be missing. Numbers have a decimal point. Cells
//! are read along the same descriptors as TOML and JSON.

use csv::{ReaderBuilder, StringRecord, Trim};
use prost::{Message, Name};
use prost_reflect::{DynamicMessage, Kind, MessageDescriptor, ReflectMessage, Value};

use super::fault::{DocumentError, DocumentFault, none};
use super::read;
use super::tree::{Node, Tree, shortened};
use crate::cutting::NewCoil;
use crate::descriptors;
use crate::stringing::{Pack, Wire};

/// A column and the field that its cells fill.
struct Column {
    name: &'static str,
    path: &'static [&'static str],
    required: bool,
}

const fn required(name: &'static str, path: &'static [&'static str]) -> Column {
    Column { name, path, required: true }
}

const fn optional(name: &'static str, path: &'static [&'static str]) -> Column {
    Column { name, path, required: false }
}

/// The column whose cells hold several masses of packs, parted by semicolons.
const PACKS: &str = "pack_masses_g";

const WIRE: &[Column] = &[
    required("wire_id", &["wire_id"]),
    optional("title", &["title"]),
    required("material", &["material"]),
    required("diameter_mm", &["diameter_mm"]),
    optional("size_series", &["size", "series"]),
    optional("size_number", &["size", "number"]),
    required("density_kg_m3", &["density_kg_m3"]),
    required("youngs_modulus_gpa", &["youngs_modulus_gpa"]),
    optional("strength_label", &["strength", "label"]),
    optional("tensile_mpa", &["strength", "stated", "tensile_mpa"]),
    optional(PACKS, &[]),
];

const COIL: &[Column] = &[
    required("coil_id", &["coil_id"]),
    required("wire_id", &["wire_id"]),
    required("lot_id", &["lot_id"]),
    required("received_date", &["received_date"]),
    optional("received_mass_g", &["received_mass_g"]),
    optional("received_length_mm", &["received_length_mm"]),
    optional("remaining_length_mm", &["remaining_length_mm"]),
];

/// Reads wires. Columns: `wire_id`, `title`, `material`, `diameter_mm`, `size_series`, `size_number`, `density_kg_m3`,
/// `youngs_modulus_gpa`, `strength_label`, `tensile_mpa` and `pack_masses_g`; the last holds masses parted by
/// semicolons, and each makes a pack that is called after its mass. A strength is one stated value; tables and power laws
/// need TOML or JSON.
///
/// # Errors
/// [`DocumentError`] with every fault: line, column, what is wrong.
pub fn wires_from_csv(text: &str) -> Result<Vec<Wire>, DocumentError> {
    rows(text, WIRE, |wire: &mut Wire, masses| {
        wire.packs = masses.iter().map(|&mass_g| Pack { label: format!("{mass_g} g"), mass_g }).collect();
    })
}

/// Reads coils as they are received. Columns: `coil_id`, `wire_id`, `lot_id`, `received_date`, `received_mass_g`,
/// `received_length_mm` and `remaining_length_mm`; of mass and length a row has one.
///
/// # Errors
/// [`DocumentError`] with every fault: line, column, what is wrong.
pub fn coils_from_csv(text: &str) -> Result<Vec<NewCoil>, DocumentError> {
    rows(text, COIL, |_: &mut NewCoil, _| {})
}

fn rows<M: Message + Name + Default>(
    text: &str,
    columns: &'static [Column],
    set_packs: impl Fn(&mut M, &[f64]),
) -> Result<Vec<M>, DocumentError> {
    let descriptor = descriptors::of::<M>()?;
    // Rows of another width are told with the other faults and not by the reader, which would stop at the first.
    let mut reader = ReaderBuilder::new().flexible(true).trim(Trim::All).from_reader(text.as_bytes());
    let not_csv = |error: csv::Error| {
        let line = error.position().map(csv::Position::line);
        DocumentError::Faulty(vec![DocumentFault::new(line, "", format!("not CSV: {error}"))])
    };
    let header = header(reader.headers().map_err(not_csv)?, columns)?;
    let mut faults = Vec::new();
    let mut messages = Vec::new();
    for record in reader.records() {
        let record = record.map_err(not_csv)?;
        let mut row = Row { line: record.position().map(csv::Position::line), faults: &mut faults };
        let (message, masses) = row.read(&descriptor, &header, &record);
        let mut message = descriptors::from_dynamic(&message)?;
        set_packs(&mut message, &masses);
        messages.push(message);
    }
    none(faults)?;
    Ok(messages)
}

/// Finds the column of each cell.
fn header(names: &StringRecord, columns: &'static [Column]) -> Result<Vec<&'static Column>, DocumentError> {
    let mut faults = Vec::new();
    let mut found: Vec<&'static Column> = Vec::new();
    for name in names {
        match columns.iter().find(|column| column.name == name) {
            Some(column) if found.iter().any(|other| other.name == column.name) => {
                faults.push(DocumentFault::new(Some(1), name, "the column is there twice"));
            }
            Some(column) => found.push(column),
            None => {
                let known: Vec<&str> = columns.iter().map(|column| column.name).collect();
                let problem = format!("there is no such column; columns are {}", known.join(", "));
                faults.push(DocumentFault::new(Some(1), shortened(name), problem));
            }
        }
    }
    if faults.is_empty() {
        for column in columns.iter().filter(|column| column.required) {
            if !found.iter().any(|other| other.name == column.name) {
                faults.push(DocumentFault::new(Some(1), column.name, "the column is missing"));
            }
        }
    }
    none(faults)?;
    Ok(found)
}

/// A row that is being read.
struct Row<'a> {
    line: Option<u64>,
    faults: &'a mut Vec<DocumentFault>,
}

impl Row<'_> {
    fn fault(&mut self, column: &str, problem: impl Into<String>) {
        self.faults.push(DocumentFault::new(self.line, column, problem));
    }

    fn read(
        &mut self,
        descriptor: &MessageDescriptor,
        header: &[&'static Column],
        record: &StringRecord,
    ) -> (DynamicMessage, Vec<f64>) {
        let mut message = DynamicMessage::new(descriptor.clone());
        let mut masses = Vec::new();
        if record.len() != header.len() {
            self.fault("", format!("the row has {} cells, the header {}", record.len(), header.len()));
            return (message, masses);
        }
        for (column, cell) in header.iter().zip(record) {
            match cell {
                "" if column.required => self.fault(column.name, "the cell is empty"),
                "" => {}
                cell if column.name == PACKS => masses = self.masses(cell),
                cell => self.set(&mut message, column, column.path, cell),
            }
        }
        (message, masses)
    }

    /// Sets the field at a path, making the messages on the way.
    fn set(&mut self, message: &mut DynamicMessage, column: &Column, path: &[&str], cell: &str) {
        let Some((name, rest)) = path.split_first() else { return };
        let Some(field) = message.descriptor().get_field_by_name(name) else {
            return self.fault(column.name, "the column has no field");
        };
        if !rest.is_empty() {
            if !message.has_field(&field) {
                message.set_field(&field, Value::default_value_for_field(&field));
            }
            if let Some(inner) = message.get_field_mut(&field).as_message_mut() {
                self.set(inner, column, rest, cell);
            }
            return;
        }
        let rival =
            field.containing_oneof().and_then(|choice| choice.fields().find(|f| message.has_field(f)));
        if let Some(rival) = rival {
            return self.fault(column.name, format!("only one of {name} and {} may be given", rival.name()));
        }
        if let Some(value) = self.cell(column.name, &field.kind(), cell) {
            message.set_field(&field, value);
        }
    }

    fn cell(&mut self, column: &str, kind: &Kind, cell: &str) -> Option<Value> {
        let text = || Tree::Text(cell.to_owned());
        let value = match kind {
            Kind::Double => cell.parse().map_or_else(|_| text(), Tree::Float),
            Kind::Int32 | Kind::Int64 => cell.parse().map_or_else(|_| text(), Tree::Integer),
            _ => text(),
        };
        read::single(kind, &Node { line: self.line, value }, column, self.faults)
    }

    fn masses(&mut self, cell: &str) -> Vec<f64> {
        let mut masses = Vec::new();
        for part in cell.split(';').map(str::trim).filter(|part| !part.is_empty()) {
            if let Some(Value::F64(mass)) = self.cell(PACKS, &Kind::Double, part) {
                masses.push(mass);
            }
        }
        masses
    }
}
