//! Puts what was placed in a phase into steps.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use crate::first::Ledger;
use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem, SerialIndex, Unison};
use crate::plan::Plan;

use super::course::Course;
use super::keep::Kept;
use super::writer::Writer;

/// Where a piece stands in the wanted order.
type Key = (i64, i64);

/// Pieces of one serial that wait on each mounted coil, in the wanted order.
type Queues = BTreeMap<CoilIndex, VecDeque<(Key, PieceIndex)>>;

/// How much a mounted coil is wanted: the less, the more.
type Want = (bool, NextUse, Reverse<Option<Key>>, Reverse<i64>, Reverse<CoilIndex>);

/// What a coil will be wanted for: the less, the sooner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum NextUse {
    /// For a serial, by its place in due order, and all that may be open with it, for all that they want of the wire.
    Whole(usize),
    /// For all that a serial wants of the wire.
    First(usize),
    /// For a serial, for a part, so that another coil is needed all the same.
    Part(usize),
    Never,
}

/// Arranges phase by phase.
///
/// In a phase each coil is mounted once at most. Those that are on from before come first, and those last that shall stay on;
/// else the wanted order of their pieces decides. When a position is needed, the coil is taken off that should not be kept or
/// whose next use is furthest ahead (L. Belady, IBM Systems Journal 5 (1966); for tools C. Tang, E. Denardo, Operations
/// Research 36 (1988): keep tool needed soonest; both from memory).
///
/// Pieces are cut as late as the mountings allow, so that those of one serial can be cut from several coils in the wanted
/// order.
#[derive(Debug)]
pub(in crate::best) struct Arranger<'a> {
    problem: &'a Problem,
    writer: Writer<'a>,
    mounted: BTreeSet<CoilIndex>,
    kept: &'a Kept,
    waiting: BTreeMap<SerialIndex, Queues>,
    /// First key and serials of what was put to wait on each coil in this phase.
    waiting_on: BTreeMap<CoilIndex, (Key, BTreeSet<SerialIndex>)>,
    /// Last piece cut for each serial.
    last: Vec<Option<Key>>,
}

impl<'a> Arranger<'a> {
    pub(in crate::best) fn new(problem: &'a Problem, kept: &'a Kept) -> Self {
        let mounted = problem.indexed_coils().filter(|(_, coil)| coil.mounted_at.is_some());
        Self {
            problem,
            writer: Writer::new(problem),
            mounted: mounted.map(|(c, _)| c).collect(),
            kept,
            waiting: BTreeMap::new(),
            waiting_on: BTreeMap::new(),
            last: vec![None; problem.serials as usize],
        }
    }

    /// Coils on the reel positions.
    pub(in crate::best) fn mounted(&self) -> impl Iterator<Item = CoilIndex> {
        self.mounted.iter().copied()
    }

    /// Cuts what was placed in the phase of serial `first`; the ledger has it taken off the coils already, and the course has
    /// what comes later.
    pub(in crate::best) fn cut_phase(
        &mut self,
        ledger: &mut Ledger<'_>,
        course: &Course,
        first: usize,
        placed: &[(CoilIndex, PieceIndex)],
    ) {
        let mut runs: BTreeMap<CoilIndex, Vec<(Key, PieceIndex)>> = BTreeMap::new();
        for (coil, p) in placed {
            let key = self.problem.policy.piece_order.key(&self.problem.pieces[p.index()]);
            runs.entry(*coil).or_default().push((key, *p));
        }
        for pieces in runs.values_mut() {
            self.sort_run(pieces);
        }
        let stay = self.shall_stay(ledger, course, first, &runs);
        let mut order: Vec<(bool, bool, Option<Key>, CoilIndex)> = runs
            .iter()
            .map(|(coil, pieces)| {
                let on = self.mounted.contains(coil);
                (!on, !on && stay.contains(coil), pieces.first().map(|(key, _)| *key), *coil)
            })
            .collect();
        order.sort_unstable();
        for (_, _, _, coil) in order {
            if self.mounted.insert(coil) {
                if !self.writer.has_free_position() {
                    self.clear_position(ledger, course, first, coil);
                }
                self.writer.mount(coil);
                ledger.mount(coil, 0);
            }
            for (key, p) in runs.remove(&coil).unwrap_or_default() {
                let serial = self.problem.pieces[p.index()].serial;
                let queues = self.waiting.entry(serial).or_default();
                queues.entry(coil).or_default().push_back((key, p));
                self.waiting_on.entry(coil).or_insert_with(|| (key, BTreeSet::new())).1.insert(serial);
            }
        }
        self.waiting_on.clear();
        for (serial, queues) in std::mem::take(&mut self.waiting) {
            self.cut_all(serial, queues);
        }
    }

    /// Brings the pieces of one coil into the wanted order. Of those that may be cut in any order the ones whose note has most
    /// pieces on the coil come first: should its end come too soon, what is left is easy to move.
    fn sort_run(&self, pieces: &mut [(Key, PieceIndex)]) {
        if self.problem.policy.unison == Unison::Off {
            pieces.sort_unstable();
            return;
        }
        let group = |p: PieceIndex| self.problem.pieces[p.index()].group;
        let mut groups: Vec<GroupIndex> = pieces.iter().map(|(_, p)| group(*p)).collect();
        groups.sort_unstable();
        let size = |g: GroupIndex| groups.partition_point(|o| *o <= g) - groups.partition_point(|o| *o < g);
        pieces.sort_by_cached_key(|(key, p)| (*key, Reverse(size(group(*p))), *p));
    }

