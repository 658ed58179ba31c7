//! Cut lists.

use becket_floor::{CutListHeader, Step, StepPiece};
use becket_units::{Fault, Um};

use super::enums::{Known, required};
use super::{Stamps, count, timestamp};
use crate::cutting::{CutList, CutStep, PlanFigures, PlanPolicy, SerialDigest, Shortage};

/// Fills in the defaults of a policy and checks it; no policy at all is one of defaults.
///
/// # Errors
/// All faults.
pub fn read_plan_policy(policy: Option<&PlanPolicy>) -> Result<becket_floor::PlanPolicy, Vec<Fault>> {
    let mut filled = becket_floor::PlanPolicy::default();
    let Some(policy) = policy else { return Ok(filled) };
    let PlanPolicy { unison_rule, end_trim_mm, coil_margin_mm, piece_order, wound_cores } = *policy;
    let mut faults = Vec::new();
    set(&mut filled.unison_rule, unison_rule.map(|number| required("unison_rule", number)), &mut faults);
    let length = |field: &'static str, mm: Option<f64>, high| mm.map(|mm| length(field, mm, high));
    set(&mut filled.end_trim, length("end_trim_mm", end_trim_mm, 1_000.0), &mut faults);
    set(&mut filled.coil_margin, length("coil_margin_mm", coil_margin_mm, 10_000.0), &mut faults);
    set(&mut filled.piece_order, piece_order.map(|number| required("piece_order", number)), &mut faults);
    filled.wound_cores = wound_cores.unwrap_or(filled.wound_cores);
    if faults.is_empty() { Ok(filled) } else { Err(faults) }
}

/// The range is looked at before the length is rounded: a length that only rounds into it is refused.
fn length(field: &str, mm: f64, high: f64) -> Result<Um, Fault> {
    match (Fault::outside(field, mm, 0.0, high, "mm"), Um::from_mm_f64(mm)) {
        (None, Ok(length)) => Ok(length),
        (Some(fault), _) => Err(fault),
        (None, Err(error)) => Err(Fault::new(field, mm, error.to_string())),
    }
}

fn set<T>(to: &mut T, given: Option<Result<T, Fault>>, faults: &mut Vec<Fault>) {
    match given {
        None => {}
        Some(Ok(value)) => *to = value,
        Some(Err(fault)) => faults.push(fault),
    }
}

/// All fields are set.
impl From<&becket_floor::PlanPolicy> for PlanPolicy {
    fn from(policy: &becket_floor::PlanPolicy) -> Self {
        let becket_floor::PlanPolicy { unison_rule, end_trim, coil_margin, piece_order, wound_cores } =
            *policy;
        Self {
            unison_rule: Some(unison_rule.number()),
            end_trim_mm: Some(end_trim.as_mm()),
            coil_margin_mm: Some(coil_margin.as_mm()),
            piece_order: Some(piece_order.number()),
            wound_cores: Some(wound_cores),
        }
    }
}

/// Shows a whole list.
#[must_use]
pub fn cut_list(list: &becket_floor::CutList, stamps: &Stamps) -> CutList {
    let becket_floor::CutList { header, steps, shortages } = list;
    CutList {
        steps: steps.iter().map(CutStep::from).collect(),
        shortages: shortages.iter().map(Shortage::from).collect(),
        ..cut_list_header(header, stamps)
    }
}

/// Shows a list without its steps and shortages. The etag is that of the list's own version.
#[must_use]
pub fn cut_list_header(header: &CutListHeader, stamps: &Stamps) -> CutList {
    let CutListHeader {
        list_id,
        station_id,
        state,
        serials,
        policy,
        figures,
        pieces_done,
        pieces_pending,
        version,
        start_us,
        end_us,
    } = header;
    CutList {
        list_id: list_id.to_string(),
        station_id: station_id.to_string(),
        state: state.number(),
        serials: serials.iter().map(SerialDigest::from).collect(),
        policy: Some(policy.into()),
        steps: Vec::new(),
        shortages: Vec::new(),
        figures: Some(figures.into()),
        pieces_done: count(*pieces_done),
        pieces_pending: count(*pieces_pending),
        etag: Stamps { version: *version, ..*stamps }.etag(),
        create_time: Some(stamps.create_time()),
        update_time: Some(stamps.update_time()),
        start_time: start_us.map(timestamp),
        end_time: end_us.map(timestamp),
    }
}

impl From<&Step> for CutStep {
    fn from(step: &Step) -> Self {
        let Step {
            step_number,
            kind,
            state,
            coil_id,
            lot_id,
            wire_id,
            reel_position,
            piece,
            length,
            remaining_after,
            tail_use,
            // The API shows it as the coil's state.
            opens_coil: _,
            spoil_cause,
            done_us,
            done_by,
        } = step;
        let (serial_id, piece_id, piece_kind, recut) = match piece {
            // The notes are those of the piece in its set; the length to be cut differs from the step's only where
            // the piece was spoiled, and is the recut's then.
            Some(StepPiece { serial_id, piece_id, kind, notes: _, length: _, recut }) => {
                (serial_id.to_string(), piece_id.to_string(), kind.number(), *recut)
            }
            None => (String::new(), String::new(), 0, false),
        };
        Self {
            step_number: count(*step_number),
            kind: kind.number(),
            state: state.number(),
            coil_id: coil_id.to_string(),
            lot_id: lot_id.to_string(),
            wire_id: wire_id.to_string(),
            reel_position: count(*reel_position),
            serial_id,
            piece_id,
            piece_kind,
            length_um: length.get(),
            remaining_after_um: remaining_after.get(),
            tail_use: tail_use.map_or(0, Known::number),
            recut,
            spoil_cause: spoil_cause.map(Known::number),
            done_time: done_us.map(timestamp),
            done_by: done_by.clone(),
        }
    }
}

impl From<&becket_floor::Shortage> for Shortage {
    fn from(shortage: &becket_floor::Shortage) -> Self {
        let becket_floor::Shortage { wire_id, serial_id, piece_ids, length } = shortage;
        Self {
            wire_id: wire_id.to_string(),
            serial_id: serial_id.to_string(),
            piece_ids: piece_ids.iter().map(ToString::to_string).collect(),
            length_um: length.get(),
        }
    }
}

impl From<&becket_floor::SerialDigest> for SerialDigest {
    fn from(serial: &becket_floor::SerialDigest) -> Self {
        let becket_floor::SerialDigest { serial_id, set_digest, due_date } = serial;
        Self { serial_id: serial_id.to_string(), set_digest: set_digest.clone(), due_date: due_date.clone() }
    }
}

impl From<&becket_floor::PlanFigures> for PlanFigures {
    fn from(figures: &becket_floor::PlanFigures) -> Self {
        let becket_floor::PlanFigures {
            pieces,
            cut,
            scrap,
            remnant,
            coils_used,
            coils_opened,
            reel_changes,
            unisons_split,
        } = *figures;
        Self {
            pieces: count(pieces),
            cut_um: cut.get(),
            scrap_um: scrap.get(),
            remnant_um: remnant.get(),
            coils_used: count(coils_used),
            coils_opened: count(coils_opened),
            reel_changes: count(reel_changes),
            unisons_split: count(unisons_split),
        }
    }
}
