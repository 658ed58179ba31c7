//! Between the floor's names and the planner's indices.

use std::collections::{BTreeMap, BTreeSet};

use becket_planner::{
    self as planner, CoilIndex, GroupIndex, PieceIndex, Problem, Quality, SerialIndex, Tail, WireIndex,
};
use becket_units::Um;

use crate::coil::CoilState;
use crate::cut_list::{CutList, PlanPolicy, SerialDigest, Shortage};
use crate::error::FloorError;
use crate::ids::{CoilId, LotId, PieceId, SerialId, WireId};
use crate::lifecycle::sum_shortages;
use crate::section::Section;
use crate::station::{FloorCoil, Station};
use crate::step::{PieceKind, Step, StepKind, StepPiece, StepState, TailUse};
use crate::union_find::UnionFind;

/// One piece that a serial needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PieceNeed {
    /// Piece of the serial's string set.
    pub piece_id: PieceId,
    /// What it becomes.
    pub kind: PieceKind,
    /// Wire to cut from.
    pub wire_id: WireId,
    /// Length to cut.
    pub length: Um,
    /// Numbers of the notes that it serves, rising.
    pub notes: Vec<i32>,
    /// Section of the scale; `None` where it is not known.
    pub section: Option<Section>,
    /// Whether it is cut again because an earlier one was spoiled.
    pub recut: bool,
}

/// What one serial needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialNeed {
    /// Serial with its set and due date.
    pub serial: SerialDigest,
    /// Pieces to cut, in the order of the set.
    pub pieces: Vec<PieceNeed>,
}

/// A planning problem together with the names behind its indices.
#[derive(Debug, Clone)]
pub struct PlanFrame {
    pub(crate) problem: Problem,
    pub(crate) serials: Vec<SerialDigest>,
    pub(crate) pieces: Vec<(SerialIndex, PieceNeed)>,
    pub(crate) coils: Vec<FloorCoil>,
}

/// A plan in the floor's names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedSteps {
    /// Serials in due order.
    pub serials: Vec<SerialDigest>,
    /// Steps, numbered from 1, all pending.
    pub steps: Vec<Step>,
    /// What the stock did not cover.
    pub shortages: Vec<Shortage>,
    /// How good the plan is known to be.
    pub quality: Quality,
}

impl PlanFrame {
    /// States the problem of cutting `needs` at `station`.
    ///
    /// Serials are put in the order of due date and name; cores are left out if the policy says so. `coils` are the coils
    /// of the wires needed and all that are mounted at the station, which hold reel positions even if their wire is not
    /// needed. A coil that is neither sealed nor opened, or mounted at another station, is not planned on; one that others
    /// count on is planned with the rest. Pieces of one wire and serial that serve a common note, directly or by a chain of
    /// shared pieces, form a group.
    ///
    /// Faults of lengths and counts are the planner's to find.
    #[must_use]
    pub fn build(
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
    ) -> Self {
        Self::build_after(needs, coils, station, policy, &BTreeSet::new())
    }

    /// As [`Self::build`], with serials of which something is cut already before the others.
    pub(crate) fn build_after(
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
        begun: &BTreeSet<SerialId>,
    ) -> Self {
        let mut needs = needs;
        needs.sort_by(|a, b| {
            let key = |need: &SerialNeed| !begun.contains(&need.serial.serial_id);
            (key(a), &a.serial.due_date, &a.serial.serial_id).cmp(&(
                key(b),
                &b.serial.due_date,
                &b.serial.serial_id,
            ))
        });
        let mut coils: Vec<FloorCoil> = coils.into_iter().filter(|coil| is_planned(coil, station)).collect();
        coils.sort_by(|a, b| {
            (&a.coil.received_date, &a.coil.coil_id).cmp(&(&b.coil.received_date, &b.coil.coil_id))
        });
        let mut serials = Vec::with_capacity(needs.len());
        let mut pieces: Vec<(SerialIndex, PieceNeed)> = Vec::new();
        for (index, need) in (0u32..).map(SerialIndex).zip(needs) {
            serials.push(need.serial);
            let wanted =
                need.pieces.into_iter().filter(|p| policy.wound_cores || p.kind != PieceKind::WoundCore);
            pieces.extend(wanted.map(|piece| (index, piece)));
        }
        let wires = wire_indices(&pieces, &coils);
        let mut planned_pieces = problem_pieces(&pieces, &wires);
        policy.piece_order.arrange(&mut planned_pieces);
        let problem = Problem {
            wires: wire_rules(&wires, &coils),
            serials: number(serials.len()),
            pieces: planned_pieces,
            coils: problem_coils(&coils, &wires, station, policy),
            station: planner::Station { reel_positions: station.reel_positions, trays: station.trays },
            policy: policy.rules(station.trays),
        };
        Self { problem, serials, pieces, coils }
    }

