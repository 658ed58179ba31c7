//! Steps as they are done at the bench: mount a reel, cut from it, take it off.

use std::fmt::Write as _;

use becket_api::cutting::{CutList, CutStep, SerialDigest, SpoilCause, StepKind, StepState, TailUse};
use becket_units::UnitSystem;

use super::ListView;
use crate::output::{
    Measures, Sheet, WireNames, left,
    measures::mm,
    names::{notes_of_piece, word},
    right,
};

/// All steps that the view asks for, in order, with a line for every reel that is handled and a table of what is cut from it.
pub(super) fn steps_text(list: &CutList, wires: &WireNames, view: ListView, units: UnitSystem) -> String {
    let shown = |step: &&CutStep| !view.pending || is_pending(step);
    let steps: Vec<&CutStep> = list.steps.iter().filter(shown).collect();
    if steps.is_empty() {
        return "Nothing is to be done.\n".to_owned();
    }
    let mut text = String::new();
    // The coil that the reader was last told of.
    let mut told = "";
    for run in
        steps.chunk_by(|before, after| is_cut(before) && is_cut(after) && before.coil_id == after.coil_id)
    {
        let Some(first) = run.first() else { continue };
        if is_cut(first) {
            if told != first.coil_id {
                let _ = writeln!(text, "\nCut from {}", reel(first, wires));
            }
            text += &cuts_sheet(list, run, view, units).table();
            told = &first.coil_id;
        } else {
            let _ = writeln!(text, "\n{}", handling(first, wires, units));
            told = if first.kind == i32::from(StepKind::Mount) { &first.coil_id } else { "" };
        }
    }
    text
}

/// A step in a few words, without the names of the catalogue.
pub(super) fn step_words(step: &CutStep, units: UnitSystem) -> String {
    let wires = WireNames::default();
    if is_cut(step) {
        let length = units.length(mm(step.length_um));
        format!(
            "cut {length} from coil {} on reel {} for {} ({})",
            step.coil_id,
            step.reel_position,
            step.serial_id,
            notes_of_piece(&step.piece_id)
        )
    } else {
        handling_words(step, &wires, units)
    }
}

fn handling(step: &CutStep, wires: &WireNames, units: UnitSystem) -> String {
    let words = handling_words(step, wires, units);
    let mut letters = words.chars();
    let words = letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect::<String>())
        .unwrap_or_default();
    let done = if is_pending(step) { "" } else { "  [done]" };
    format!("Step {}: {words}{done}", step.step_number)
}

fn handling_words(step: &CutStep, wires: &WireNames, units: UnitSystem) -> String {
    let length = |um: i64| units.length(mm(um));
    match StepKind::try_from(step.kind) {
        Ok(StepKind::Mount) => format!(
            "mount coil {} on reel {} ({}, lot {}), trim {}",
            step.coil_id,
            step.reel_position,
            wires.of(&step.wire_id),
            step.lot_id,
            length(step.length_um)
        ),
        Ok(StepKind::Unmount) => {
            let rest = match TailUse::try_from(step.tail_use) {
                Ok(TailUse::Scrap) => format!("scrap the last {}", length(step.length_um)),
                _ => format!("keep what is left, {}", length(step.remaining_after_um)),
            };
            format!("take coil {} off reel {}, {rest}", step.coil_id, step.reel_position)
        }
        _ => format!(
            "coil {} on reel {}: a step that this program does not know",
            step.coil_id, step.reel_position
        ),
    }
}

fn reel(step: &CutStep, wires: &WireNames) -> String {
    format!(
        "coil {} on reel {} ({}, lot {})",
        step.coil_id,
        step.reel_position,
        wires.of(&step.wire_id),
        step.lot_id
    )
}

fn cuts_sheet(list: &CutList, cuts: &[&CutStep], view: ListView, units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("step", ""),
        right("length", measures.length_unit()),
        left("pieces"),
        left("notes"),
        left("section"),
        left("serial"),
        left("tray"),
        right("left on coil", measures.length_unit()),
        left("state"),
    ];
    let alike = |before: &&CutStep, after: &&CutStep| {
        view.summary
            && before.length_um == after.length_um
            && before.serial_id == after.serial_id
            && before.state == after.state
            && before.recut == after.recut
            && before.section_id == after.section_id
    };
    let rows = cuts.chunk_by(alike).filter_map(|group| {
        let (first, last) = (group.first()?, group.last()?);
        let (steps, pieces) = if group.len() == 1 {
            (first.step_number.to_string(), first.piece_id.clone())
        } else {
            (format!("{}–{}", first.step_number, last.step_number), format!("{} ×", group.len()))
        };
        Some(vec![
            steps,
            measures.length_um(first.length_um),
            pieces,
            notes_of_group(group),
            first.section_id.clone(),
            first.serial_id.clone(),
            tray(list, first),
            measures.length_um(last.remaining_after_um),
            state_words(group),
        ])
    });
    Sheet::of(columns, rows)
}

fn notes_of_group(group: &[&CutStep]) -> String {
    let joined: Vec<&str> = group.iter().map(|step| step.piece_id.as_str()).collect();
    notes_of_piece(&joined.join("+"))
}

fn state_words(group: &[&CutStep]) -> String {
    let Some(step) = group.first() else { return String::new() };
    let recut = if step.recut { "cut again" } else { "" };
    match StepState::try_from(step.state) {
        Ok(StepState::Done) => "done".to_owned(),
        Ok(StepState::Spoiled) => {
            let cause = word(step.spoil_cause.unwrap_or_default(), SpoilCause::as_str_name, "SPOIL_CAUSE_");
            format!("spoiled: {cause}")
        }
        _ => recut.to_owned(),
    }
}

/// The tray of the step's serial.
fn tray(list: &CutList, step: &CutStep) -> String {
    let serial = list.serials.iter().find(|serial| serial.serial_id == step.serial_id);
    serial.map(tray_words).unwrap_or_default()
}

/// The tray of a serial in words; nothing if it has none.
pub(super) fn tray_words(serial: &SerialDigest) -> String {
    if serial.tray > 0 { format!("tray {}", serial.tray) } else { String::new() }
}

fn is_cut(step: &CutStep) -> bool {
    step.kind == i32::from(StepKind::Cut)
}

fn is_pending(step: &CutStep) -> bool {
    step.state == i32::from(StepState::Pending)
}
