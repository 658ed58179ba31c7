//! Cut lists.

use becket_floor::{CutListHeader, PlanMoves, Sds, Step, StepPiece};
use becket_planner::{Level, LevelOrder};
use becket_units::{Fault, Um};

use super::enums::{Known, required};
use super::{Stamps, count, level_report, timestamp};
use crate::cutting::{CutList, CutStep, ListReplan, PlanFigures, PlanPolicy, SerialDigest, Shortage};

/// Fills in the defaults of a policy and checks it; no policy at all is one of defaults.
///
/// # Errors
/// All faults.
pub fn read_plan_policy(policy: Option<&PlanPolicy>) -> Result<becket_floor::PlanPolicy, Vec<Fault>> {
    let mut filled = becket_floor::PlanPolicy::default();
    let Some(policy) = policy else { return Ok(filled) };
    let PlanPolicy {
        unison_rule,
        end_trim_mm,
        coil_margin_mm,
        piece_order,
        wound_cores,
        ref level_order,
        time_budget_ms,
        search_rounds,
        due_window,
        fifo,
        coil_margin_sds,
    } = *policy;
    let mut faults = Vec::new();
    set(&mut filled.unison_rule, unison_rule.map(|number| required("unison_rule", number)), &mut faults);
    let length = |field: &'static str, mm: Option<f64>, high| mm.map(|mm| length(field, mm, high));
    set(&mut filled.end_trim, length("end_trim_mm", end_trim_mm, 1_000.0), &mut faults);
    set(&mut filled.coil_margin, length("coil_margin_mm", coil_margin_mm, 10_000.0), &mut faults);
    set(&mut filled.coil_margin_sds, coil_margin_sds.map(sds), &mut faults);
    set(&mut filled.piece_order, piece_order.map(|number| required("piece_order", number)), &mut faults);
    filled.wound_cores = wound_cores.unwrap_or(filled.wound_cores);
    filled.fifo = fifo.unwrap_or(filled.fifo);
    match read_level_order(level_order) {
        Ok(order) => filled.level_order = order,
        Err(found) => faults.extend(found),
    }
    let budget =
        time_budget_ms.map(|ms| number("time_budget_ms", ms, 1, becket_floor::PlanPolicy::LONGEST_BUDGET_MS));
    set(&mut filled.time_budget_ms, budget.map(|ms| ms.map(Some)), &mut faults);
    let rounds = search_rounds.map(|n| number("search_rounds", n, 0, becket_floor::PlanPolicy::MOST_ROUNDS));
    set(&mut filled.effort.rounds_per_coil, rounds, &mut faults);
    let window = due_window.map(|n| number("due_window", n, 0, becket_floor::PlanPolicy::WIDEST_WINDOW));
    set(&mut filled.due_window, window.map(|n| n.map(Some)), &mut faults);
    if faults.is_empty() { Ok(filled) } else { Err(faults) }
}

/// An empty order is the default.
fn read_level_order(levels: &[i32]) -> Result<LevelOrder, Vec<Fault>> {
    if levels.is_empty() {
        return Ok(LevelOrder::default());
    }
    let allowed = "scrap, coils_opened, reel_changes and lots, each once";
    let mut faults = Vec::new();
    let mut read = Vec::with_capacity(4);
    for (place, number) in levels.iter().enumerate().take(16) {
        match Level::known(*number) {
            Some(level) => read.push(level),
            None => faults.push(Fault::new(format!("level_order[{place}]"), number, allowed)),
        }
    }
    let order = <[Level; 4]>::try_from(read).ok().and_then(LevelOrder::new);
    match order {
        Some(order) if levels.len() == 4 => Ok(order),
        _ if faults.is_empty() => {
            Err(vec![Fault::new("level_order", format!("{} levels", levels.len()), allowed)])
        }
        _ => Err(faults),
    }
}

fn number(field: &str, value: i32, low: u32, high: u32) -> Result<u32, Fault> {
    let given = u32::try_from(value).ok().filter(|number| (low..=high).contains(number));
    given.ok_or_else(|| Fault::new(field, value, format!("{low} to {high}")))
}