    /// The problem, for a planner.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        &self.problem
    }

    /// Puts a plan for this problem into the floor's names, with what its planner reports on it.
    ///
    /// What should remain on a coil is told by what is on it in truth, wire that others count on included; such a coil is
    /// kept when it is taken off, even if the rest of it would be scrap.
    ///
    /// # Errors
    /// [`FloorError::PlanForeign`] if the plan names what the problem does not have.
    pub fn steps(&self, planned: &planner::BestPlan) -> Result<PlannedSteps, FloorError> {
        let planner::BestPlan { plan, quality } = planned;
        let mut sealed: BTreeSet<CoilIndex> = (0u32..)
            .map(CoilIndex)
            .zip(&self.coils)
            .filter_map(|(index, coil)| (coil.coil.state == CoilState::Sealed).then_some(index))
            .collect();
        let mut left: BTreeMap<CoilIndex, Um> = BTreeMap::new();
        let mut positions: BTreeMap<CoilIndex, u32> = self.initial_positions();
        let mut steps = Vec::with_capacity(plan.steps.len());
        for (step_number, planned) in (1u32..).zip(&plan.steps) {
            let index = match *planned {
                planner::Step::Mount { coil, .. } | planner::Step::Cut { coil, .. } => coil,
                planner::Step::Unmount { coil, .. } => coil,
            };
            let coil = self.coils.get(index.index()).ok_or(FloorError::PlanForeign)?;
            let before = *left.entry(index).or_insert(coil.coil.remaining);
            let mut step = blank_step(step_number, coil);
            match *planned {
                planner::Step::Mount { position, .. } => {
                    positions.insert(index, position);
                    step.kind = StepKind::Mount;
                    step.length = self.problem.policy.end_trim;
                    step.opens_coil = sealed.remove(&index);
                }
                planner::Step::Cut { piece, .. } => {
                    let piece = self.step_piece(piece)?;
                    step.length = piece.length;
                    step.piece = Some(piece);
                }
                planner::Step::Unmount { tail, .. } => {
                    step.kind = StepKind::Unmount;
                    let scrapped = match tail {
                        Tail::Scrap(length) if length == before => Some(length),
                        _ => None,
                    };
                    step.tail_use = Some(if scrapped.is_some() { TailUse::Scrap } else { TailUse::Keep });
                    step.length = scrapped.unwrap_or(Um::ZERO);
                }
            }
            step.reel_position = positions.get(&index).ok_or(FloorError::PlanForeign)?.saturating_add(1);
            step.remaining_after = before
                .checked_sub(step.length)
                .filter(|left| *left >= Um::ZERO)
                .ok_or(FloorError::PlanForeign)?;
            left.insert(index, step.remaining_after);
            steps.push(step);
        }
        Ok(PlannedSteps {
            serials: self.serials.clone(),
            steps,
            shortages: self.shortages(&plan.uncut)?,
            quality: quality.clone(),
        })
    }

    fn shortages(&self, uncut: &[PieceIndex]) -> Result<Vec<Shortage>, FloorError> {
        let mut uncut = uncut.to_vec();
        uncut.sort_unstable();
        let mut lacking = Vec::with_capacity(uncut.len());
        for index in uncut {
            let (serial, piece) = self.piece(index)?;
            lacking.push((
                serial.serial_id.clone(),
                piece.wire_id.clone(),
                vec![piece.piece_id.clone()],
                piece.length,
            ));
        }
        Ok(sum_shortages(lacking))
    }

    fn piece(&self, index: PieceIndex) -> Result<(&SerialDigest, &PieceNeed), FloorError> {
        let (serial, piece) = self.pieces.get(index.index()).ok_or(FloorError::PlanForeign)?;
        Ok((self.serials.get(serial.index()).ok_or(FloorError::PlanForeign)?, piece))
    }

    fn step_piece(&self, index: PieceIndex) -> Result<StepPiece, FloorError> {
        let (serial, piece) = self.piece(index)?;
        Ok(StepPiece {
            serial_id: serial.serial_id.clone(),
            piece_id: piece.piece_id.clone(),
            kind: piece.kind,
            notes: piece.notes.clone(),
            section: piece.section.clone(),
            length: piece.length,
            recut: piece.recut,
        })
    }

    fn initial_positions(&self) -> BTreeMap<CoilIndex, u32> {
        let mounted = self.problem.indexed_coils();
        mounted.filter_map(|(index, coil)| coil.mounted_at.map(|position| (index, position))).collect()
    }
}

/// What is pending on a list, as needs for a new plan. Every serial of the list is in the answer, in its order, so that digests
/// and due dates are kept; `lost` are pieces to cut again that are on no pending step, and the list's shortages are not in it.
#[must_use]
pub fn pending_needs(list: &CutList, lost: &[Step]) -> Vec<SerialNeed> {
    let mut needs: Vec<SerialNeed> = list
        .header
        .serials
        .iter()
        .map(|serial| SerialNeed { serial: serial.clone(), pieces: Vec::new() })
        .collect();
    for step in list.pending().iter().chain(lost) {
        let Some(piece) = &step.piece else { continue };
        if let Some(need) = needs.iter_mut().find(|need| need.serial.serial_id == piece.serial_id) {
            need.pieces.push(PieceNeed {
                piece_id: piece.piece_id.clone(),
                kind: piece.kind,
                wire_id: step.wire_id.clone(),
                length: piece.length,
                notes: piece.notes.clone(),
                section: piece.section.clone(),
                recut: piece.recut,
            });
        }
    }
    needs
}

