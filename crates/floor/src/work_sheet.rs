//! A cut list as a person works through it: steps of one kind together, and what is done between them.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::cut_list::CutList;
use crate::ids::{CoilId, LotId, PieceId, SerialId, WireId};
use crate::section::Section;
use crate::step::{Step, StepKind, TailUse};

/// What is done at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorkAction {
    /// Put the coil on its reel position.
    Mount,
    /// Cut off its end squarely.
    SquareEnd,
    /// Cut pieces of one length and lay them in the serial's tray.
    Cut,
    /// Look whether what remains agrees with the sheet, by eye or by weight, and note it.
    CheckRemainder,
    /// Take the coil off.
    Unmount,
    /// Write on the coil what is left, and put it back into stock.
    LabelRemnant,
    /// Throw the tail into the scrap bin.
    ScrapTail,
}

/// One line of a work sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkItem {
    /// What is done.
    pub action: WorkAction,
    /// First of the list's steps that it belongs to.
    pub first_step: u32,
    /// Last of them; what is confirmed is from the first to the last.
    pub last_step: u32,
    /// Whether all of them are confirmed.
    pub done: bool,
    /// Coil.
    pub coil_id: CoilId,
    /// Its lot.
    pub lot_id: LotId,
    /// Its wire.
    pub wire_id: WireId,
    /// Reel position, from 1.
    pub reel_position: u32,
    /// Serial of the pieces, and their tray from 1; `None` for what is no cut.
    pub tray: Option<(SerialId, u32)>,
    /// Pieces, in the order in which they are cut; empty for what is no cut.
    pub piece_ids: Vec<PieceId>,
    /// Whether they are cut again because earlier ones were lost.
    pub recut: bool,
    /// Section of the scale that they belong to, where it is known.
    pub section: Option<Section>,
    /// Length of each piece, of the trim, or of the scrapped tail; nothing for the rest.
    pub length: Um,
    /// What is on the coil afterwards.
    pub remaining: Um,
    /// What that weighs in g without the reel: its length times the linear density of the coil's wire. `None` if that is not known.
    pub remaining_mass_g: Option<f64>,
    /// Pieces that are cut and good once this is done.
    pub pieces_done: u32,
    /// On the last line that cuts for a serial: how many of its pieces the list lacks for want of wire. Its tray gets nothing more.
    pub tray_ends_lacking: Option<u32>,
    /// Whether the coil is set aside, so that it does not go back into the stock.
    pub set_aside: bool,
}

/// What a work sheet tells of a coil besides its steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetCoil {
    /// Linear density of the wire on it in g/m, as it was measured or stated at receipt.
    pub linear_density_g_m: f64,
    /// Whether it is set aside.
    pub set_aside: bool,
}

/// Tray of every serial, from 1: a serial takes the lowest free tray with its first cut and leaves it after its last. Serials of
/// which nothing is cut have none.
///
/// A list that keeps to the trays of its station needs no more than it has. If a piece of a serial that was complete is cut again,
/// trays that serials took since may change.
#[must_use]
pub fn trays(steps: &[Step]) -> BTreeMap<SerialId, u32> {
    let cuts = || steps.iter().filter_map(|step| Some((step.step_number, &step.piece.as_ref()?.serial_id)));
    let last: BTreeMap<&SerialId, u32> = cuts().map(|(number, serial)| (serial, number)).collect();
    let mut taken: BTreeMap<SerialId, u32> = BTreeMap::new();
    let mut open: BTreeSet<u32> = BTreeSet::new();
    for (number, serial) in cuts() {
        let tray = *taken.entry(serial.clone()).or_insert_with(|| {
            let free = (1..).find(|tray| !open.contains(tray)).unwrap_or(u32::MAX);
            open.insert(free);
            free
        });
        if last.get(serial) == Some(&number) {
            open.remove(&tray);
        }
    }
    taken
}

