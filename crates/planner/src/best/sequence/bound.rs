//! Bounds on the number of mountings by trays, reel positions and due order.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{Problem, WireIndex};

/// What a wire is needed for.
#[derive(Debug, Clone, Default)]
struct Need {
    /// Spans of serials of which none begins before the one before has ended: place in due order, and how many coils are
    /// needed in it.
    spans: Vec<(usize, usize)>,
    /// Coils of the wire that are mounted at the start.
    mounted: usize,
}

impl Need {
    fn coils(&self) -> usize {
        self.spans.iter().map(|(_, coils)| coils).sum()
    }
}

/// What is needed of the wires and when, for all plans that cut certain serials whole.
#[derive(Debug)]
pub(in crate::best) struct ChangeBound {
    needs: Vec<Need>,
    at_a_time: usize,
    positions: usize,
    /// Bound that heeds no due order.
    by_trays: i64,
    has_window: bool,
}

impl ChangeBound {
    /// `whole` says of each serial whether every plan in question cuts it whole.
    pub(in crate::best) fn new(problem: &Problem, whole: &[bool]) -> Self {
        // Not the trays: with fewer of them than the window is wide, serials may still change places.
        let at_a_time =
            problem.policy.due_window.map_or(usize::MAX, |window| (window as usize).saturating_add(1));
        Self {
            needs: needs(problem, whole, at_a_time),
            at_a_time,
            positions: problem.station.reel_positions as usize,
            by_trays: by_trays(problem, whole),
            has_window: problem.policy.due_window.is_some(),
        }
    }

    /// Least number of mountings. `of_wires` says for each wire how many there are at least for other reasons.
    ///
    /// # Proof
    ///
    /// Let B be one more than the due window, and let the spans of a wire be k₁ < k₂ < …, at least B places apart. In each span so
    /// many coils as its serial needs are on. Such a coil was either put on after the span before had ended, or it was kept
    /// since then. Let t_j be the moment just before a serial of place j or more begins for the first time: all serials up
    /// to place j − B are done by then. A coil kept from span kᵢ to kᵢ₊₁ is on at t_j for all j from kᵢ + B to kᵢ₊₁, and one kept
    /// from the start to k₁ for all j up to k₁. At each t_j no more coils are on than there are positions. So there are at
    /// least as many mountings as coils needed, less the most intervals of which no more than that overlap; taking
    /// intervals by their end finds so many. Bounds on disjoint sets of wires add up.
    pub(in crate::best) fn least(&self, of_wires: &[i64]) -> i64 {
        let all = of_wires.iter().sum::<i64>().max(self.by_trays);
        if !self.has_window {
            return all;
        }
        let (count, kept) = self.by_order(|_| true);
        let net = |w: usize| signed(self.needs[w].coils()) - signed(kept[w]);
        let by_parts = |takes: &dyn Fn(usize) -> bool| {
            let others: i64 = of_wires.iter().enumerate().filter(|(w, _)| !takes(*w)).map(|(_, n)| n).sum();
            self.by_order(takes).0 + others
        };
        let of = |w: usize| of_wires.get(w).copied().unwrap_or_default();
        all.max(count)
            .max(by_parts(&|w| signed(self.needs[w].coils()) >= of(w)))
            .max(by_parts(&|w| net(w) >= of(w)))
    }