/// The range is looked at before the length is rounded: a length that only rounds into it is refused.
fn length(field: &str, mm: f64, high: f64) -> Result<Um, Fault> {
    match (Fault::outside(field, mm, 0.0, high, "mm"), Um::from_mm_f64(mm)) {
        (None, Ok(length)) => Ok(length),
        (Some(fault), _) => Err(fault),
        (None, Err(error)) => Err(Fault::new(field, mm, error.to_string())),
    }
}

fn sds(sds: f64) -> Result<Sds, Fault> {
    Sds::new(sds).ok_or_else(|| Fault::new("coil_margin_sds", sds, "0 to 10 standard deviations"))
}

fn set<T>(to: &mut T, given: Option<Result<T, Fault>>, faults: &mut Vec<Fault>) {
    match given {
        None => {}
        Some(Ok(value)) => *to = value,
        Some(Err(fault)) => faults.push(fault),
    }
}

/// All fields are set, but time budget and due window only if they are stated.
impl From<&becket_floor::PlanPolicy> for PlanPolicy {
    fn from(policy: &becket_floor::PlanPolicy) -> Self {
        let becket_floor::PlanPolicy {
            unison_rule,
            end_trim,
            coil_margin,
            coil_margin_sds,
            piece_order,
            wound_cores,
            due_window,
            fifo,
            level_order,
            effort,
            time_budget_ms,
        } = *policy;
        Self {
            unison_rule: Some(unison_rule.number()),
            end_trim_mm: Some(end_trim.as_mm()),
            coil_margin_mm: Some(coil_margin.as_mm()),
            piece_order: Some(piece_order.number()),
            wound_cores: Some(wound_cores),
            level_order: level_order.levels().map(Known::number).to_vec(),
            time_budget_ms: time_budget_ms.map(count),
            search_rounds: Some(count(effort.rounds_per_coil)),
            due_window: due_window.map(count),
            fifo: Some(fifo),
            coil_margin_sds: Some(coil_margin_sds.get()),
        }
    }
}

/// Shows a whole list.
#[must_use]
pub fn cut_list(list: &becket_floor::CutList, stamps: &Stamps) -> CutList {
    let becket_floor::CutList { header, steps, shortages } = list;
    let trays = becket_floor::trays(steps);
    let mut shown = cut_list_header(header, stamps);
    for serial in &mut shown.serials {
        serial.tray = trays.get(serial.serial_id.as_str()).map_or(0, |tray| count(*tray));
    }
    CutList {
        steps: steps.iter().map(CutStep::from).collect(),
        shortages: shortages.iter().map(Shortage::from).collect(),
        ..shown
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
        quality,
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
        levels: quality.levels.iter().map(level_report).collect(),
        search_stopped: quality.stopped,
    }
}

/// Shows what a new plan changed on a list; `stamps` hold its version after it.
#[must_use]
pub fn list_replan(list_id: &becket_floor::ListId, stamps: &Stamps, moves: PlanMoves) -> ListReplan {
    let PlanMoves { kept, moved, forced, uncut } = moves;
    ListReplan {
        list_id: list_id.to_string(),
        etag: stamps.etag(),
        steps_kept: count(kept),
        steps_moved: count(moved),
        steps_forced: count(forced),
        pieces_uncut: count(uncut),
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
        let (serial_id, piece_id, piece_kind, section, recut) = match piece {
            // The notes are those of the piece in its set; the length to be cut differs from the step's only where
            // the piece was spoiled, and is the recut's then.
            Some(StepPiece { serial_id, piece_id, kind, notes: _, section, length: _, recut }) => {
                (serial_id.to_string(), piece_id.to_string(), kind.number(), section.as_ref(), *recut)
            }
            None => (String::new(), String::new(), 0, None, false),
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
            section_id: section.map(|section| section.section_id.to_string()).unwrap_or_default(),
            section_number: section.map_or(0, |section| count(section.number)),
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
        // Which tray it has is told by the steps of a list.
        Self {
            serial_id: serial_id.to_string(),
            set_digest: set_digest.clone(),
            due_date: due_date.clone(),
            tray: 0,
        }
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
