//! The order of the former plan, with pieces taken out and put in.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use crate::model::{CoilIndex, PieceIndex, Problem, SerialIndex};
use crate::plan::Step;

use super::Disturbed;

/// One step without its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Entry {
    Mount(CoilIndex, u32),
    Cut(CoilIndex, PieceIndex),
    Unmount(CoilIndex, u32),
}

/// Where a piece may be put, the least first: steps by which the time of its serial in a tray grows, whether it interrupts a
/// run of another coil, and the place.
type Gap = (usize, bool, usize);

/// Steps in their order.
#[derive(Debug)]
pub(super) struct Sequence<'a> {
    problem: &'a Problem,
    open: Vec<bool>,
    pub(super) entries: Vec<Entry>,
}

impl<'a> Sequence<'a> {
    /// The former order with each piece on its new coil.
    ///
    /// # Errors
    /// Pieces that cannot be put in, with their coil; none and no coil if the former order itself does not go.
    pub(super) fn keep_order(
        floor: &Disturbed<'a>,
        coil_of: &[Option<CoilIndex>],
    ) -> Result<Self, Option<(CoilIndex, Vec<PieceIndex>)>> {
        let problem = floor.problem;
        let mut sequence = Self { problem, open: open_flags(floor), entries: Vec::new() };
        let mut to_place = coil_of.to_vec();
        sequence.replay(floor.former, &mut to_place).ok_or(None)?;
        sequence.drop_idle_visits();
        let mut runs: Vec<(CoilIndex, PieceIndex)> =
            (0u32..).map(PieceIndex).zip(to_place).filter_map(|(p, coil)| Some((coil?, p))).collect();
        runs.sort_by_key(|(coil, p)| {
            let piece = &problem.pieces[p.index()];
            (*coil, piece.serial, problem.policy.piece_order.key(piece), *p)
        });
        for run in runs.chunk_by(|a, b| a.0 == b.0) {
            sequence.insert_run(run)?;
        }
        Ok(sequence)
    }

    /// What is left of the former steps; takes the pieces that it cuts out of `to_place`. A cut that stands out of the wanted
    /// order, as one that was put in by hand, is not taken: it gets a new place.
    fn replay(&mut self, former: &[Step], to_place: &mut [Option<CoilIndex>]) -> Option<()> {
        let order = self.problem.policy.piece_order;
        let mut on = mounted(self.problem);
        let mut last = BTreeMap::new();
        for step in former {
            match *step {
                Step::Mount { coil, position, .. } => {
                    if coil.index() >= self.problem.coils.len() || on.iter().any(|(_, other)| *other == coil)
                    {
                        continue;
                    }
                    if on.iter().any(|(taken, _)| *taken == position) {
                        return None;
                    }
                    on.push((position, coil));
                    self.entries.push(Entry::Mount(coil, position));
                }
                Step::Cut { coil, piece, .. } => {
                    if let Some(slot) = to_place.get_mut(piece.index()).filter(|slot| **slot == Some(coil)) {
                        if !on.iter().any(|(_, other)| *other == coil) {
                            return None;
                        }
                        let entry = &self.problem.pieces[piece.index()];
                        let key = order.key(entry);
                        let before = last.entry((coil, entry.serial)).or_insert(key);
                        if *before <= key {
                            *before = key;
                            *slot = None;
                            self.entries.push(Entry::Cut(coil, piece));
                        }
                    }
                }
                Step::Unmount { coil, .. } => {
                    if let Some(place) = on.iter().position(|(_, other)| *other == coil) {
                        let (position, _) = on.swap_remove(place);
                        last.retain(|(other, _), _| *other != coil);
                        self.entries.push(Entry::Unmount(coil, position));
                    }
                }
            }
        }
        Some(())
    }

