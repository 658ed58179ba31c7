//! Cut lists: for the person at the bench, for spreadsheets, and as an overview of many.

mod bench;
mod drawing;
mod levels;
mod plan;
mod replan;
mod steps;
mod terminal;
mod work;

use std::fmt::Write as _;

use becket_api::cutting::{
    CutList, CutListState, PieceOrder, PlanFigures, PlanPolicy, Shortage, UnisonRule, WatchCutListResponse,
};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet, WireNames, left,
    measures::mm,
    names::{count, time, word},
    right,
};

pub(crate) use drawing::{list_picture, plan_picture};
pub(crate) use plan::{plan_cuts_text, plan_steps_sheet};
pub(crate) use replan::{list_replan_text, replan_text};
pub(crate) use steps::{cut_list_sheet, steps_sheet};
pub(crate) use terminal::{Look, picture_text};
pub(crate) use work::{work_items_sheet, work_sheet_text};

/// What of a list is shown, and how.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ListView {
    /// Only steps that are still to be done.
    pub(crate) pending: bool,
    /// Consecutive cuts of one length as one row.
    pub(crate) summary: bool,
}

/// The list for the person at the bench.
pub(crate) fn cut_list_text(list: &CutList, wires: &WireNames, view: ListView, units: UnitSystem) -> String {
    format!("{}\n{SAFETY_NOTE}", cut_list_body(list, wires, view, units))
}

/// The list without the note below it.
pub(crate) fn cut_list_body(list: &CutList, wires: &WireNames, view: ListView, units: UnitSystem) -> String {
    format!("{}\n{}", head(list, units), bench::steps_text(list, wires, view, units))
}

/// What a plan comes to: its figures and what the stock does not cover; the steps are shown on request.
pub(crate) fn plan_text(list: &CutList, units: UnitSystem) -> String {
    let name = if list.list_id.is_empty() { "the list" } else { &list.list_id };
    let rest = if list.list_id.is_empty() {
        "Nothing is stored or reserved; without --dry-run the wire is reserved.".to_owned()
    } else {
        format!("See all steps with: becket show cut-list {name}")
    };
    format!("{}\n{rest}\n\n{SAFETY_NOTE}", head(list, units))
}

fn head(list: &CutList, units: UnitSystem) -> String {
    let name = if list.list_id.is_empty() { "Plan" } else { &list.list_id };
    let mut text = format!(
        "{name} at {}: {}, {} cut, {} to cut\n",
        list.station_id,
        state(list.state),
        count(list.pieces_done.into(), "piece", "pieces"),
        list.pieces_pending
    );
    for serial in &list.serials {
        let tray = bench::tray_words(serial);
        let _ = writeln!(text, "  {tray:<9} {:<12} due {}", serial.serial_id, serial.due_date);
    }
    if let Some(policy) = &list.policy {
        let _ = writeln!(text, "  {}", policy_text(policy, units));
    }
    if let Some(figures) = &list.figures {
        text += &figures_text(figures, units);
    }
    text += &levels::levels_text(&list.levels, list.search_stopped, units);
    if !list.shortages.is_empty() {
        text += "\nThe stock does not cover:\n";
        text += &shortages_sheet(&list.shortages, units).table();
    }
    text
}

fn policy_text(policy: &PlanPolicy, units: UnitSystem) -> String {
    let rule = word(policy.unison_rule.unwrap_or_default(), UnisonRule::as_str_name, "UNISON_RULE_");
    let order = word(policy.piece_order.unwrap_or_default(), PieceOrder::as_str_name, "PIECE_ORDER_");
    let cores = if policy.wound_cores.unwrap_or(true) { "with" } else { "without" };
    format!(
        "unisons from one coil {rule}, pieces {order}, {cores} wound cores, trim {}, margin {}{}",
        units.length(policy.end_trim_mm.unwrap_or_default()),
        units.length(policy.coil_margin_mm.unwrap_or_default()),
        margin_sds(policy.coil_margin_sds),
    )
}

/// A margin in standard deviations, if there is one.
fn margin_sds(sds: Option<f64>) -> String {
    match sds {
        Some(sds) if sds > 0.0 => format!(" and {sds} standard deviations of each coil"),
        _ => String::new(),
    }
}

fn figures_text(figures: &PlanFigures, units: UnitSystem) -> String {
    let measures = Measures(units);
    let run = |um: i64| format!("{} {}", measures.run_um(um), measures.run_unit());
    let used = mm(figures.cut_um) + mm(figures.scrap_um);
    let share = if used > 0.0 { 100.0 * mm(figures.scrap_um) / used } else { 0.0 };
    format!(
        "  {} from {} ({} newly opened), {}\n  {} cut, {} scrap ({share:.2} %), {} left on the coils; {} over more than one coil\n",
        count(figures.pieces.into(), "piece", "pieces"),
        count(figures.coils_used.into(), "coil", "coils"),
        figures.coils_opened,
        count(figures.reel_changes.into(), "reel change", "reel changes"),
        run(figures.cut_um),
        run(figures.scrap_um),
        run(figures.remnant_um),
        count(figures.unisons_split.into(), "unison", "unisons"),
    )
}

fn shortages_sheet(shortages: &[Shortage], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("wire"),
        left("serial"),
        right("pieces", ""),
        right("length", measures.run_unit()),
        left("which"),
    ];
    let rows = shortages.iter().map(|short| {
        let shown: Vec<_> = short.piece_ids.iter().take(4).map(String::as_str).collect();
        let more = if short.piece_ids.len() > shown.len() { " …" } else { "" };
        vec![
            short.wire_id.clone(),
            short.serial_id.clone(),
            short.piece_ids.len().to_string(),
            measures.run_um(short.length_um),
            format!("{}{more}", shown.join(" ")),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each list.
pub(crate) fn lists_sheet(lists: &[CutList], _units: UnitSystem) -> Sheet {
    let columns = [
        left("list"),
        left("station"),
        left("state"),
        left("serials"),
        right("cut", ""),
        right("to cut", ""),
        left("planned"),
    ];
    let rows = lists.iter().map(|list| {
        vec![
            list.list_id.clone(),
            list.station_id.clone(),
            state(list.state),
            list.serials.iter().map(|serial| serial.serial_id.as_str()).collect::<Vec<_>>().join(" "),
            list.pieces_done.to_string(),
            list.pieces_pending.to_string(),
            time(list.create_time.as_ref()),
        ]
    });
    Sheet::of(columns, rows)
}

/// One line of `watch`.
pub(crate) fn watch_line(seen: &WatchCutListResponse, units: UnitSystem) -> String {
    let next = match &seen.next {
        Some(step) => format!("next: step {}, {}", step.step_number, bench::step_words(step, units)),
        None => "nothing is pending".to_owned(),
    };
    format!("{}: {} cut, {} to cut; {next}\n", state(seen.state), seen.pieces_done, seen.pieces_pending)
}

fn state(value: i32) -> String {
    word(value, CutListState::as_str_name, "CUT_LIST_STATE_")
}

#[cfg(test)]
mod tests;
