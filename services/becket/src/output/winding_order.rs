//! The winder's orders.

use std::fmt::Write as _;

use becket_api::stringing::{OrderedLayer, WindingMaterial, WindingOrder, WindingOrderLine};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet, left,
    names::{count, note_name, time},
    right,
};

/// What the winder has to know to read the table.
const READING: &str = "Places are in the relaxed core, from the eye: the point at the hitch pin where the back length ends. The wire of \
                       the eye\nis not in the overall length, but in the core's cut. Figures are for one string; wire includes the finishing turns.";

/// An order in a page: instruments, lines, wire.
pub(crate) fn winding_order_text(order: &WindingOrder, units: UnitSystem) -> String {
    let lines = winding_lines_sheet(&order.lines, units).table();
    let materials = materials_sheet(&order.materials, units).table();
    format!("{}\n{lines}\n{READING}\n\n{materials}\n{SAFETY_NOTE}", heading(order))
}

fn heading(order: &WindingOrder) -> String {
    let id = if order.order_id.is_empty() { "Not released" } else { &order.order_id };
    let mut text = format!("{id}: winder's order, revision {}", order.revision);
    if order.release_time.is_some() {
        let _ = write!(text, ", released {}", time(order.release_time.as_ref()));
    }
    text.push('\n');
    if !order.reason.is_empty() {
        let _ = writeln!(text, "  changed          {}", order.reason);
    }
    for serial in &order.serials {
        let _ = writeln!(
            text,
            "  for              {}: {} revision {}",
            serial.serial_id, serial.model_id, serial.revision_id
        );
    }
    let strings: i64 = order.lines.iter().map(|line| i64::from(line.quantity)).sum();
    let _ = writeln!(text, "  strings          {}", count(strings, "wound string", "wound strings"));
    text
}

/// One row for each line, and one more for a second layer.
pub(crate) fn winding_lines_sheet(lines: &[WindingOrderLine], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let length = measures.length_unit();
    let columns = [
        left("note"),
        right("no.", ""),
        right("strings", ""),
        left("core"),
        left("winding"),
        right("start", length),
        right("end", length),
        right("outer", length),
        right("wire", measures.run_unit()),
        right("overall", length),
        right("eye", length),
        right("core cut", length),
        right("mass", measures.mass_unit()),
        left("for"),
    ];
    Sheet::of(columns, lines.iter().flat_map(|line| line_rows(line, measures)))
}

fn line_rows(line: &WindingOrderLine, measures: Measures) -> Vec<Vec<String>> {
    let serials: Vec<_> =
        line.serials.iter().map(|serial| format!("{} × {}", serial.quantity, serial.serial_id)).collect();
    let first = |layer: &OrderedLayer| {
        let mut row = vec![
            note_name(line.note),
            line.note.to_string(),
            line.quantity.to_string(),
            line.core_wire_id.clone(),
        ];
        row.extend(layer_cells(layer, measures));
        row.extend([
            measures.length(line.overall_relaxed_mm),
            measures.length(line.eye_mm),
            measures.length_um(line.cut_length_um),
            measures.mass(line.mass_g),
            serials.join(", "),
        ]);
        row
    };
    let more = |layer: &OrderedLayer| {
        let mut row = vec![String::new(); 4];
        row.extend(layer_cells(layer, measures));
        row.extend(vec![String::new(); 5]);
        row
    };
    let layers = line.layers.iter().enumerate();
    layers.map(|(index, layer)| if index == 0 { first(layer) } else { more(layer) }).collect()
}

fn layer_cells(layer: &OrderedLayer, measures: Measures) -> [String; 5] {
    [
        layer.wire_id.clone(),
        measures.length(layer.start_from_eye_mm),
        measures.length(layer.end_from_eye_mm),
        measures.diameter(layer.outer_diameter_mm),
        measures.run(layer.wire_length_mm / 1000.0),
    ]
}

