//! Work sheets.

use std::fmt::Write as _;

use becket_api::cutting::{GetWorkSheetResponse, WorkAction, WorkItem};
use becket_units::UnitSystem;

use crate::output::{
    Measures, SAFETY_NOTE, Sheet, WireNames, left,
    measures::mm,
    names::{count, notes_of_piece, word},
    right,
};

/// The sheet for the person at the bench.
pub(crate) fn work_sheet_text(sheet: &GetWorkSheetResponse, wires: &WireNames, units: UnitSystem) -> String {
    let mut text = format!(
        "Work sheet of {} at {}: {} cut, {} to cut\n",
        sheet.list_id,
        sheet.station_id,
        count(sheet.pieces_done.into(), "piece", "pieces"),
        sheet.pieces_pending
    );
    let _ = writeln!(
        text,
        "Each line is one thing to do, from the top down. The numbers before it are the steps that it confirms:\n  \
         becket confirm {} STEP --count N\n\
         Cut from the squared end. Tie the pieces of a line together and tag them with what stands in brackets: nothing else \
         tells them apart.",
        sheet.list_id
    );
    // A caution is given when it first applies to a coil, not on every line.
    let mut warned: Vec<&str> = Vec::new();
    let mut coil = "";
    for item in &sheet.items {
        if item.coil_id != coil || item.action == i32::from(WorkAction::Mount) {
            coil = &item.coil_id;
            let there = if item.action() == WorkAction::Mount { "" } else { " (it is on it)" };
            let _ = writeln!(
                text,
                "\nCoil {}, reel {}{there}: {}, lot {}",
                coil,
                item.reel_position,
                wires.of(&item.wire_id),
                item.lot_id
            );
            warned.clear();
        }
        if !item.caution.is_empty() && !warned.contains(&item.caution.as_str()) {
            warned.push(&item.caution);
            let _ = writeln!(text, "             ! {}", item.caution);
        }
        let steps = if item.first_step_number == item.last_step_number {
            item.first_step_number.to_string()
        } else {
            format!("{}–{}", item.first_step_number, item.last_step_number)
        };
        let mark = if item.done { "x" } else { " " };
        let _ = writeln!(text, "  {steps:>9} [{mark}] {}", words(item, units));
    }
    format!("{text}\n{}\n{SAFETY_NOTE}", otherwise(&sheet.list_id))
}

/// What to do where the floor is not as the sheet says.
fn otherwise(list_id: &str) -> String {
    let lines = [
        ("a piece is cut wrong, or breaks", format!("becket spoiled {list_id} STEP --cause miscut")),
        ("a coil ends before its pieces are cut", format!("becket run-out {list_id} STEP")),
        ("a coil is not there, or must not be used", "becket set-aside COIL".to_owned()),
        ("what is left is off by more than a piece", "becket weigh COIL --gross G --tare G".to_owned()),
    ];
    let lines: String = lines.iter().map(|(what, command)| format!("  {what:<42} {command}\n")).collect();
    format!(
        "If it is not as the sheet says, stop, and tell it before you go on; the list is planned anew where it must be:\n{lines}"
    )
}

fn words(item: &WorkItem, units: UnitSystem) -> String {
    let length = |um: i64| units.length(mm(um));
    match item.action() {
        WorkAction::Mount => format!("Mount coil {} on reel {}", item.coil_id, item.reel_position),
        WorkAction::SquareEnd => {
            format!("Square the end: cut off {}, into the scrap bin", length(item.length_um))
        }
        WorkAction::Cut if item.piece_ids.is_empty() => {
            format!("{} were lost to a spoiled piece", length(item.length_um))
        }
        WorkAction::Cut => {
            let again = if item.recut { " again" } else { "" };
            format!(
                "Cut {}{again} of {}, lay in tray {} for {} ({}); {} done{}",
                count(i64::try_from(item.piece_ids.len()).unwrap_or(i64::MAX), "piece", "pieces"),
                length(item.length_um),
                item.tray,
                item.serial_id,
                section_and_notes(item),
                item.pieces_done,
                tray_ends(item)
            )
        }
        WorkAction::CheckRemainder => format!("Check and note what is left: {}", left_over(item, units)),
        WorkAction::Unmount if item.remaining_um == 0 => {
            format!("Take coil {} off reel {}; it is empty", item.coil_id, item.reel_position)
        }
        WorkAction::Unmount => format!("Take coil {} off reel {}", item.coil_id, item.reel_position),
        WorkAction::LabelRemnant => format!(
            "Label it: coil {}, wire {}, lot {}, {}; {}",
            item.coil_id,
            item.wire_id,
            item.lot_id,
            left_over(item, units),
            if item.coil_set_aside { "it is set aside, keep it apart" } else { "back into stock" }
        ),
        WorkAction::ScrapTail => format!("Put the last {} into the scrap bin", length(item.length_um)),
        WorkAction::Unspecified => "Do a step that this program does not know".to_owned(),
    }
}

/// What becomes of a tray that gets nothing more.
fn tray_ends(item: &WorkItem) -> String {
    match (item.tray_ends, item.tray_lacks) {
        (false, _) => String::new(),
        (true, 0) => format!(". Tray {} is complete: hand it on", item.tray),
        (true, lacks) => format!(
            ". Tray {} gets nothing more and lacks {} for want of wire: mark it",
            item.tray,
            count(lacks.into(), "piece", "pieces")
        ),
    }
}

fn section_and_notes(item: &WorkItem) -> String {
    let notes = notes_of_piece(&item.piece_ids.join("+"));
    if item.section_id.is_empty() { notes } else { format!("{}, {notes}", item.section_id) }
}

fn left_over(item: &WorkItem, units: UnitSystem) -> String {
    let measures = Measures(units);
    let length = format!("{} {}", measures.run_um(item.remaining_um), measures.run_unit());
    match item.remaining_mass_g {
        Some(mass) => format!("{length}, {} {} of wire", measures.mass(mass), measures.mass_unit()),
        None => length,
    }
}

/// One row for each line.
pub(crate) fn work_items_sheet(items: &[WorkItem], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("first step", ""),
        right("last step", ""),
        left("do"),
        left("done"),
        left("coil"),
        left("lot"),
        left("wire"),
        right("reel", ""),
        right("pieces", ""),
        right("length", measures.length_unit()),
        left("serial"),
        right("tray", ""),
        left("which"),
        left("section"),
        right("left on coil", measures.length_unit()),
        right("left on coil", measures.mass_unit()),
        right("pieces done", ""),
        left("caution"),
    ];
    let rows = items.iter().map(|item| {
        vec![
            item.first_step_number.to_string(),
            item.last_step_number.to_string(),
            word(item.action, WorkAction::as_str_name, "WORK_ACTION_"),
            if item.done { "yes" } else { "" }.to_owned(),
            item.coil_id.clone(),
            item.lot_id.clone(),
            item.wire_id.clone(),
            item.reel_position.to_string(),
            item.piece_ids.len().to_string(),
            measures.length_um(item.length_um),
            item.serial_id.clone(),
            if item.tray == 0 { String::new() } else { item.tray.to_string() },
            item.piece_ids.join(" "),
            item.section_id.clone(),
            measures.length_um(item.remaining_um),
            item.remaining_mass_g.map(|mass| measures.mass(mass)).unwrap_or_default(),
            item.pieces_done.to_string(),
            item.caution.clone(),
        ]
    });
    Sheet::of(columns, rows)
}
