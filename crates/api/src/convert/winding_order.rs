//! The winder's orders, outward: an order is computed and never given.

use becket_winding::{Layer, MaterialTotal, OrderLine, PackCount, SerialQuantity, WindingOrder};
use prost::Message;

use super::count;
use crate::digest::{hex, request_digest};
use crate::stringing as api;

/// Puts an order together with the instruments that it is for. It is not released.
#[must_use]
pub fn winding_order(serials: Vec<api::OrderedSerial>, order: &WindingOrder) -> api::WindingOrder {
    let WindingOrder { lines, materials } = order;
    api::WindingOrder {
        order_id: String::new(),
        revision: 0,
        reason: String::new(),
        serials,
        lines: lines.iter().map(line).collect(),
        materials: materials.iter().map(material).collect(),
        release_time: None,
    }
}

/// The SHA-256, in hexadecimal, of what the winder works from: lines and materials. It does not change with inputs of the
/// string sets that no wound string follows from.
#[must_use]
pub fn winding_order_digest(order: &api::WindingOrder) -> String {
    // Destructured without `..`: a new field must be taken for content or not.
    let api::WindingOrder {
        order_id: _,
        revision: _,
        reason: _,
        serials: _,
        lines,
        materials,
        release_time: _,
    } = order;
    let content = api::WindingOrder {
        lines: lines.clone(),
        materials: materials.clone(),
        ..api::WindingOrder::default()
    };
    hex(&request_digest("winding order", &content.encode_to_vec()))
}

fn line(line: &OrderLine) -> api::WindingOrderLine {
    let OrderLine {
        note,
        quantity,
        serials,
        core_wire_id,
        layers,
        overall_relaxed_mm,
        eye_mm,
        cut,
        core_mass_g,
        mass_g,
    } = line;
    let serial = |SerialQuantity { serial_id, quantity }: &SerialQuantity| api::SerialQuantity {
        serial_id: serial_id.clone(),
        quantity: count(*quantity),
    };
    api::WindingOrderLine {
        note: (*note).into(),
        quantity: count(*quantity),
        serials: serials.iter().map(serial).collect(),
        core_wire_id: core_wire_id.to_string(),
        layers: layers.iter().map(layer).collect(),
        overall_relaxed_mm: *overall_relaxed_mm,
        eye_mm: *eye_mm,
        cut_length_um: cut.get(),
        core_mass_g: *core_mass_g,
        mass_g: *mass_g,
    }
}

fn layer(layer: &Layer) -> api::OrderedLayer {
    let Layer { wire_id, start_from_eye_mm, end_from_eye_mm, outer_diameter_mm, wire_length_mm, wire_mass_g } =
        layer;
    api::OrderedLayer {
        wire_id: wire_id.to_string(),
        start_from_eye_mm: *start_from_eye_mm,
        end_from_eye_mm: *end_from_eye_mm,
        outer_diameter_mm: *outer_diameter_mm,
        wire_length_mm: *wire_length_mm,
        wire_mass_g: *wire_mass_g,
    }
}

fn material(material: &MaterialTotal) -> api::WindingMaterial {
    let MaterialTotal { wire_id, length_m, mass_kg, packs } = material;
    let pack = |PackCount { label, mass_g, count }: &PackCount| api::WindingMaterialPacks {
        label: label.clone(),
        mass_g: *mass_g,
        // No purchase comes near the limit: it would be heavier than the earth.
        count: i64::try_from(*count).unwrap_or(i64::MAX),
    };
    api::WindingMaterial {
        wire_id: wire_id.to_string(),
        length_m: *length_m,
        mass_kg: *mass_kg,
        packs: packs.iter().map(pack).collect(),
    }
}