    /// Bound for some wires together, and how many coils of each wire are kept in the packing that gives it.
    fn by_order(&self, takes: impl Fn(usize) -> bool) -> (i64, Vec<usize>) {
        let mut intervals: Vec<(usize, usize, usize)> = Vec::new();
        let mut needed = 0;
        for (w, need) in self.needs.iter().enumerate().filter(|(w, _)| takes(*w)) {
            needed += need.coils();
            let mut before: Option<usize> = None;
            for (place, coils) in &need.spans {
                let (from, most) = match before {
                    None => (0, need.mounted.min(*coils)),
                    Some(before) => (before.saturating_add(self.at_a_time), *coils),
                };
                intervals.extend(std::iter::repeat_n((*place, from, w), most.min(self.positions)));
                before = Some(*place);
            }
        }
        intervals.sort_unstable();
        let mut kept = vec![0; self.needs.len()];
        // Positions by the end of what they hold, and how many hold nothing yet.
        let mut ends: BTreeMap<usize, usize> = BTreeMap::new();
        let mut free = self.positions;
        let mut packed = 0;
        for (end, from, w) in intervals {
            match ends.range_mut(..from).next_back().map(|(end, count)| (*end, count)) {
                Some((old, count)) => {
                    *count -= 1;
                    if *count == 0 {
                        ends.remove(&old);
                    }
                }
                None if free > 0 => free -= 1,
                None => continue,
            }
            *ends.entry(end).or_default() += 1;
            kept[w] += 1;
            packed += 1;
        }
        (signed(needed) - packed, kept)
    }
}

fn needs(problem: &Problem, whole: &[bool], at_a_time: usize) -> Vec<Need> {
    let mut longest = vec![0i64; problem.wires.len()];
    let mut needs = vec![Need::default(); problem.wires.len()];
    for (c, coil) in problem.indexed_coils() {
        let room = coil.available.get() - problem.margin_of(c);
        longest[coil.wire.index()] = longest[coil.wire.index()].max(room);
        needs[coil.wire.index()].mounted += usize::from(coil.mounted_at.is_some());
    }
    let mut has_pieces = vec![false; whole.len()];
    let mut lengths: Vec<_> = problem
        .pieces
        .iter()
        .filter(|piece| whole[piece.serial.index()])
        .map(|piece| {
            has_pieces[piece.serial.index()] = true;
            (piece.wire, piece.serial, piece.length.get())
        })
        .collect();
    lengths.sort_unstable();
    // Places among the serials that are certainly cut: in any plan they are at least so far apart.
    let mut next = 0;
    let place: Vec<usize> = has_pieces
        .iter()
        .map(|has| {
            next += usize::from(*has);
            next - usize::from(*has)
        })
        .collect();
    for of_both in lengths.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        let Some((wire, serial, _)) = of_both.first() else { continue };
        let (need, place) = (&mut needs[wire.index()], place[serial.index()]);
        if need.spans.last().is_none_or(|(before, _)| before.saturating_add(at_a_time) <= place) {
            let total: i64 = of_both.iter().map(|(_, _, length)| length).sum();
            let room = longest[wire.index()].max(1);
            let coils = total / room + i64::from(total % room > 0);
            need.spans.push((place, usize::try_from(coils).unwrap_or(1)));
        }
    }
    needs
}

/// Bound that heeds trays and positions only.
///
/// With T trays, at least S/T of the S serials are cut in spans that do not overlap (spans of which no more than T overlap
/// are an interval graph, which is perfect). In each such span all wires of the serial are cut, and no more than R of them
/// are on a reel position when it begins, in the first span no more than are mounted at the start.
fn by_trays(problem: &Problem, whole: &[bool]) -> i64 {
    let mut wires: Vec<BTreeSet<WireIndex>> = vec![BTreeSet::new(); problem.serials as usize];
    for piece in &problem.pieces {
        wires[piece.serial.index()].insert(piece.wire);
    }
    let mut sizes: Vec<usize> = wires
        .iter()
        .zip(whole)
        .filter(|(wires, whole)| !wires.is_empty() && **whole)
        .map(|(wires, _)| wires.len())
        .collect();
    sizes.sort_unstable();
    let spans = sizes.len().div_ceil((problem.station.trays as usize).max(1));
    let positions = problem.station.reel_positions as usize;
    let mounted = problem.coils.iter().filter(|coil| coil.mounted_at.is_some()).count();
    let changes: usize = sizes
        .iter()
        .take(spans)
        .enumerate()
        .map(|(span, size)| size.saturating_sub(if span == 0 { mounted } else { positions }))
        .sum();
    signed(changes)
}

fn signed(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}
