//! In which order coils are mounted and pieces are cut.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::model::{CoilIndex, GroupIndex, PieceIndex, PieceOrder, Problem, SerialIndex};
use crate::plan::{Figures, Plan, Step, Tail};
use crate::receipt::in_order_of_receipt;

use super::forecast::Forecast;
use super::ledger::Ledger;

/// Writes the steps.
#[derive(Debug)]
pub(crate) struct Sequencer<'a> {
    problem: &'a Problem,
    forecast: Forecast,
    /// Coils on reel positions.
    mounted: BTreeMap<u32, CoilIndex>,
    steps: Vec<Step>,
    figures: Figures,
    /// Coils that the plan has cut from.
    used: BTreeSet<CoilIndex>,
    /// Coils that the plan has mounted.
    put_on: BTreeSet<CoilIndex>,
    /// Remnants of coils that were taken off and not mounted again, in µm.
    remnants: BTreeMap<CoilIndex, i64>,
    /// Coils that each group came from.
    sources: BTreeMap<GroupIndex, BTreeSet<CoilIndex>>,
}

impl<'a> Sequencer<'a> {
    /// Begins with what is mounted at the start.
    pub(crate) fn new(problem: &'a Problem, forecast: Forecast) -> Self {
        let mounted = problem.indexed_coils().filter_map(|(c, coil)| Some((coil.mounted_at?, c))).collect();
        Self {
            problem,
            forecast,
            mounted,
            steps: Vec::new(),
            figures: Figures::default(),
            used: BTreeSet::new(),
            put_on: BTreeSet::new(),
            remnants: BTreeMap::new(),
            sources: BTreeMap::new(),
        }
    }

    /// Cuts a batch whose last serial is `last`: coil by coil, first those that are mounted, each by wire and index.
    pub(crate) fn cut_batch(
        &mut self,
        ledger: &mut Ledger<'_>,
        batch: &[(CoilIndex, PieceIndex)],
        last: SerialIndex,
    ) {
        let mut runs: BTreeMap<CoilIndex, Vec<PieceIndex>> = BTreeMap::new();
        for (coil, piece) in batch {
            runs.entry(*coil).or_default().push(*piece);
        }
        let mut runs: Vec<_> = runs.into_iter().collect();
        runs.sort_by_key(|(c, _)| (!ledger.is_mounted(*c), self.problem.coils[c.index()].wire, *c));
        for (coil, mut pieces) in runs {
            self.sort_pieces(&mut pieces);
            let run_length: i64 = pieces.iter().map(|p| self.problem.pieces[p.index()].length.get()).sum();
            let mut remaining = ledger.remaining(coil) + run_length;
            if !ledger.is_mounted(coil) {
                self.mount(ledger, coil, remaining, last);
            }
            for piece in pieces {
                remaining -= self.problem.pieces[piece.index()].length.get();
                self.cut(coil, piece, remaining);
            }
        }
    }

    /// Takes off all coils that were used, gives equal coils their order of receipt, and closes the plan.
    pub(crate) fn finish(mut self, ledger: &mut Ledger<'_>, uncut: Vec<PieceIndex>) -> Plan {
        for (position, coil) in self.mounted.clone() {
            if self.used.contains(&coil) {
                self.unmount(ledger, coil, position);
            }
        }
        self.figures.remnant_length = Um::new(self.remnants.values().sum());
        self.figures.coils_used = count(&self.used);
        let sealed = |c: &&CoilIndex| {
            let coil = self.problem.coils[c.index()];
            !coil.opened && coil.mounted_at.is_none()
        };
        self.figures.coils_opened = count(self.put_on.iter().filter(sealed));
        self.figures.groups_split = count(self.sources.values().filter(|coils| coils.len() > 1));
        let mut plan = Plan { steps: self.steps, uncut, figures: self.figures };
        in_order_of_receipt(self.problem, &mut plan);
        plan
    }