    /// Leaves out mountings of coils from which nothing is cut any more, and takes nothing off that may stay on.
    fn drop_idle_visits(&mut self) {
        let mut keep = vec![true; self.entries.len()];
        let mut positions_wanted = Vec::new();
        for i in (0..self.entries.len()).rev() {
            match self.entries[i] {
                Entry::Mount(coil, position) => {
                    let end = self.end_of_visit(coil, i + 1);
                    if self.cuts_between(coil, i + 1, end) {
                        positions_wanted.push(position);
                    } else {
                        keep[i] = false;
                        keep.iter_mut().skip(end).take(1).for_each(|keep| *keep = false);
                    }
                }
                Entry::Unmount(coil, position) => {
                    let here = self.problem.coils[coil.index()].mounted_at.is_some();
                    let first =
                        !self.entries[..i].iter().any(|e| matches!(e, Entry::Unmount(c, _) if *c == coil));
                    let idle = here && first && !self.cuts_between(coil, 0, i);
                    if idle && !positions_wanted.contains(&position) {
                        keep[i] = false;
                    }
                }
                Entry::Cut(..) => {}
            }
        }
        let mut flags = keep.into_iter();
        self.entries.retain(|_| flags.next().unwrap_or(true));
    }

    /// Index of the step that takes a coil off after `start`, or the number of steps.
    fn end_of_visit(&self, coil: CoilIndex, start: usize) -> usize {
        let off = |entry: &Entry| matches!(entry, Entry::Unmount(c, _) if *c == coil);
        self.entries[start..].iter().position(off).map_or(self.entries.len(), |i| start + i)
    }

    fn cuts_between(&self, coil: CoilIndex, start: usize, end: usize) -> bool {
        self.entries[start..end].iter().any(|entry| matches!(entry, Entry::Cut(c, _) if *c == coil))
    }

    /// Puts pieces of one coil in: each where the coil is on a reel, or all in a visit of their own.
    fn insert_run(
        &mut self,
        run: &[(CoilIndex, PieceIndex)],
    ) -> Result<(), Option<(CoilIndex, Vec<PieceIndex>)>> {
        let mut homeless = Vec::new();
        for (coil, piece) in run {
            match self.gap_in_visits(*coil, *piece) {
                Some(gap) => self.entries.insert(gap, Entry::Cut(*coil, *piece)),
                None => homeless.push(*piece),
            }
        }
        match run.first() {
            Some((coil, _)) if !homeless.is_empty() => {
                self.insert_visit(*coil, &homeless).ok_or(Some((*coil, homeless)))
            }
            _ => Ok(()),
        }
    }

    /// The best gap for a piece while its coil is on a reel.
    fn gap_in_visits(&self, coil: CoilIndex, piece: PieceIndex) -> Option<usize> {
        let spans = Spans::of(self);
        let serial = self.problem.pieces[piece.index()].serial;
        let mut best: Option<Gap> = None;
        for (start, end) in self.visits(coil) {
            let (low, high) = self.wanted_gaps(coil, piece, start, end);
            for gap in low..=high {
                let Some(growth) = spans.growth(serial, gap) else { continue };
                let after = gap.checked_sub(1).and_then(|i| self.entries.get(i)).copied();
                let beside = [after, self.entries.get(gap).copied()]
                    .into_iter()
                    .flatten()
                    .any(|e| matches!(e, Entry::Cut(c, _) | Entry::Mount(c, _) if c == coil));
                let candidate = (growth, !beside, gap);
                if best.is_none_or(|best| candidate < best) {
                    best = Some(candidate);
                }
            }
        }
        best.map(|(_, _, gap)| gap)
    }

    /// First and last gap of each visit of a coil.
    fn visits(&self, coil: CoilIndex) -> Vec<(usize, usize)> {
        let mut visits = Vec::new();
        let mut start = self.problem.coils[coil.index()].mounted_at.map(|_| 0);
        for (i, entry) in self.entries.iter().enumerate() {
            match entry {
                Entry::Mount(c, _) if *c == coil => start = Some(i + 1),
                Entry::Unmount(c, _) if *c == coil => visits.extend(start.take().map(|start| (start, i))),
                _ => {}
            }
        }
        visits.extend(start.map(|start| (start, self.entries.len())));
        visits
    }

    /// The gaps of a visit in which a piece stands in the wanted order of its serial.
    fn wanted_gaps(&self, coil: CoilIndex, piece: PieceIndex, start: usize, end: usize) -> (usize, usize) {
        let order = self.problem.policy.piece_order;
        let new = &self.problem.pieces[piece.index()];
        let (mut low, mut high) = (start, end);
        for (i, entry) in self.entries.iter().enumerate().take(end).skip(start) {
            let Entry::Cut(c, other) = entry else { continue };
            let known = &self.problem.pieces[other.index()];
            if *c != coil || known.serial != new.serial {
                continue;
            }
            if order.key(known) <= order.key(new) {
                low = i + 1;
            } else {
                high = high.min(i);
            }
        }
        (low, high)
    }

