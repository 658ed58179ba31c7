//! Winding orders as files: what is written is read back, and faults are told.

use becket_api::document::{winding_order_from_csv, winding_order_to_csv};
use becket_api::json::{from_json, to_json};
use becket_api::stringing::{
    OrderedLayer, OrderedSerial, SerialQuantity, WindingMaterial, WindingMaterialPacks, WindingOrder,
    WindingOrderLine,
};
use proptest::collection::vec;
use proptest::prelude::*;
use prost_types::Timestamp;

fn id() -> impl Strategy<Value = String> {
    "[a-z0-9][a-z0-9._-]{0,12}"
}

fn figure() -> impl Strategy<Value = f64> {
    prop_oneof![-1e3..1e6_f64, (-100_000_000..100_000_000_i32).prop_map(|n| f64::from(n) / 100.0), Just(0.0)]
}

/// Text as people write it: quotes, commas, line ends, letters of any script.
fn words() -> impl Strategy<Value = String> {
    prop_oneof!["[ -~]{0,30}", "[\\PC\n]{0,12}"]
}

fn layer() -> impl Strategy<Value = OrderedLayer> {
    (id(), figure(), figure(), figure(), figure(), figure()).prop_map(
        |(wire_id, start, end, outer, length, mass)| OrderedLayer {
            wire_id,
            start_from_eye_mm: start,
            end_from_eye_mm: end,
            outer_diameter_mm: outer,
            wire_length_mm: length,
            wire_mass_g: mass,
        },
    )
}

fn line() -> impl Strategy<Value = WindingOrderLine> {
    let serial = ("[A-Za-z0-9][A-Za-z0-9._-]{0,8}", 1..9_i32)
        .prop_map(|(serial_id, quantity)| SerialQuantity { serial_id, quantity });
    let figures = (figure(), figure(), figure(), figure(), any::<i64>());
    (-8..=88_i32, 0..99_i32, vec(serial, 0..4), id(), vec(layer(), 0..=2), figures).prop_map(
        |(note, quantity, serials, core_wire_id, layers, (overall, eye, core, mass, cut))| WindingOrderLine {
            note,
            quantity,
            serials,
            core_wire_id,
            layers,
            overall_relaxed_mm: overall,
            eye_mm: eye,
            cut_length_um: cut,
            core_mass_g: core,
            mass_g: mass,
        },
    )
}

fn material() -> impl Strategy<Value = WindingMaterial> {
    let pack = (words(), figure(), any::<i64>()).prop_map(|(label, mass_g, count)| WindingMaterialPacks {
        label,
        mass_g,
        count,
    });
    (id(), figure(), figure(), vec(pack, 0..3))
        .prop_map(|(wire_id, length_m, mass_kg, packs)| WindingMaterial { wire_id, length_m, mass_kg, packs })
}

fn order() -> impl Strategy<Value = WindingOrder> {
    let serial =
        (id(), id(), id(), "[0-9a-f]{64}").prop_map(|(serial_id, model_id, revision_id, set_digest)| {
            OrderedSerial { serial_id, model_id, revision_id, set_digest }
        });
    let time = proptest::option::of((0..4_000_000_000_i64, 0..1_000_000_000_i32))
        .prop_map(|time| time.map(|(seconds, nanos)| Timestamp { seconds, nanos }));
    let head = ("(W-[0-9]{4})?", 0..50_i32, words(), time);
    (head, vec(serial, 1..4), vec(line(), 0..6), vec(material(), 0..4)).prop_map(
        |((order_id, revision, reason, release_time), serials, lines, materials)| WindingOrder {
            order_id,
            revision,
            reason,
            serials,
            lines,
            materials,
            release_time,
        },
    )
}

proptest! {
    #[test]
    fn csv_is_read_back(order in order()) {
        let text = winding_order_to_csv(&order);
        prop_assert_eq!(winding_order_from_csv(&text).unwrap(), order);
    }

    #[test]
    fn json_is_read_back(order in order()) {
        let text = to_json(&order).unwrap().to_string();
        let read: WindingOrder = from_json(&serde_json::from_str(&text).unwrap()).unwrap();
        prop_assert_eq!(read, order);
    }

    #[test]
    fn other_text_is_refused_and_nothing_worse(text in "[\\PC\n]{0,80}") {
        prop_assert!(winding_order_from_csv(&text).is_err());
    }
}

fn sample() -> WindingOrder {
    let layer =
        OrderedLayer { wire_id: "cu-1.00".to_owned(), start_from_eye_mm: 149.31, ..OrderedLayer::default() };
    let line = WindingOrderLine { note: 1, quantity: 1, layers: vec![layer], ..WindingOrderLine::default() };
    WindingOrder { order_id: "W-0001".to_owned(), revision: 1, lines: vec![line], ..WindingOrder::default() }
}

#[test]
fn every_fault_has_its_line_and_column() {
    let text = winding_order_to_csv(&sample());
    assert!(text.contains(",149.31,"), "{text}");
    let faulty = text.replace(",149.31,", ",near,").replace("\nline,", "\nstring,");
    let told = winding_order_from_csv(&faulty).unwrap_err().to_string();
    assert!(told.contains("line 3: record: must be serial, line, material or pack"), "{told}");
    let told = winding_order_from_csv(&text.replace(",149.31,", ",NaN,")).unwrap_err().to_string();
    assert!(told.contains("line 3: layer1_start_from_eye_mm: \"NaN\" is no number"), "{told}");
    let told = winding_order_from_csv(&text.replace("order_id", "order")).unwrap_err().to_string();
    assert!(told.contains("line 1: the columns of a winding order are record,order_id"), "{told}");
    let headless: String =
        text.lines().filter(|line| !line.starts_with("order,")).map(|l| format!("{l}\n")).collect();
    let told = winding_order_from_csv(&headless).unwrap_err().to_string();
    assert!(told.contains("the first row must be that of the order"), "{told}");
}