/// The work sheet of a list. Coils that are not in `coils` are told without their weights.
#[must_use]
pub fn work_sheet(list: &CutList, coils: &BTreeMap<CoilId, SheetCoil>) -> Vec<WorkItem> {
    let trays = trays(&list.steps);
    let mut sheet = Sheet { items: Vec::new(), pieces_done: 0, coils };
    for (place, step) in list.steps.iter().enumerate() {
        match step.kind {
            StepKind::Mount => {
                let before = step.remaining_after.checked_add(step.length).unwrap_or(step.remaining_after);
                sheet.push(step, WorkAction::Mount, Um::ZERO, before);
                if step.length > Um::ZERO {
                    sheet.push(step, WorkAction::SquareEnd, step.length, step.remaining_after);
                }
            }
            StepKind::Cut => {
                sheet.cut(step, &trays);
                let coil_goes_on = list
                    .steps
                    .get(place + 1)
                    .is_some_and(|next| next.coil_id == step.coil_id && next.kind == StepKind::Cut);
                if !coil_goes_on {
                    sheet.push(step, WorkAction::CheckRemainder, Um::ZERO, step.remaining_after);
                }
            }
            StepKind::Unmount => {
                let before = step.remaining_after.checked_add(step.length).unwrap_or(step.remaining_after);
                sheet.push(step, WorkAction::Unmount, Um::ZERO, before);
                if step.tail_use == Some(TailUse::Scrap) {
                    if step.length > Um::ZERO {
                        sheet.push(step, WorkAction::ScrapTail, step.length, step.remaining_after);
                    }
                } else if before > Um::ZERO {
                    sheet.push(step, WorkAction::LabelRemnant, Um::ZERO, step.remaining_after);
                }
            }
        }
    }
    sheet.tell_trays(list);
    sheet.items
}

struct Sheet<'a> {
    items: Vec<WorkItem>,
    pieces_done: u32,
    coils: &'a BTreeMap<CoilId, SheetCoil>,
}

impl Sheet<'_> {
    fn push(&mut self, step: &Step, action: WorkAction, length: Um, remaining: Um) {
        let coil = self.coils.get(&step.coil_id);
        self.items.push(WorkItem {
            action,
            first_step: step.step_number,
            last_step: step.step_number,
            done: !step.is_pending(),
            coil_id: step.coil_id.clone(),
            lot_id: step.lot_id.clone(),
            wire_id: step.wire_id.clone(),
            reel_position: step.reel_position,
            tray: None,
            piece_ids: Vec::new(),
            recut: false,
            section: None,
            length,
            remaining,
            remaining_mass_g: coil.map(|coil| mass_g(remaining, coil.linear_density_g_m)),
            pieces_done: self.pieces_done,
            tray_ends_lacking: None,
            set_aside: coil.is_some_and(|coil| coil.set_aside),
        });
    }

    /// Tells on the last line of each serial that its tray gets nothing more.
    fn tell_trays(&mut self, list: &CutList) {
        let mut seen = BTreeSet::new();
        for item in self.items.iter_mut().rev() {
            let Some((serial_id, _)) = &item.tray else { continue };
            if seen.insert(serial_id.clone()) && !item.piece_ids.is_empty() {
                let short = list.shortages.iter().filter(|short| short.serial_id == *serial_id);
                let lacking: usize = short.map(|short| short.piece_ids.len()).sum();
                item.tray_ends_lacking = Some(u32::try_from(lacking).unwrap_or(u32::MAX));
            }
        }
    }

    /// Cuts of one length for one serial that follow each other on one coil are one line.
    fn cut(&mut self, step: &Step, trays: &BTreeMap<SerialId, u32>) {
        let Some(piece) = &step.piece else { return };
        let spoiled = step.spoil_cause.is_some();
        self.pieces_done += u32::from(!spoiled);
        let tray = trays.get(&piece.serial_id).map(|tray| (piece.serial_id.clone(), *tray));
        let (coil, pieces_done) = (self.coils.get(&step.coil_id), self.pieces_done);
        let alike = |item: &&mut WorkItem| {
            item.action == WorkAction::Cut
                && item.coil_id == step.coil_id
                && item.tray == tray
                && item.length == step.length
                && item.done != step.is_pending()
                && item.recut == piece.recut
                && item.section == piece.section
        };
        if let (false, Some(item)) = (spoiled, self.items.last_mut().filter(alike)) {
            item.last_step = step.step_number;
            item.piece_ids.push(piece.piece_id.clone());
            item.remaining = step.remaining_after;
            item.remaining_mass_g = coil.map(|coil| mass_g(step.remaining_after, coil.linear_density_g_m));
            item.pieces_done = pieces_done;
            return;
        }
        self.push(step, WorkAction::Cut, step.length, step.remaining_after);
        if let Some(item) = self.items.last_mut() {
            (item.tray, item.recut, item.section) = (tray, piece.recut, piece.section.clone());
            // A spoiled piece is in no tray and in no count.
            if !spoiled {
                item.piece_ids.push(piece.piece_id.clone());
            }
        }
    }
}

/// Mass in g of a length of wire of so many g/m.
fn mass_g(length: Um, linear_density_g_m: f64) -> f64 {
    length.as_mm() / 1000.0 * linear_density_g_m
}