    /// Mounts a coil once more, for these pieces only, where a position is free or can be freed.
    fn insert_visit(&mut self, coil: CoilIndex, pieces: &[PieceIndex]) -> Option<()> {
        let spans = Spans::of(self);
        let mut serials: Vec<SerialIndex> =
            pieces.iter().map(|piece| self.problem.pieces[piece.index()].serial).collect();
        serials.sort_unstable();
        serials.dedup();
        let away = self.visits(coil);
        let growth = |gap: usize| serials.iter().try_fold(0, |sum, s| Some(sum + spans.growth(*s, gap)?));
        let mut gaps: Vec<Gap> = (0..=self.entries.len())
            .filter(|gap| !away.iter().any(|(start, end)| (*start..=*end).contains(gap)))
            .filter_map(|gap| Some((growth(gap)?, self.interrupts(gap), gap)))
            .collect();
        gaps.sort_unstable_by_key(|(growth, interrupts, gap)| (*interrupts, *growth, *gap));
        let (gap, place) = gaps
            .iter()
            .find_map(|(_, _, gap)| Some((*gap, self.free_at(*gap)?)))
            .or_else(|| gaps.iter().find_map(|(_, _, gap)| Some((*gap, self.lent_at(*gap)?))))?;
        let mut block: Vec<Entry> = Vec::new();
        if let Some((holder, unmount)) = place.off {
            if let Some(at) = unmount {
                self.entries.remove(at);
            }
            block.push(Entry::Unmount(holder, place.position));
        }
        block.push(Entry::Mount(coil, place.position));
        block.extend(pieces.iter().map(|piece| Entry::Cut(coil, *piece)));
        block.push(Entry::Unmount(coil, place.position));
        if let (Some((holder, _)), true) = (place.off, place.lent) {
            block.push(Entry::Mount(holder, place.position));
        }
        self.entries.splice(gap..gap, block);
        Some(())
    }

    /// Whether a gap lies between two cuts from one coil.
    fn interrupts(&self, gap: usize) -> bool {
        let before = gap.checked_sub(1).and_then(|i| self.entries.get(i));
        matches!((before, self.entries.get(gap)), (Some(Entry::Cut(a, _)), Some(Entry::Cut(b, _))) if a == b)
    }

    /// A reel position that is free at a gap, or can be freed because its coil gives nothing more till it is taken off.
    fn free_at(&self, gap: usize) -> Option<Place> {
        let mut holders = self.holders(gap);
        let free = (0..self.problem.station.reel_positions).find(|p| !holders.iter().any(|(q, _)| p == q));
        if let Some(position) = free {
            return Some(Place { position, off: None, lent: false });
        }
        holders.sort_unstable();
        holders.into_iter().find_map(|(position, holder)| {
            let end = self.end_of_visit(holder, gap);
            let done = !self.cuts_between(holder, gap, end) && self.cuts_between(holder, 0, gap);
            let off = Some((holder, (end < self.entries.len()).then_some(end)));
            done.then_some(Place { position, off, lent: false })
        })
    }

    /// A reel position that another coil can lend: it is mounted again afterwards and has wire for one more trim.
    fn lent_at(&self, gap: usize) -> Option<Place> {
        let trim = self.problem.policy.end_trim.get();
        let rest = |coil: CoilIndex, entries: &[Entry]| {
            let taken = entries.iter().map(|entry| match *entry {
                Entry::Mount(c, _) if c == coil => trim,
                Entry::Cut(c, piece) if c == coil => self.problem.pieces[piece.index()].length.get(),
                _ => 0,
            });
            self.problem.coils[coil.index()].available.get() - taken.sum::<i64>()
        };
        let lenders = self.holders(gap).into_iter().filter(|(_, holder)| {
            let wire = self.problem.coils[holder.index()].wire;
            let keep_from = self.problem.wires[wire.index()].smallest_remnant.get();
            rest(*holder, &self.entries[..gap]) >= keep_from.max(1)
                && rest(*holder, &self.entries) - self.problem.margin_of(*holder) >= trim
        });
        let lender =
            lenders.max_by_key(|(position, holder)| (rest(*holder, &self.entries), Reverse(*position)))?;
        Some(Place { position: lender.0, off: Some((lender.1, None)), lent: true })
    }

