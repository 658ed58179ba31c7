//! Steps as rows, for spreadsheets.

use becket_api::{
    cutting::{CutList, CutStep, SpoilCause, StepKind, StepState, TailUse},
    stringing::PieceKind,
};
use becket_units::UnitSystem;

use super::ListView;
use crate::output::{
    Measures, Sheet, left,
    names::{notes_of_piece, time, word},
    right,
};

/// One row for each step of the list that the view asks for.
pub(crate) fn cut_list_sheet(list: &CutList, view: ListView, units: UnitSystem) -> Sheet {
    let pending = |step: &&CutStep| !view.pending || step.state == i32::from(StepState::Pending);
    steps_sheet(list.steps.iter().filter(pending), units)
}

/// One row for each step.
pub(crate) fn steps_sheet<'a>(steps: impl IntoIterator<Item = &'a CutStep>, units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("step", ""),
        left("do"),
        left("state"),
        left("coil"),
        left("lot"),
        left("wire"),
        right("reel", ""),
        left("serial"),
        left("piece"),
        left("notes"),
        left("section"),
        left("kind"),
        right("length", measures.length_unit()),
        right("left on coil", measures.length_unit()),
        left("tail"),
        left("recut"),
        left("spoiled"),
        left("done"),
        left("by"),
    ];
    Sheet::of(columns, steps.into_iter().map(|step| row(step, measures)))
}

fn row(step: &CutStep, measures: Measures) -> Vec<String> {
    let notes = if step.piece_id.is_empty() { String::new() } else { notes_of_piece(&step.piece_id) };
    vec![
        step.step_number.to_string(),
        word(step.kind, StepKind::as_str_name, "STEP_KIND_"),
        word(step.state, StepState::as_str_name, "STEP_STATE_"),
        step.coil_id.clone(),
        step.lot_id.clone(),
        step.wire_id.clone(),
        step.reel_position.to_string(),
        step.serial_id.clone(),
        step.piece_id.clone(),
        notes,
        step.section_id.clone(),
        word(step.piece_kind, PieceKind::as_str_name, "PIECE_KIND_"),
        measures.length_um(step.length_um),
        measures.length_um(step.remaining_after_um),
        word(step.tail_use, TailUse::as_str_name, "TAIL_USE_"),
        if step.recut { "yes".to_owned() } else { String::new() },
        word(step.spoil_cause.unwrap_or_default(), SpoilCause::as_str_name, "SPOIL_CAUSE_"),
        time(step.done_time.as_ref()),
        step.done_by.clone(),
    ]
}
