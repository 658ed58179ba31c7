//! Plans that were made from a file.

use becket_api::cutting::{PlanCutsResponse, PlanStep, StepKind, TailUse, UncutPieces, UncutReason};
use becket_units::UnitSystem;

use super::{figures_text, levels::levels_text};
use crate::output::{Measures, SAFETY_NOTE, Sheet, left, names::word, right};

/// What a plan comes to, how good it is, what is not cut, and its steps if they are asked for.
pub(crate) fn plan_cuts_text(plan: &PlanCutsResponse, with_steps: bool, units: UnitSystem) -> String {
    let mut text = String::from("Plan of the file; nothing is stored or reserved\n");
    if let Some(figures) = &plan.figures {
        text += &figures_text(figures, units);
    }
    text += &levels_text(&plan.levels, plan.stopped, units);
    if !plan.uncut.is_empty() {
        text += "\nNot cut:\n";
        text += &uncut_sheet(&plan.uncut, units).table();
    }
    if with_steps {
        text += "\n";
        text += &plan_steps_sheet(&plan.steps, units).table();
    }
    format!("{text}\n{SAFETY_NOTE}")
}

fn uncut_sheet(uncut: &[UncutPieces], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("serial"),
        left("piece"),
        right("pieces", ""),
        right("length", measures.length_unit()),
        left("why"),
    ];
    let rows = uncut.iter().map(|part| {
        vec![
            part.serial_id.clone(),
            part.piece_id.clone(),
            part.count.to_string(),
            measures.length_um(part.length_um),
            word(part.reason, UncutReason::as_str_name, "UNCUT_REASON_"),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each step.
pub(crate) fn plan_steps_sheet(steps: &[PlanStep], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("do"),
        left("coil"),
        right("reel", ""),
        left("serial"),
        left("piece"),
        right("pieces", ""),
        right("length", measures.length_unit()),
        right("left on coil", measures.length_unit()),
        left("tail"),
    ];
    let rows = steps.iter().map(|step| {
        vec![
            word(step.kind, StepKind::as_str_name, "STEP_KIND_"),
            step.coil_id.clone(),
            step.reel_position.to_string(),
            step.serial_id.clone(),
            step.piece_id.clone(),
            if step.count == 0 { String::new() } else { step.count.to_string() },
            measures.length_um(step.length_um),
            measures.length_um(step.remaining_after_um),
            word(step.tail_use, TailUse::as_str_name, "TAIL_USE_"),
        ]
    });
    Sheet::of(columns, rows)
}
