//! Which coil gives which piece.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem, Unison, WireIndex};

use super::ledger::Ledger;

/// A tail below the smallest remnant is scrap. Up to this part of the smallest remnant it counts as minimal, and using the
/// coil up is better than leaving it for later. A rule of thumb, no source.
const MINIMAL_TAIL_DIVISOR: i64 = 10;

/// Places pieces on coils.
#[derive(Debug)]
pub(super) struct Placer<'a> {
    problem: &'a Problem,
    /// Coils of each wire, by order of receipt.
    coils: Vec<Vec<CoilIndex>>,
    uncut: Vec<PieceIndex>,
}

impl<'a> Placer<'a> {
    /// Sorts the coils.
    pub(super) fn new(problem: &'a Problem) -> Self {
        let mut coils = vec![Vec::new(); problem.wires.len()];
        for (c, coil) in problem.indexed_coils() {
            coils[coil.wire.index()].push(c);
        }
        for of_wire in &mut coils {
            of_wire.sort_by_key(|c| (problem.coils[c.index()].received_rank, *c));
        }
        Self { problem, coils, uncut: Vec::new() }
    }

    /// Places the pieces of one serial, longest groups first, and appends what is placed to `batch`. Pieces for which no
    /// coil has enough are noted as uncut. Returns whether any piece was placed.
    pub(super) fn place_serial(
        &mut self,
        ledger: &mut Ledger<'_>,
        pieces: Vec<PieceIndex>,
        batch: &mut Vec<(CoilIndex, PieceIndex)>,
    ) -> bool {
        let before = batch.len();
        for group in self.groups(pieces) {
            let wire = self.problem.pieces[group[0].index()].wire;
            let total = group.iter().map(|p| self.length(*p)).sum();
            if let Some(coil) = self.best_coil(ledger, wire, total, &BTreeSet::new()) {
                for piece in group {
                    ledger.take(coil, self.length(piece));
                    batch.push((coil, piece));
                }
            } else if self.problem.policy.unison == Unison::Hard {
                self.uncut.extend(group);
            } else {
                self.place_singly(ledger, wire, group, batch);
            }
        }
        batch.len() > before
    }

    /// All pieces that could not be placed, by index.
    pub(super) fn into_uncut(mut self) -> Vec<PieceIndex> {
        self.uncut.sort_unstable();
        self.uncut
    }

    /// Splits a group over coils, if possible of one lot.
    fn place_singly(
        &mut self,
        ledger: &mut Ledger<'_>,
        wire: WireIndex,
        group: Vec<PieceIndex>,
        batch: &mut Vec<(CoilIndex, PieceIndex)>,
    ) {
        let mut lots = BTreeSet::new();
        for piece in group {
            match self.best_coil(ledger, wire, self.length(piece), &lots) {
                Some(coil) => {
                    ledger.take(coil, self.length(piece));
                    lots.insert(self.problem.coils[coil.index()].lot);
                    batch.push((coil, piece));
                }
                None => self.uncut.push(piece),
            }
        }
    }

    /// Groups by falling total length, pieces in them by falling length. Without unison every piece is its own group.
    /// No group is empty.
    fn groups(&self, pieces: Vec<PieceIndex>) -> Vec<Vec<PieceIndex>> {
        let mut groups: Vec<Vec<PieceIndex>> = if self.problem.policy.unison == Unison::Off {
            pieces.into_iter().map(|p| vec![p]).collect()
        } else {
            let mut by_group: BTreeMap<GroupIndex, Vec<PieceIndex>> = BTreeMap::new();
            for p in pieces {
                by_group.entry(self.problem.pieces[p.index()].group).or_default().push(p);
            }
            by_group.into_values().collect()
        };
        for group in &mut groups {
            group.sort_by_key(|p| (Reverse(self.length(*p)), *p));
        }
        groups.sort_by_cached_key(|group| {
            (Reverse(group.iter().map(|p| self.length(*p)).sum::<i64>()), group.first().copied())
        });
        groups
    }

    /// The coil that should give `length` µm: one of the lots in `lots` before others, opened before sealed; among opened
    /// coils the one that fits best, and of equals one that is mounted; among sealed ones the one received first.
    fn best_coil(
        &self,
        ledger: &Ledger<'_>,
        wire: WireIndex,
        length: i64,
        lots: &BTreeSet<u32>,
    ) -> Option<CoilIndex> {
        let smallest_remnant = self.problem.wires[wire.index()].smallest_remnant.get();
        let coils = self.coils[wire.index()].iter().enumerate();
        let fitting = coils.filter_map(|(receipt, c)| Some((receipt, *c, ledger.tail_after(*c, length)?)));
        fitting
            .min_by_key(|(receipt, c, tail)| {
                let other_lot = !lots.is_empty() && !lots.contains(&self.problem.coils[c.index()].lot);
                let sealed = !ledger.is_opened(*c);
                let fit = if sealed { (false, 0) } else { (is_wasteful(*tail, smallest_remnant), *tail) };
                (other_lot, sealed, fit, ledger.needs_mounting(*c), *receipt)
            })
            .map(|(_, c, _)| c)
    }

    fn length(&self, piece: PieceIndex) -> i64 {
        self.problem.pieces[piece.index()].length.get()
    }
}

/// Whether a tail is too short to keep and too long to throw away lightly.
fn is_wasteful(tail: i64, smallest_remnant: i64) -> bool {
    tail < smallest_remnant && tail > smallest_remnant / MINIMAL_TAIL_DIVISOR
}
