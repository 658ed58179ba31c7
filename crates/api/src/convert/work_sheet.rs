//! Work sheets.

use std::collections::BTreeMap;

use becket_floor::{CoilId, CutList, SheetCoil, WorkAction};

use super::count;
use super::enums::Known as _;
use crate::cutting::{GetWorkSheetResponse, WorkItem};

/// Shows a list as a person works through it; with `pending_only` only what is still to be done.
#[must_use]
pub fn work_sheet(
    list: &CutList,
    coils: &BTreeMap<CoilId, SheetCoil>,
    pending_only: bool,
) -> GetWorkSheetResponse {
    let items = becket_floor::work_sheet(list, coils);
    GetWorkSheetResponse {
        list_id: list.header.list_id.to_string(),
        station_id: list.header.station_id.to_string(),
        items: items.iter().filter(|item| !(pending_only && item.done)).map(WorkItem::from).collect(),
        pieces_done: count(list.header.pieces_done),
        pieces_pending: count(list.header.pieces_pending),
    }
}

impl From<&becket_floor::WorkItem> for WorkItem {
    fn from(item: &becket_floor::WorkItem) -> Self {
        let becket_floor::WorkItem {
            action,
            first_step,
            last_step,
            done,
            coil_id,
            lot_id,
            wire_id,
            reel_position,
            tray,
            piece_ids,
            recut,
            section,
            length,
            remaining,
            remaining_mass_g,
            pieces_done,
            tray_ends_lacking,
            set_aside,
        } = item;
        let (serial_id, tray) =
            tray.as_ref().map(|(serial, tray)| (serial.to_string(), count(*tray))).unwrap_or_default();
        Self {
            action: action.number(),
            first_step_number: count(*first_step),
            last_step_number: count(*last_step),
            done: *done,
            coil_id: coil_id.to_string(),
            lot_id: lot_id.to_string(),
            wire_id: wire_id.to_string(),
            reel_position: count(*reel_position),
            serial_id,
            tray,
            piece_ids: piece_ids.iter().map(ToString::to_string).collect(),
            recut: *recut,
            length_um: length.get(),
            remaining_um: remaining.get(),
            remaining_mass_g: *remaining_mass_g,
            pieces_done: count(*pieces_done),
            caution: caution(*action).to_owned(),
            tray_ends: tray_ends_lacking.is_some(),
            tray_lacks: count(tray_ends_lacking.unwrap_or_default()),
            coil_set_aside: *set_aside,
            section_id: section.as_ref().map(|section| section.section_id.to_string()).unwrap_or_default(),
        }
    }
}

/// What to beware of. Common practice, no source; eye protection by ANSI/ISEA Z87.1 or EN 166.
fn caution(action: WorkAction) -> &'static str {
    match action {
        WorkAction::Mount => {
            "Eye protection and gloves: the coil springs open when its ties are cut. Hold the end before you cut them."
        }
        WorkAction::SquareEnd | WorkAction::Cut | WorkAction::ScrapTail => {
            "Eye protection and gloves: hold the wire on both sides of the cut, since both ends spring."
        }
        WorkAction::Unmount => "Bend the end over and tie the coil before you let it go.",
        WorkAction::CheckRemainder | WorkAction::LabelRemnant => "",
    }
}