/// A coil that is mounted here counts in any case, since it holds a position.
fn is_planned(coil: &FloorCoil, station: &Station) -> bool {
    match &coil.mounted {
        Some(place) => place.station_id == station.station_id,
        None => coil.coil.state.is_usable(),
    }
}

fn wire_indices(pieces: &[(SerialIndex, PieceNeed)], coils: &[FloorCoil]) -> BTreeMap<WireId, WireIndex> {
    let needed = pieces.iter().map(|(_, piece)| &piece.wire_id);
    let names: BTreeSet<&WireId> = needed.chain(coils.iter().map(|coil| &coil.coil.wire_id)).collect();
    names.into_iter().cloned().zip((0u32..).map(WireIndex)).collect()
}

fn wire_rules(wires: &BTreeMap<WireId, WireIndex>, coils: &[FloorCoil]) -> Vec<planner::WireRule> {
    let mut smallest: BTreeMap<&WireId, Um> = BTreeMap::new();
    for coil in coils {
        let rule = smallest.entry(&coil.coil.wire_id).or_default();
        *rule = coil.smallest_remnant.max(*rule);
    }
    wires
        .keys()
        .map(|wire| planner::WireRule { smallest_remnant: smallest.get(wire).copied().unwrap_or_default() })
        .collect()
}

fn problem_coils(
    coils: &[FloorCoil],
    wires: &BTreeMap<WireId, WireIndex>,
    station: &Station,
    policy: &PlanPolicy,
) -> Vec<planner::Coil> {
    let names: BTreeSet<&LotId> = coils.iter().map(|coil| &coil.coil.lot_id).collect();
    let lots: BTreeMap<&LotId, u32> = names.into_iter().zip(0u32..).collect();
    let here = |coil_id: &CoilId| station.position_of(coil_id).map(|position| position.saturating_sub(1));
    (0u32..)
        .zip(coils)
        .map(|(received_rank, coil)| planner::Coil {
            wire: wire_index(wires, &coil.coil.wire_id),
            available: if coil.coil.state.is_usable() { coil.free_of_others() } else { Um::ZERO },
            opened: coil.coil.state != CoilState::Sealed,
            received_rank,
            lot: lots.get(&coil.coil.lot_id).copied().unwrap_or_default(),
            mounted_at: here(&coil.coil.coil_id),
            margin: policy.own_margin(&coil.coil.estimate),
        })
        .collect()
}

fn problem_pieces(
    pieces: &[(SerialIndex, PieceNeed)],
    wires: &BTreeMap<WireId, WireIndex>,
) -> Vec<planner::Piece> {
    // The first piece that serves a note of a serial in a wire; later ones join its set.
    let mut servers: BTreeMap<(SerialIndex, &WireId, i32), usize> = BTreeMap::new();
    let mut sets = UnionFind::new(pieces.len());
    for (place, (serial, piece)) in pieces.iter().enumerate() {
        for note in &piece.notes {
            sets.union(*servers.entry((*serial, &piece.wire_id, *note)).or_insert(place), place);
        }
    }
    let ranks = ranks_up_the_scale(pieces);
    pieces
        .iter()
        .enumerate()
        .map(|(place, (serial, piece))| planner::Piece {
            wire: wire_index(wires, &piece.wire_id),
            serial: *serial,
            length: piece.length,
            group: GroupIndex(number(sets.find(place))),
            rank: ranks.get(place).copied().unwrap_or_default(),
            section: Section::number_of(piece.section.as_ref()),
        })
        .collect()
}

/// Place of each piece when they are sorted by their lowest note; pieces of one note keep their order.
fn ranks_up_the_scale(pieces: &[(SerialIndex, PieceNeed)]) -> Vec<u32> {
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by_key(|place| pieces.get(*place).and_then(|(_, piece)| piece.notes.iter().min().copied()));
    let mut ranks = vec![0; pieces.len()];
    for (rank, place) in (0u32..).zip(order) {
        if let Some(slot) = ranks.get_mut(place) {
            *slot = rank;
        }
    }
    ranks
}

fn wire_index(wires: &BTreeMap<WireId, WireIndex>, wire_id: &WireId) -> WireIndex {
    // Every wire of a piece or coil was numbered before; a number that no wire has is refused by the planner.
    wires.get(wire_id).copied().unwrap_or(WireIndex(u32::MAX))
}

/// A step of a coil that does nothing yet.
pub(crate) fn blank_step(step_number: u32, coil: &FloorCoil) -> Step {
    Step {
        step_number,
        kind: StepKind::Cut,
        state: StepState::Pending,
        coil_id: coil.coil.coil_id.clone(),
        lot_id: coil.coil.lot_id.clone(),
        wire_id: coil.coil.wire_id.clone(),
        reel_position: 0,
        piece: None,
        length: Um::ZERO,
        remaining_after: Um::ZERO,
        tail_use: None,
        opens_coil: false,
        spoil_cause: None,
        done_us: None,
        done_by: String::new(),
    }
}

/// More things than 32 bits can number are refused by the planner, which allows far fewer.
fn number(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
