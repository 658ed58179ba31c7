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

/// A good piece that another list has cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EarlierCut {
    /// Serial.
    pub serial_id: SerialId,
    /// Wire.
    pub wire_id: WireId,
    /// Notes that it serves.
    pub notes: Vec<i32>,
    /// Coil from which it was cut.
    pub coil_id: CoilId,
    /// Lot of the coil.
    pub lot_id: LotId,
}

impl ReplanFrame {
    /// States the problem of cutting `needs` at `station` in place of what is pending on `list`; see [`PlanFrame::build`].
    ///
    /// Serials of which the list has cut a piece hold a tray and come before the others. The due window of the policy, which
    /// the order of the former plan heeded, binds no serial that is begun, so it is wider by their number, and none at all
    /// where the policy leaves it to the trays. With serials that the list did not have, the former order heeded nothing that is due
    /// before others, so the window holds again, only not narrower than what is begun. Coils that the former plan names are opened
    /// before equal ones that it does not name, even if these were received earlier and have come back since. Pieces whose unisons
    /// are cut, by the list or, before it, by others (`earlier`, in the order of cutting), are drawn to the coil of these.
    #[must_use]
    pub fn build(
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
        list: &CutList,
        earlier: &[EarlierCut],
    ) -> Self {
        let is_added = |need: &SerialNeed| list.set_digest(&need.serial.serial_id).is_none();
        let has_added = needs.iter().any(|need| is_added(need) && !need.pieces.is_empty());
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
        frame.problem.policy.due_window = if has_added {
            let window = policy.due_window.unwrap_or(station.trays.saturating_sub(1));
            Some(window.max(begun.saturating_sub(1)))
        } else {
            policy.due_window.map(|window| window.saturating_add(begun))
        };
        rank_by_plan(&mut frame, list.pending());
        let former = former_steps(&frame, list.pending());
        let kin = kin(&frame, &cut_pieces(earlier, &cut));
        Self { frame, former, open, kin }
    }

    /// The problem with its names.
    #[must_use]
    pub fn frame(&self) -> &PlanFrame {
        &self.frame
    }

    /// The same with all pieces whose unisons are cut taken out of the former plan, so that they are free to go to these; `None` if
    /// there are no such pieces.
    #[must_use]
    pub fn with_kin_free(mut self) -> Option<Self> {
        let has_kin = |piece: PieceIndex| self.kin.get(piece.index()).is_some_and(Option::is_some);
        self.kin.iter().any(Option::is_some).then_some(())?;
        self.former.retain(|step| !matches!(step, planner::Step::Cut { piece, .. } if has_kin(*piece)));
        Some(self)
    }

    /// The floor, for a planner.
    #[must_use]
    pub fn disturbed(&self) -> Disturbed<'_> {
        Disturbed { problem: self.frame.problem(), former: &self.former, open: &self.open, kin: &self.kin }
    }
}

/// Puts coils that the former plan names before all others in the order in which equal sealed ones are opened. A coil that was
/// received earlier may be there only now, since it was set aside or was not booked; that is no reason to change the plan.
fn rank_by_plan(frame: &mut PlanFrame, pending: &[Step]) {
    let named: BTreeSet<&CoilId> = pending.iter().map(|step| &step.coil_id).collect();
    let mut order: Vec<usize> = (0..frame.coils.len()).collect();
    order.sort_by_key(|place| {
        let is_named = frame.coils.get(*place).is_some_and(|coil| named.contains(&coil.coil.coil_id));
        (!is_named, frame.problem.coils.get(*place).map(|coil| coil.received_rank))
    });
    for (rank, place) in (0u32..).zip(order) {
        if let Some(coil) = frame.problem.coils.get_mut(place) {
            coil.received_rank = rank;
        }
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

/// Where a good piece came from.
struct CutPiece<'a> {
    serial_id: &'a SerialId,
    wire_id: &'a WireId,
    notes: &'a [i32],
    coil_id: &'a CoilId,
    lot_id: &'a LotId,
}

/// Good pieces in the order of cutting: those of other lists, then those of the list itself.
fn cut_pieces<'a>(earlier: &'a [EarlierCut], own: &[&'a Step]) -> Vec<CutPiece<'a>> {
    let earlier = earlier.iter().map(|cut| CutPiece {
        serial_id: &cut.serial_id,
        wire_id: &cut.wire_id,
        notes: &cut.notes,
        coil_id: &cut.coil_id,
        lot_id: &cut.lot_id,
    });
    let own = own.iter().filter_map(|step| {
        let piece = step.piece.as_ref()?;
        Some(CutPiece {
            serial_id: &piece.serial_id,
            wire_id: &step.wire_id,
            notes: &piece.notes,
            coil_id: &step.coil_id,
            lot_id: &step.lot_id,
        })
    });
    earlier.chain(own).collect()
}

/// For each piece of the problem, where the pieces that serve its note, directly or by a chain, were cut from: the coil of the
/// last of them.
fn kin(frame: &PlanFrame, cut: &[CutPiece<'_>]) -> Vec<Option<Kin>> {
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
    let done = cut.iter().map(|cut| (cut.serial_id, cut.wire_id, cut.notes));
    for (place, (serial_id, wire_id, notes)) in pending.chain(done).enumerate() {
        for note in notes {
            sets.union(*servers.entry((serial_id, wire_id, *note)).or_insert(place), place);
        }
    }
    let mut homes: BTreeMap<usize, Kin> = BTreeMap::new();
    for (cut, place) in cut.iter().zip(frame.pieces.len()..) {
        let kin = Kin { coil: coils.get(cut.coil_id).copied(), lot: lots.get(cut.lot_id).copied() };
        homes.insert(sets.find(place), kin);
    }
    (0..frame.pieces.len()).map(|place| homes.get(&sets.find(place)).copied()).collect()
}