    /// Coils that should be on when a phase is over: as many as there are positions, the most wanted ones.
    fn shall_stay(
        &self,
        ledger: &Ledger<'_>,
        course: &Course,
        first: usize,
        runs: &BTreeMap<CoilIndex, Vec<(Key, PieceIndex)>>,
    ) -> BTreeSet<CoilIndex> {
        let all: BTreeSet<CoilIndex> = self.mounted.iter().chain(runs.keys()).copied().collect();
        let mut wants: Vec<(Want, CoilIndex)> =
            all.into_iter().map(|coil| (self.want(ledger, course, first, coil), coil)).collect();
        wants.sort_unstable();
        let positions = self.problem.station.reel_positions as usize;
        wants.into_iter().take(positions).map(|(_, coil)| coil).collect()
    }

    /// Takes off all coils that were used and closes the plan.
    pub(in crate::best) fn finish(self, uncut: Vec<PieceIndex>) -> Plan {
        self.writer.finish(uncut)
    }

    fn want(&self, ledger: &Ledger<'_>, course: &Course, first: usize, coil: CoilIndex) -> Want {
        let wire = self.problem.coils[coil.index()].wire;
        let usable = ledger.remaining(coil) - self.problem.margin_of(coil);
        let mut stops = course.waiting(wire).skip_while(|stop| stop.shortest > usable);
        let next = match stops.next() {
            Some(stop) if stop.length > usable => NextUse::Part(stop.place),
            Some(stop) => {
                let with = stops.take_while(|other| other.place < stop.place + course.at_a_time());
                let all = stop.length + with.map(|other| other.length).sum::<i64>();
                if all <= usable { NextUse::Whole(stop.place) } else { NextUse::First(stop.place) }
            }
            None => NextUse::Never,
        };
        let is_kept = self.kept.get(&first).is_some_and(|kept| kept.binary_search(&wire.index()).is_ok());
        let is_whole = matches!(next, NextUse::Whole(_));
        // Of equals the one goes whose waiting pieces come first, then the shortest.
        let key = self.waiting_on.get(&coil).map(|(key, _)| *key);
        (!(is_kept && is_whole), next, Reverse(key), Reverse(ledger.remaining(coil)), Reverse(coil))
    }

    /// Takes off the coil that is wanted least. All that are on have their pieces by now.
    fn clear_position(&mut self, ledger: &mut Ledger<'_>, course: &Course, first: usize, instead: CoilIndex) {
        let others = self.mounted.iter().filter(|coil| **coil != instead);
        let victim = others.max_by_key(|coil| self.want(ledger, course, first, **coil));
        let Some(victim) = victim.copied() else { return };
        self.cut_waiting_on(victim);
        self.mounted.remove(&victim);
        let finished = !self.writer.unmount(victim);
        ledger.unmount(victim, finished);
    }

    /// Cuts what waits on a coil that is taken off, and what can be cut along with it without a step back in the order.
    fn cut_waiting_on(&mut self, coil: CoilIndex) {
        let Some((_, serials)) = self.waiting_on.remove(&coil) else { return };
        for serial in serials {
            let Some(mut queues) = self.waiting.remove(&serial) else { continue };
            let own = queues.get(&coil);
            let (first, last) = (own.and_then(VecDeque::front), own.and_then(VecDeque::back));
            let (first, last) = (first.map(|entry| entry.0), last.map(|entry| entry.0));
            if first.is_some() && first < self.last[serial.index()] {
                self.cut_up_to(serial, &mut queues, None);
                self.last[serial.index()] = None;
            }
            if last.is_some() {
                self.cut_up_to(serial, &mut queues, last);
            }
            if !queues.is_empty() {
                self.waiting.insert(serial, queues);
            }
        }
    }

    /// Cuts all that waits for a serial, with one step back at most.
    fn cut_all(&mut self, serial: SerialIndex, mut queues: Queues) {
        self.cut_up_to(serial, &mut queues, None);
        if !queues.is_empty() {
            self.last[serial.index()] = None;
            self.cut_up_to(serial, &mut queues, None);
        }
    }

    /// Cuts in the wanted order what comes neither before the last piece of the serial nor after `end`; no coil may give a
    /// later piece before an earlier one that waits on it.
    fn cut_up_to(&mut self, serial: SerialIndex, queues: &mut Queues, end: Option<Key>) {
        let from = self.last[serial.index()];
        let mut ready: Vec<(Key, CoilIndex, PieceIndex)> = Vec::new();
        for (coil, queue) in queues.iter_mut() {
            if queue.front().is_none_or(|(key, _)| Some(*key) < from) {
                continue;
            }
            while let Some((key, piece)) =
                queue.front().copied().filter(|(key, _)| end.is_none_or(|end| *key <= end))
            {
                ready.push((key, *coil, piece));
                queue.pop_front();
            }
        }
        queues.retain(|_, queue| !queue.is_empty());
        ready.sort_by_key(|(key, coil, _)| (*key, *coil));
        for (key, coil, piece) in ready {
            self.writer.cut(coil, piece);
            self.last[serial.index()] = Some(key);
        }
    }
}
