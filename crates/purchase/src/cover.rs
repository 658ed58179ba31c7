//! What the stock covers: pieces laid on coils, windings by length.

use std::collections::BTreeMap;

use becket_planner::{
    Coil, FirstPlanner, GroupIndex, MAX_PIECES, Piece, Plan, Planner, Problem, SerialIndex, Station, Unison,
    WireIndex, WireRule,
};
use becket_units::Um;

use crate::error::EstimateError;
use crate::question::{Build, InstrumentNeed, PieceNeed, WireQuestion};

/// Pieces of the first instruments of the schedule, each with the week that needs it.
#[derive(Debug, Default)]
struct Layout {
    pieces: Vec<Piece>,
    weeks: Vec<usize>,
    serials: u32,
    groups: u32,
}

/// What is still to be laid out: the rest of the builds, in order.
struct Rest<'a> {
    builds: Box<dyn Iterator<Item = (usize, Build)> + 'a>,
    begun: Option<(usize, Build)>,
}

/// Length covered of each week's need.
///
/// Instruments are laid on the coils in the order of the schedule, and one that cannot be cut as a whole does not keep later
/// ones from what fits them. Not all of a great schedule is laid out, only as much as may fit: when a piece has found no
/// coil, no later piece as long as it will, since coils only get shorter. The planner serves instruments in order, so
/// that laying out more of them changes nothing about the ones before.
pub(crate) fn covered_by_week(question: &WireQuestion) -> Result<Vec<Um>, EstimateError> {
    let free = question.free_stock().ok_or(EstimateError::TooLong)?;
    let builds =
        question.weeks.iter().enumerate().flat_map(|(w, builds)| builds.iter().map(move |b| (w, *b)));
    let mut rest = Rest { builds: Box::new(builds), begun: None };
    let mut layout = Layout::default();
    // Lengths from this on fit on no coil any more.
    let mut too_long = Um::new(i64::MAX);
    let (mut left, mut rounds) = (free, 0_u32);
    loop {
        // Twice as much in each round, so that there are few of them.
        let most = left.get().saturating_mul(1_i64.checked_shl(rounds.min(62)).unwrap_or(i64::MAX));
        let complete = layout.lay_out(question, &mut rest, too_long, Um::new(most))?;
        let plan = FirstPlanner.plan(&problem_of(question, layout.pieces.clone(), layout.serials))?;
        left = free.checked_sub(plan.figures.cut_length).ok_or(EstimateError::TooLong)?;
        if complete {
            return layout.covered(question, free, &plan);
        }
        let longer_than_left = Um::new(left.get().saturating_add(1));
        too_long = too_long.min(longer_than_left).min(layout.shortest_uncut(question, &plan));
        rounds = rounds.saturating_add(1);
    }
}

impl Layout {
    /// Lays out instruments until their pieces shorter than `too_long` come to more than `most`. Returns whether there is nothing
    /// more to lay out.
    fn lay_out(
        &mut self,
        question: &WireQuestion,
        rest: &mut Rest<'_>,
        too_long: Um,
        most: Um,
    ) -> Result<bool, EstimateError> {
        let mut added = Um::ZERO;
        let may_fit: Vec<Vec<PieceNeed>> =
            question.instruments.iter().map(|kind| may_fit(kind, question.policy.unison, too_long)).collect();
        while let Some((week, build)) = rest.begun.take().or_else(|| rest.builds.next()) {
            let pieces = may_fit.get(build.instrument).map_or(&[][..], Vec::as_slice);
            if pieces.is_empty() || build.count == 0 {
                continue;
            }
            if added > most || self.pieces.len() > MAX_PIECES {
                // The planner says what is wrong with more pieces than it takes.
                rest.begun = Some((week, build));
                return Ok(self.pieces.len() > MAX_PIECES);
            }
            added = added.checked_add(self.add(pieces, week)?).ok_or(EstimateError::TooLong)?;
            rest.begun = Some((week, Build { count: build.count.saturating_sub(1), ..build }));
        }
        Ok(true)
    }

    /// Lays out one instrument and returns the length of its pieces.
    fn add(&mut self, pieces: &[PieceNeed], week: usize) -> Result<Um, EstimateError> {
        let (mut groups, mut length) = (0, Um::ZERO);
        for piece in pieces {
            groups = groups.max(piece.group.saturating_add(1));
            let group = piece.group.checked_add(self.groups).map(GroupIndex).ok_or(EstimateError::TooLong)?;
            let (wire, serial) = (WireIndex(0), SerialIndex(self.serials));
            self.pieces.push(Piece {
                wire,
                serial,
                length: piece.length,
                group,
                rank: piece.group,
                section: 0,
            });
            self.weeks.push(week);
            length = length.checked_add(piece.length).ok_or(EstimateError::TooLong)?;
        }
        self.serials = self.serials.checked_add(1).ok_or(EstimateError::TooLong)?;
        self.groups = self.groups.checked_add(groups).ok_or(EstimateError::TooLong)?;
        Ok(length)
    }