    /// What is on the reel positions at a gap.
    fn holders(&self, gap: usize) -> Vec<(u32, CoilIndex)> {
        let mut holders = mounted(self.problem);
        for entry in &self.entries[..gap] {
            match *entry {
                Entry::Mount(coil, position) => holders.push((position, coil)),
                Entry::Unmount(coil, _) => holders.retain(|(_, other)| *other != coil),
                Entry::Cut(..) => {}
            }
        }
        holders
    }
}

/// A reel position for one more visit.
#[derive(Debug, Clone, Copy)]
struct Place {
    position: u32,
    /// Coil that is taken off for it, and the step that takes it off so far.
    off: Option<(CoilIndex, Option<usize>)>,
    /// Whether that coil is mounted again afterwards.
    lent: bool,
}

/// Coils that are mounted at the start.
fn mounted(problem: &Problem) -> Vec<(u32, CoilIndex)> {
    problem.indexed_coils().filter_map(|(c, coil)| Some((coil.mounted_at?, c))).collect()
}

/// When serials are open.
struct Spans {
    trays: usize,
    /// The steps during which each serial is open, from the first up to but without the end.
    spans: Vec<Option<(usize, usize)>>,
    /// Whether each is open from the start, so that the gap before its first step is within its time.
    open: Vec<bool>,
    /// Serials that are open at each step.
    at_step: Vec<usize>,
    /// Serials that are open across each gap.
    across: Vec<usize>,
}

impl Spans {
    fn of(sequence: &Sequence<'_>) -> Self {
        let n = sequence.entries.len();
        let open = sequence.open.clone();
        let mut spans: Vec<Option<(usize, usize)>> = open.iter().map(|open| open.then_some((0, 0))).collect();
        for (i, entry) in sequence.entries.iter().enumerate() {
            let Entry::Cut(_, piece) = entry else { continue };
            let serial = sequence.problem.pieces[piece.index()].serial;
            let span = spans[serial.index()].get_or_insert((i, i));
            span.1 = i + 1;
        }
        let mut at_step = vec![0; n];
        let mut across = vec![0; n + 1];
        for (open, span) in open.iter().zip(&spans) {
            let Some((first, end)) = *span else { continue };
            at_step[first..end].iter_mut().for_each(|count| *count += 1);
            let from = if *open { 0 } else { first + 1 };
            across.iter_mut().take(end).skip(from).for_each(|count| *count += 1);
        }
        let trays = sequence.problem.station.trays as usize;
        Self { trays, spans, open, at_step, across }
    }

    /// By how many steps a serial is open longer if a piece of it is cut in a gap; `None` if there are not enough trays for it.
    fn growth(&self, serial: SerialIndex, gap: usize) -> Option<usize> {
        let longer = match self.spans[serial.index()] {
            None => 0..0,
            Some((first, end)) if gap < end && (gap > first || self.open[serial.index()]) => return Some(0),
            Some((first, _)) if gap <= first && !self.open[serial.index()] => gap..first,
            Some((_, end)) => end..gap,
        };
        let enough =
            self.across[gap] < self.trays && self.at_step[longer.clone()].iter().all(|n| *n < self.trays);
        enough.then_some(longer.len())
    }
}

/// Serials that hold a tray at the start.
pub(super) fn open_flags(floor: &Disturbed<'_>) -> Vec<bool> {
    let mut open = vec![false; floor.problem.serials as usize];
    for serial in floor.open {
        if let Some(flag) = open.get_mut(serial.index()) {
            *flag = true;
        }
    }
    let mut has_pieces = vec![false; open.len()];
    for piece in &floor.problem.pieces {
        has_pieces[piece.serial.index()] = true;
    }
    open.iter().zip(has_pieces).map(|(open, has)| *open && has).collect()
}