fn materials_sheet(materials: &[WindingMaterial], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("wire"),
        right("length", measures.run_unit()),
        right("mass", measures.heavy_unit()),
        left("packs that hold it"),
    ];
    let rows = materials.iter().map(|material| {
        let packs: Vec<_> =
            material.packs.iter().map(|packs| format!("{} × {}", packs.count, packs.label)).collect();
        vec![
            material.wire_id.clone(),
            measures.run(material.length_m),
            measures.heavy(material.mass_kg),
            packs.join(", "),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each order.
pub(crate) fn winding_orders_sheet(orders: &[WindingOrder]) -> Sheet {
    let columns = [left("order"), right("revision", ""), left("released"), left("serials"), left("changed")];
    let rows = orders.iter().map(|order| {
        let serials: Vec<_> = order.serials.iter().map(|serial| serial.serial_id.as_str()).collect();
        vec![
            order.order_id.clone(),
            order.revision.to_string(),
            time(order.release_time.as_ref()),
            serials.join(" "),
            order.reason.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{OrderedSerial, SerialQuantity, WindingMaterialPacks};
    use expect_test::expect;

    use super::*;

    fn order() -> WindingOrder {
        let layer = |wire_id: &str, start, end, outer| OrderedLayer {
            wire_id: wire_id.to_owned(),
            start_from_eye_mm: start,
            end_from_eye_mm: end,
            outer_diameter_mm: outer,
            wire_length_mm: 12_345.0,
            wire_mass_g: 86.58,
        };
        let serial = OrderedSerial {
            serial_id: "X-1".to_owned(),
            model_id: "grand".to_owned(),
            revision_id: "a".to_owned(),
            set_digest: String::new(),
        };
        let line = WindingOrderLine {
            note: 1,
            quantity: 2,
            serials: vec![SerialQuantity { serial_id: "X-1".to_owned(), quantity: 2 }],
            core_wire_id: "mw-in-20".to_owned(),
            layers: vec![layer("cu-0.50", 134.31, 2080.5, 2.1), layer("cu-1.00", 144.27, 2070.54, 4.1)],
            overall_relaxed_mm: 2300.25,
            eye_mm: 50.0,
            cut_length_um: 2_351_000,
            core_mass_g: 18.9,
            mass_g: 192.06,
        };
        let packs = vec![WindingMaterialPacks { label: "500 g coil".to_owned(), mass_g: 500.0, count: 1 }];
        let material =
            WindingMaterial { wire_id: "cu-1.00".to_owned(), length_m: 24.69, mass_kg: 0.173_16, packs };
        WindingOrder {
            order_id: "W-0001".to_owned(),
            revision: 2,
            reason: "note 1 measured".to_owned(),
            serials: vec![serial],
            lines: vec![line],
            materials: vec![material],
            release_time: None,
        }
    }

    #[test]
    fn a_second_layer_has_a_row_of_its_own() {
        expect![[r#"
             note   no.   strings   core       winding   start      end   outer    wire   overall    eye   core cut    mass   for
                                                            mm       mm      mm       m        mm     mm         mm       g
            ──────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
             A0       1         2   mw-in-20   cu-0.50   134.3   2080.5   2.100   12.35    2300.2   50.0     2351.0   192.1   2 × X-1
                                               cu-1.00   144.3   2070.5   4.100   12.35
        "#]].assert_eq(&winding_lines_sheet(&order().lines, UnitSystem::Metric).table());
    }

    #[test]
    fn head_and_wire_are_told() {
        let text = winding_order_text(&order(), UnitSystem::Metric);
        for part in [
            "W-0001: winder's order, revision 2\n",
            "note 1 measured",
            "X-1: grand revision a",
            "1 × 500 g coil",
            "0.173",
        ] {
            assert!(text.contains(part), "{part} is not in {text}");
        }
        let inch = winding_lines_sheet(&order().lines, UnitSystem::Inch).table();
        // 2300.25 mm are 90.561 in.
        assert!(inch.contains("90.561"), "{inch}");
    }
}