    fn sort_pieces(&self, pieces: &mut [PieceIndex]) {
        let piece = |p: &PieceIndex| self.problem.pieces[p.index()];
        match self.problem.policy.piece_order {
            PieceOrder::BySize => {
                pieces.sort_by_key(|p| (Reverse(piece(p).length), piece(p).serial, piece(p).rank, *p))
            }
            PieceOrder::UpTheScale => pieces.sort_by_key(|p| (piece(p).rank, piece(p).serial, *p)),
            PieceOrder::DownTheScale => pieces.sort_by_key(|p| (Reverse(piece(p).rank), piece(p).serial, *p)),
        }
    }

    fn mount(&mut self, ledger: &mut Ledger<'_>, coil: CoilIndex, remaining_after: i64, last: SerialIndex) {
        let position = match self.free_position() {
            Some(position) => position,
            None => self.clear_position(ledger, last),
        };
        ledger.mount(coil, position);
        self.mounted.insert(position, coil);
        self.put_on.insert(coil);
        self.remnants.remove(&coil);
        self.figures.reel_changes += 1;
        self.add_scrap(self.problem.policy.end_trim.get());
        self.steps.push(Step::Mount { coil, position, remaining_after: Um::new(remaining_after) });
    }

    fn cut(&mut self, coil: CoilIndex, piece: PieceIndex, remaining_after: i64) {
        let entry = &self.problem.pieces[piece.index()];
        self.used.insert(coil);
        self.sources.entry(entry.group).or_default().insert(coil);
        self.figures.pieces_cut += 1;
        self.figures.cut_length = Um::new(self.figures.cut_length.get() + entry.length.get());
        self.steps.push(Step::Cut { coil, piece, remaining_after: Um::new(remaining_after) });
    }

    fn unmount(&mut self, ledger: &mut Ledger<'_>, coil: CoilIndex, position: u32) {
        let remaining = ledger.remaining(coil);
        let wire = self.problem.coils[coil.index()].wire;
        let tail = if remaining == 0 {
            Tail::Empty
        } else if remaining < self.problem.wires[wire.index()].smallest_remnant.get() {
            self.add_scrap(remaining);
            Tail::Scrap(Um::new(remaining))
        } else {
            self.remnants.insert(coil, remaining);
            Tail::Remnant(Um::new(remaining))
        };
        ledger.unmount(coil, !matches!(tail, Tail::Remnant(_)));
        self.mounted.remove(&position);
        self.steps.push(Step::Unmount { coil, position, tail });
    }

    /// The lowest free reel position.
    fn free_position(&self) -> Option<u32> {
        (0..self.problem.station.reel_positions).find(|position| !self.mounted.contains_key(position))
    }

    /// Takes off the coil whose next use is furthest ahead, never used again first and, among equals, the shortest;
    /// returns its position. All mounted coils have had their turn in the batch by then.
    fn clear_position(&mut self, ledger: &mut Ledger<'_>, last: SerialIndex) -> u32 {
        let victim = self.mounted.iter().max_by_key(|(position, coil)| {
            let remaining = ledger.remaining(**coil);
            let wire = self.problem.coils[coil.index()].wire;
            let usable = remaining - self.problem.margin_of(**coil);
            let next = self.forecast.next_use(wire, usable, last).map_or(u32::MAX, |serial| serial.0);
            (next, Reverse(remaining), Reverse(**position))
        });
        match victim.map(|(position, coil)| (*position, *coil)) {
            Some((position, coil)) => {
                self.unmount(ledger, coil, position);
                position
            }
            // No position is taken, so the first is free.
            None => 0,
        }
    }

    fn add_scrap(&mut self, length: i64) {
        self.figures.scrap = Um::new(self.figures.scrap.get() + length);
    }
}

fn count<T>(items: impl IntoIterator<Item = T>) -> u64 {
    items.into_iter().fold(0, |n, _| n + 1)
}
