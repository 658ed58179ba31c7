//! Coils and stock rules.

use becket_floor::{Amount, CoilId, LotId, WireId, receipt_faults};
use becket_units::{Fault, Um};

use super::enums::Known;
use super::{Stamps, count};
use crate::cutting::{Coil, NewCoil, StockRule, new_coil};
use crate::document::shortened;

/// Takes a coil as it is received. `linear_density_g_m` is that of its wire in the catalogue.
///
/// # Errors
/// All faults of ids, and a missing amount; if there are any, those of amounts and of the date, too, which else are for
/// [`becket_floor::NewCoil::receive`] to find.
pub fn read_new_coil(coil: &NewCoil, linear_density_g_m: f64) -> Result<becket_floor::NewCoil, Vec<Fault>> {
    let NewCoil { coil_id, wire_id, lot_id, received_date, remaining_length_mm, amount, length_sd_mm } = coil;
    let mut faults = Vec::new();
    let mut refuse =
        |field: &str, value: &str, allowed| faults.push(Fault::new(field, shortened(value), allowed));
    let coil_id = CoilId::new(coil_id.as_str()).map_err(|_| refuse("coil_id", coil_id, CoilId::ALLOWED));
    let wire_id = WireId::new(wire_id.as_str()).map_err(|_| refuse("wire_id", wire_id, WireId::ALLOWED));
    let lot_id = LotId::new(lot_id.as_str()).map_err(|_| refuse("lot_id", lot_id, LotId::ALLOWED));
    let amount = match amount {
        Some(new_coil::Amount::ReceivedMassG(mass_g)) => Some(Amount::MassG(*mass_g)),
        Some(new_coil::Amount::ReceivedLengthMm(length_mm)) => Some(Amount::LengthMm(*length_mm)),
        None => {
            refuse("received_mass_g", "nothing", "a mass, or a length in received_length_mm");
            None
        }
    };
    match (coil_id, wire_id, lot_id, amount) {
        (Ok(coil_id), Ok(wire_id), Ok(lot_id), Some(amount)) => Ok(becket_floor::NewCoil {
            coil_id,
            wire_id,
            lot_id,
            received_date: received_date.clone(),
            amount,
            remaining_length_mm: *remaining_length_mm,
            length_sd_mm: *length_sd_mm,
            linear_density_g_m,
        }),
        (_, _, _, amount) => {
            faults.extend(receipt_faults(received_date, amount, *remaining_length_mm, *length_sd_mm));
            Err(faults)
        }
    }
}

/// Shows a coil. `reserved` is what lists count on and have not cut yet, `held_evidence` how many weighings disagree and are not
/// decided upon. The latest line of its ledger is left out.
#[must_use]
pub fn coil(coil: &becket_floor::Coil, reserved: Um, held_evidence: u32, stamps: &Stamps) -> Coil {
    let becket_floor::Coil {
        coil_id,
        wire_id,
        lot_id,
        received_date,
        state,
        received,
        remaining,
        cut,
        scrapped,
        adjusted,
        linear_density_g_m,
        estimate,
    } = coil;
    Coil {
        coil_id: coil_id.to_string(),
        wire_id: wire_id.to_string(),
        lot_id: lot_id.to_string(),
        received_date: received_date.clone(),
        state: state.number(),
        received_um: received.get(),
        remaining_um: remaining.get(),
        cut_um: cut.get(),
        scrapped_um: scrapped.get(),
        adjusted_um: adjusted.get(),
        reserved_um: reserved.get(),
        linear_density_g_m: *linear_density_g_m,
        etag: stamps.etag(),
        create_time: Some(stamps.create_time()),
        update_time: Some(stamps.update_time()),
        remaining_sd_mm: estimate.sd_mm(),
        likely_density_g_m: linear_density_g_m * (1.0 + estimate.density_error),
        held_evidence_count: count(held_evidence),
        last_evidence: None,
    }
}

/// Takes the rule of a wire: its id and the length below which a remnant is scrap.
///
/// # Errors
/// All faults: the id, and a length outside 0 to 100000 mm.
pub fn read_stock_rule(rule: &StockRule) -> Result<(WireId, Um), Vec<Fault>> {
    let StockRule { wire_id, smallest_remnant_mm } = rule;
    let mut faults = Vec::new();
    faults.extend(Fault::outside("smallest_remnant_mm", *smallest_remnant_mm, 0.0, 100_000.0, "mm"));
    let id = WireId::new(wire_id.as_str());
    if id.is_err() {
        faults.push(Fault::new("wire_id", shortened(wire_id), WireId::ALLOWED));
    }
    match (id, Um::from_mm_f64(*smallest_remnant_mm)) {
        (Ok(id), Ok(length)) if faults.is_empty() => Ok((id, length)),
        _ => Err(faults),
    }
}

/// Shows the rule of a wire.
#[must_use]
pub fn stock_rule(wire_id: &WireId, smallest_remnant: Um) -> StockRule {
    StockRule { wire_id: wire_id.to_string(), smallest_remnant_mm: smallest_remnant.as_mm() }
}
