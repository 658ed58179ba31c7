//! Writes the steps of a plan and keeps its figures.

use std::collections::BTreeSet;

use becket_units::Um;

use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem};
use crate::plan::{Figures, Plan, Step, Tail};

/// The station while a plan is written. What is asked of it must be possible; it does not check.
#[derive(Debug)]
pub(in crate::best) struct Writer<'a> {
    problem: &'a Problem,
    /// On each coil, in µm.
    left: Vec<i64>,
    /// Reel position of each coil.
    on: Vec<Option<u32>>,
    /// Positions that were left, and the first that never was taken.
    freed: BTreeSet<u32>,
    next_fresh: u32,
    /// Coils that were mounted or cut.
    touched: Vec<bool>,
    used: Vec<bool>,
    put_on: Vec<bool>,
    /// Remnants of coils that are off, in µm.
    remnants: Vec<i64>,
    sources: Vec<(GroupIndex, CoilIndex)>,
    /// Mountings that are not written yet: a coil is put on just before the first cut from it, as a person would do it.
    unwritten: Vec<Option<Step>>,
    steps: Vec<Step>,
    figures: Figures,
}

impl<'a> Writer<'a> {
    /// Begins with what is mounted at the start.
    pub(in crate::best) fn new(problem: &'a Problem) -> Self {
        let coils = problem.coils.len();
        let taken: BTreeSet<u32> = problem.coils.iter().filter_map(|coil| coil.mounted_at).collect();
        let next_fresh = taken.last().map_or(0, |last| last + 1);
        Self {
            problem,
            left: problem.coils.iter().map(|coil| coil.available.get()).collect(),
            on: problem.coils.iter().map(|coil| coil.mounted_at).collect(),
            freed: (0..next_fresh).filter(|position| !taken.contains(position)).collect(),
            next_fresh,
            touched: vec![false; coils],
            used: vec![false; coils],
            put_on: vec![false; coils],
            remnants: vec![0; coils],
            sources: Vec::with_capacity(problem.pieces.len()),
            unwritten: vec![None; coils],
            steps: Vec::with_capacity(problem.pieces.len() + 2 * coils),
            figures: Figures::default(),
        }
    }

    /// Whether a coil can be mounted without taking another one off.
    pub(in crate::best) fn has_free_position(&self) -> bool {
        !self.freed.is_empty() || self.next_fresh < self.problem.station.reel_positions
    }

    /// Mounts a coil on the lowest free position.
    pub(in crate::best) fn mount(&mut self, coil: CoilIndex) {
        let position = self.freed.pop_first().unwrap_or_else(|| {
            self.next_fresh += 1;
            self.next_fresh - 1
        });
        let c = coil.index();
        let trim = self.problem.policy.end_trim.get();
        self.on[c] = Some(position);
        self.left[c] -= trim;
        self.touched[c] = true;
        self.put_on[c] = true;
        self.remnants[c] = 0;
        self.figures.reel_changes += 1;
        self.scrap(trim);
        self.unwritten[c] = Some(Step::Mount { coil, position, remaining_after: Um::new(self.left[c]) });
    }

    /// Cuts a piece from a mounted coil.
    pub(in crate::best) fn cut(&mut self, coil: CoilIndex, piece: PieceIndex) {
        let entry = &self.problem.pieces[piece.index()];
        let c = coil.index();
        self.left[c] -= entry.length.get();
        self.touched[c] = true;
        self.used[c] = true;
        self.sources.push((entry.group, coil));
        self.figures.pieces_cut += 1;
        self.figures.cut_length = Um::new(self.figures.cut_length.get() + entry.length.get());
        self.steps.extend(self.unwritten[c].take());
        self.steps.push(Step::Cut { coil, piece, remaining_after: Um::new(self.left[c]) });
    }

    /// Takes a coil off, if it is on; returns whether a remnant is left.
    pub(in crate::best) fn unmount(&mut self, coil: CoilIndex) -> bool {
        let c = coil.index();
        let Some(position) = self.on[c].take() else { return false };
        let left = self.left[c];
        let keep_from = self.problem.wires[self.problem.coils[c].wire.index()].smallest_remnant.get();
        let tail = match left {
            0 => Tail::Empty,
            left if left < keep_from => Tail::Scrap(Um::new(left)),
            left => Tail::Remnant(Um::new(left)),
        };
        match tail {
            Tail::Empty => {}
            Tail::Scrap(_) => self.scrap(left),
            Tail::Remnant(_) => self.remnants[c] = left,
        }
        self.freed.insert(position);
        self.steps.extend(self.unwritten[c].take());
        self.steps.push(Step::Unmount { coil, position, tail });
        matches!(tail, Tail::Remnant(_))
    }

    /// Takes off what was used, and closes the plan.
    pub(in crate::best) fn finish(mut self, uncut: Vec<PieceIndex>) -> Plan {
        for (coil, _) in self.problem.indexed_coils() {
            if self.touched[coil.index()] {
                self.unmount(coil);
            }
        }
        self.figures.remnant_length = Um::new(self.remnants.iter().sum());
        self.figures.coils_used = count(&self.used, |_| true);
        let sealed = |c: usize| !self.problem.coils[c].opened && self.problem.coils[c].mounted_at.is_none();
        self.figures.coils_opened = count(&self.put_on, sealed);
        self.sources.sort_unstable();
        self.sources.dedup();
        let mut split = 0;
        for of_group in self.sources.chunk_by(|a, b| a.0 == b.0) {
            split += u64::from(of_group.len() > 1);
        }
        self.figures.groups_split = split;
        Plan { steps: self.steps, uncut, figures: self.figures }
    }

    fn scrap(&mut self, length: i64) {
        self.figures.scrap = Um::new(self.figures.scrap.get() + length);
    }
}

fn count(flags: &[bool], also: impl Fn(usize) -> bool) -> u64 {
    flags.iter().enumerate().filter(|(c, flag)| **flag && also(*c)).fold(0, |n, _| n + 1)
}