    /// Length from which on nothing found a coil: of a piece, or of a group where groups are not split.
    fn shortest_uncut(&self, question: &WireQuestion, plan: &Plan) -> Um {
        let mut lengths: BTreeMap<(GroupIndex, usize), Um> = BTreeMap::new();
        for (index, piece) in plan.uncut.iter().filter_map(|p| Some((p.index(), self.pieces.get(p.index())?)))
        {
            let single = if question.policy.unison == Unison::Hard { 0 } else { index };
            let sum = lengths.entry((piece.group, single)).or_default();
            *sum = sum.checked_add(piece.length).unwrap_or(Um::new(i64::MAX));
        }
        lengths.into_values().min().unwrap_or(Um::new(i64::MAX))
    }

    /// Sums up by week what is cut, and covers windings with what is left.
    fn covered(&self, question: &WireQuestion, free: Um, plan: &Plan) -> Result<Vec<Um>, EstimateError> {
        let mut covered = vec![Um::ZERO; question.weeks.len()];
        let mut uncut = plan.uncut.iter().map(|piece| piece.index()).peekable();
        for (index, (piece, week)) in self.pieces.iter().zip(&self.weeks).enumerate() {
            if uncut.next_if_eq(&index).is_none() {
                add(&mut covered, *week, piece.length)?;
            }
        }
        let spent = plan.figures.cut_length.checked_add(plan.figures.scrap).ok_or(EstimateError::TooLong)?;
        let left = free.checked_sub(spent).ok_or(EstimateError::TooLong)?;
        cover_windings(question, left, &mut covered)?;
        Ok(covered)
    }
}

/// The pieces of an instrument that are shorter than `too_long`, or whose group is where groups are not split.
fn may_fit(kind: &InstrumentNeed, unison: Unison, too_long: Um) -> Vec<PieceNeed> {
    let group_length = |group: u32| {
        let of_group = kind.pieces.iter().filter(|piece| piece.group == group);
        Um::checked_sum(of_group.map(|piece| piece.length)).unwrap_or(Um::new(i64::MAX))
    };
    let length = |piece: &PieceNeed| {
        if unison == Unison::Hard { group_length(piece.group) } else { piece.length }
    };
    kind.pieces
        .iter()
        .filter(|piece| too_long == Um::new(i64::MAX) || length(piece) < too_long)
        .copied()
        .collect()
}

/// One reel position and a tray for each instrument: an estimate asks what fits on the coils, not how the station works, and
/// so every coil is mounted once and trimmed once.
fn problem_of(question: &WireQuestion, pieces: Vec<Piece>, serials: u32) -> Problem {
    let coil = |coil: &crate::StockCoil| Coil {
        wire: WireIndex(0),
        available: coil.free.max(Um::ZERO),
        opened: coil.opened,
        received_rank: coil.received_rank,
        lot: coil.lot,
        mounted_at: None,
        margin: coil.margin.max(Um::ZERO),
    };
    Problem {
        wires: vec![WireRule { smallest_remnant: question.smallest_remnant }],
        serials,
        pieces,
        coils: question.coils.iter().map(coil).collect(),
        station: Station { reel_positions: 1, trays: serials.max(1) },
        policy: question.policy,
    }
}

fn cover_windings(question: &WireQuestion, mut left: Um, covered: &mut [Um]) -> Result<(), EstimateError> {
    for (week, builds) in question.weeks.iter().enumerate() {
        for build in builds {
            let (_, _, winding) = question.need_of(*build).ok_or(EstimateError::TooLong)?;
            let taken = winding.min(left).max(Um::ZERO);
            left = left.checked_sub(taken).ok_or(EstimateError::TooLong)?;
            add(covered, week, taken)?;
        }
    }
    Ok(())
}

fn add(sums: &mut [Um], place: usize, length: Um) -> Result<(), EstimateError> {
    let sum = sums.get_mut(place).ok_or(EstimateError::TooLong)?;
    *sum = sum.checked_add(length).ok_or(EstimateError::TooLong)?;
    Ok(())
}
