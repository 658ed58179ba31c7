//! A list that must be planned anew, in the planner's indices.

use std::collections::{BTreeMap, BTreeSet};

use becket_planner::{self as planner, CoilIndex, Disturbed, Kin, PieceIndex, SerialIndex, Tail};
use becket_units::Um;

use crate::cut_list::{CutList, PlanPolicy};
use crate::ids::{CoilId, LotId, PieceId, SerialId, WireId};
use crate::plan_frame::{PlanFrame, SerialNeed};
use crate::station::{FloorCoil, Station};
use crate::step::{Step, StepKind, TailUse};
use crate::union_find::UnionFind;

/// A problem of planning anew, with the former plan and what is cut already.
#[derive(Debug, Clone)]
pub struct ReplanFrame {
    frame: PlanFrame,
    former: Vec<planner::Step>,
    open: Vec<SerialIndex>,
    kin: Vec<Option<Kin>>,
}

impl ReplanFrame {
    /// States the problem of cutting `needs` at `station` in place of what is pending on `list`; see [`PlanFrame::build`].
    ///
    /// Serials of which the list has cut a piece hold a tray and come before the others. The due window of the policy, which
    /// the order of the former plan heeded, binds no serial that is begun, so it is wider by their number, and none at all
    /// where the policy leaves it to the trays. Pieces whose unisons the list has cut are drawn to the coil of these.
    #[must_use]
    pub fn build(
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
        list: &CutList,
    ) -> Self {
        let cut: Vec<&Step> = list.done().iter().filter(|step| step.is_good_cut()).collect();
        let begun: BTreeSet<SerialId> =
            cut.iter().filter_map(|step| Some(step.piece.as_ref()?.serial_id.clone())).collect();
        let mut frame = PlanFrame::build_after(needs, coils, station, policy, &begun);
        let has_pieces: BTreeSet<SerialIndex> = frame.pieces.iter().map(|(serial, _)| *serial).collect();
        let numbered = (0u32..).map(SerialIndex).zip(&frame.serials);
        let open: Vec<SerialIndex> = numbered
            .filter(|(index, serial)| begun.contains(&serial.serial_id) && has_pieces.contains(index))
            .map(|(index, _)| index)
            .collect();
        let begun = u32::try_from(open.len()).unwrap_or(u32::MAX);
        frame.problem.policy.due_window = policy.due_window.map(|window| window.saturating_add(begun));
        let former = former_steps(&frame, list.pending());
        let kin = kin(&frame, &cut);
        Self { frame, former, open, kin }
    }

    /// The problem with its names.
    #[must_use]
    pub fn frame(&self) -> &PlanFrame {
        &self.frame
    }

    /// The floor, for a planner.
    #[must_use]
    pub fn disturbed(&self) -> Disturbed<'_> {
        Disturbed { problem: self.frame.problem(), former: &self.former, open: &self.open, kin: &self.kin }
    }
}

/// Pending steps in the planner's indices, without those of pieces and coils that the problem does not have.
fn former_steps(frame: &PlanFrame, pending: &[Step]) -> Vec<planner::Step> {
    let coils: BTreeMap<&CoilId, (CoilIndex, &FloorCoil)> =
        (0u32..).map(CoilIndex).zip(&frame.coils).map(|(c, coil)| (&coil.coil.coil_id, (c, coil))).collect();
    let mut pieces: BTreeMap<(&SerialId, &PieceId), PieceIndex> = BTreeMap::new();
    for (p, (serial, need)) in (0u32..).map(PieceIndex).zip(&frame.pieces) {
        if let Some(serial) = frame.serials.get(serial.index()) {
            pieces.insert((&serial.serial_id, &need.piece_id), p);
        }
    }
    let former = |step: &Step| {
        let (coil, entry) = *coils.get(&step.coil_id)?;
        let position = step.reel_position.saturating_sub(1);
        let others = entry.reserved_by_others;
        let remaining_after = step.remaining_after.checked_sub(others).unwrap_or(Um::ZERO).max(Um::ZERO);
        Some(match step.kind {
            StepKind::Mount => planner::Step::Mount { coil, position, remaining_after },
            StepKind::Cut => {
                let piece = step.piece.as_ref()?;
                let piece = *pieces.get(&(&piece.serial_id, &piece.piece_id))?;
                planner::Step::Cut { coil, piece, remaining_after }
            }
            StepKind::Unmount => {
                let tail = match step.tail_use {
                    Some(TailUse::Scrap) => Tail::Scrap(step.length),
                    _ if remaining_after == Um::ZERO => Tail::Empty,
                    _ => Tail::Remnant(remaining_after),
                };
                planner::Step::Unmount { coil, position, tail }
            }
        })
    };
    pending.iter().filter_map(former).collect()
}

/// For each piece of the problem, where the pieces that serve its note, directly or by a chain, were cut from: the coil of the
/// last of them.
fn kin(frame: &PlanFrame, cut: &[&Step]) -> Vec<Option<Kin>> {
    let coils: BTreeMap<&CoilId, CoilIndex> = frame
        .coils
        .iter()
        .zip((0u32..).map(CoilIndex))
        .filter(|(coil, _)| coil.coil.state.is_usable())
        .map(|(coil, c)| (&coil.coil.coil_id, c))
        .collect();
    let lots: BTreeMap<&LotId, u32> = frame
        .coils
        .iter()
        .zip(&frame.problem.coils)
        .map(|(coil, entry)| (&coil.coil.lot_id, entry.lot))
        .collect();
    let mut sets = UnionFind::new(frame.pieces.len() + cut.len());
    let mut servers: BTreeMap<(&SerialId, &WireId, i32), usize> = BTreeMap::new();
    let pending = frame.pieces.iter().filter_map(|(serial, need)| {
        Some((&frame.serials.get(serial.index())?.serial_id, &need.wire_id, need.notes.as_slice()))
    });
    let done = cut.iter().filter_map(|step| {
        let piece = step.piece.as_ref()?;
        Some((&piece.serial_id, &step.wire_id, piece.notes.as_slice()))
    });
    for (place, (serial_id, wire_id, notes)) in pending.chain(done).enumerate() {
        for note in notes {
            sets.union(*servers.entry((serial_id, wire_id, *note)).or_insert(place), place);
        }
    }
    let mut homes: BTreeMap<usize, Kin> = BTreeMap::new();
    for (step, place) in cut.iter().zip(frame.pieces.len()..) {
        let kin = Kin { coil: coils.get(&step.coil_id).copied(), lot: lots.get(&step.lot_id).copied() };
        homes.insert(sets.find(place), kin);
    }
    (0..frame.pieces.len()).map(|place| homes.get(&sets.find(place)).copied()).collect()
}
