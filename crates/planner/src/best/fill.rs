//! Filling one coil as well as it can be filled from what is still to be cut.

use super::bits::Sums;
use super::core::{Load, Rules, Stock};
use super::random::Random;

/// Largest set of sums that is computed exactly, in units. Above it lengths are so fine that sums of four nearly always
/// come within a few units of the wanted one.
const MOST_UNITS: i64 = 1 << 17;
/// Different lengths that are tried on one coil.
const MOST_KINDS: usize = 64;
/// A long coil is filled by proportion until this many of the longest blocks fit, and the rest exactly.
const WINDOW_BLOCKS: i64 = 6;
/// Starts that are tried for a coil with fine lengths.
const FINE_STARTS: usize = 6;

/// What may be filled, and what stays on the coil besides, in µm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    pub(super) room: i64,
    pub(super) margin: i64,
}

impl Gap {
    /// All that a coil gives.
    pub(super) fn of(stock: &Stock) -> Self {
        Self { room: stock.room, margin: stock.margin }
    }

    /// The same coil with so much room left.
    fn left(self, room: i64) -> Self {
        Self { room, ..self }
    }
}

/// Fills coils. It holds what does not change from coil to coil.
#[derive(Debug)]
pub(super) struct Filler<'a> {
    lengths: &'a [i64],
    rules: &'a Rules,
    /// Greatest common divisor of all lengths: sums are multiples of it.
    unit: i64,
}

impl<'a> Filler<'a> {
    pub(super) fn new(lengths: &'a [i64], rules: &'a Rules) -> Self {
        let unit = lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
        Self { lengths, rules, unit }
    }

    /// Whether lengths are too fine for sets of all sums.
    pub(super) fn is_fine(&self) -> bool {
        self.lengths.first().is_some_and(|longest| longest * WINDOW_BLOCKS / self.unit > MOST_UNITS)
    }

    /// The same for some of the lengths.
    pub(super) fn for_some<'b>(&self, lengths: &'b [i64]) -> Filler<'b>
    where
        'a: 'b,
    {
        Filler { lengths, rules: self.rules, unit: self.unit }
    }

    /// Takes from `counts` what fills the gap best, and returns it with the room that stays unused. Wastes more than the least
    /// that is possible only if that saves scrap, and at most `spare` µm.
    pub(super) fn fill(&self, gap: Gap, counts: &mut [u32], spare: i64, random: &mut Random) -> (Load, i64) {
        let room = gap.room;
        let kinds: Vec<usize> =
            (0..counts.len()).filter(|k| counts[*k] > 0 && self.lengths[*k] <= room).collect();
        let Some(longest) = kinds.first().map(|k| self.lengths[*k]) else { return (Load::new(), room) };
        let all = kinds.iter().try_fold(0i64, |sum, k| {
            let sum = sum + self.lengths[*k] * i64::from(counts[*k]);
            (sum <= room).then_some(sum)
        });
        if let Some(sum) = all {
            let load = kinds.iter().map(|k| (*k, std::mem::take(&mut counts[*k]))).collect();
            return (load, room - sum);
        }
        let window = longest * WINDOW_BLOCKS;
        if window.min(room) / self.unit <= MOST_UNITS {
            let mut load = Load::new();
            let rest = self.fill_by_proportion(room, window, counts, &kinds, &mut load, random);
            let waste = self.fill_exactly(gap.left(rest), counts, spare, &mut load, random);
            (load, waste)
        } else {
            self.fill_finely(gap, counts, &kinds, spare, random)
        }
    }

    /// Takes of each kind its share until at most `window` µm are left; returns what is left.
    fn fill_by_proportion(
        &self,
        room: i64,
        window: i64,
        counts: &mut [u32],
        kinds: &[usize],
        load: &mut Load,
        random: &mut Random,
    ) -> i64 {
        let mut rest = room;
        let mut taken = vec![0u32; if room > window { kinds.len() } else { 0 }];
        if room > window {
            let all: i64 = kinds.iter().map(|k| self.lengths[*k] * i64::from(counts[*k])).sum();
            for (taken, kind) in taken.iter_mut().zip(kinds) {
                let share = i128::from(counts[*kind]) * i128::from(room - window) / i128::from(all.max(1));
                *taken = u32::try_from(share).unwrap_or(u32::MAX).min(counts[*kind]);
                rest -= self.lengths[*kind] * i64::from(*taken);
                counts[*kind] -= *taken;
            }
        }
        let mut at = random.below(kinds.len());
        let mut idle = 0;
        while rest > window && idle < kinds.len() {
            let kind = kinds[at];
            if counts[kind] > 0 && self.lengths[kind] <= rest {
                counts[kind] -= 1;
                taken[at] += 1;
                rest -= self.lengths[kind];
                idle = 0;
            } else {
                idle += 1;
            }
            at = (at + 1) % kinds.len();
        }
        load.extend(kinds.iter().copied().zip(taken).filter(|(_, count)| *count > 0));
        rest
    }

    /// The kinds to try: all, or the longest and some others.
    fn choose_kinds(&self, room: i64, counts: &[u32], random: &mut Random) -> Vec<usize> {
        let mut kinds: Vec<usize> =
            (0..counts.len()).filter(|k| counts[*k] > 0 && self.lengths[*k] <= room).collect();
        if kinds.len() > MOST_KINDS {
            let (_, others) = kinds.split_at_mut(MOST_KINDS / 4);
            random.shuffle(others);
            kinds.truncate(MOST_KINDS);
            kinds.sort_unstable();
        }
        kinds
    }

    /// Subset sums with bounded counts (Bellman's dynamic program, one bit a sum), then the way back: of all sets with the best
    /// sum the one with the longest blocks, since short ones are of more use later.
    fn fill_exactly(
        &self,
        gap: Gap,
        counts: &mut [u32],
        spare: i64,
        load: &mut Load,
        random: &mut Random,
    ) -> i64 {
        let room = gap.room;
        let kinds = self.choose_kinds(room, counts, random);
        let unit = self.unit;
        let top = as_index(room / unit);
        let mut stages = vec![Sums::zero(top)];
        let mut used = Vec::new();
        for kind in kinds.into_iter().rev() {
            let length = as_index(self.lengths[kind] / unit);
            let most = (top / length).min(counts[kind] as usize);
            let next = stages.last().map(|sums| sums.extended(length, most));
            stages.extend(next);
            used.push((kind, length, most));
        }
        let Some(last) = stages.last() else { return room };
        let mut sum = as_index(
            self.choose_sum(gap, spare, |top| as_length(last.largest_up_to(as_index(top / unit))) * unit)
                / unit,
        );
        let unused = room - as_length(sum) * unit;
        for ((kind, length, most), before) in used.iter().zip(&stages).rev() {
            let most = (*most).min(sum / length);
            let count = (0..=most).rev().find(|n| before.contains(sum - n * length)).unwrap_or(0);
            sum -= count * length;
            take(load, counts, *kind, u32::try_from(count).unwrap_or(0));
        }
        unused
    }

    /// The sum to aim at: the largest that fits, or, if that leaves scrap, the largest that leaves a tail worth keeping.
    /// `largest` gives the largest possible sum up to a limit.
    fn choose_sum(&self, gap: Gap, spare: i64, largest: impl Fn(i64) -> i64) -> i64 {
        let Gap { room, margin } = gap;
        let scrap = |sum: i64| self.rules.tail_scrap(margin, room - sum);
        let tightest = largest(room);
        let keep = self.rules.keeping(margin, room);
        if scrap(tightest) > 0 && keep >= 0 {
            let kept = largest(keep.min(tightest));
            if scrap(kept) < scrap(tightest) && room - kept <= spare {
                return kept;
            }
        }
        tightest
    }

    /// For lengths so fine that sets of sums would be huge: by proportion until about four blocks fit, then the best sum of up
    /// to four from sorted sums of up to two; from several starts.
    fn fill_finely(
        &self,
        gap: Gap,
        counts: &mut [u32],
        kinds: &[usize],
        spare: i64,
        random: &mut Random,
    ) -> (Load, i64) {
        let room = gap.room;
        let mean = kinds.iter().map(|k| self.lengths[*k]).sum::<i64>() / as_length(kinds.len()).max(1);
        let mut best: Option<(i64, i64, Load)> = None;
        for start in 0..FINE_STARTS {
            let mut trial = counts.to_vec();
            let mut load = Load::new();
            let window = if start % 2 == 0 { 4 * mean } else { 3 * mean };
            let rest = self.fill_by_proportion(room, window, &mut trial, kinds, &mut load, random);
            let waste = self.fill_by_pairs(gap.left(rest), &mut trial, spare, &mut load, random);
            let key = (self.rules.tail_scrap(gap.margin, waste), waste);
            if best.as_ref().is_none_or(|(scrap, waste, _)| key < (*scrap, *waste)) {
                best = Some((key.0, key.1, load));
            }
            if key.1 == 0 {
                break;
            }
        }
        let Some((_, waste, load)) = best else { return (Load::new(), room) };
        for (kind, count) in &load {
            counts[*kind] -= count;
        }
        (load, waste)
    }

    fn fill_by_pairs(
        &self,
        gap: Gap,
        counts: &mut [u32],
        spare: i64,
        load: &mut Load,
        random: &mut Random,
    ) -> i64 {
        let Gap { room, margin } = gap;
        let kinds = self.choose_kinds(room, counts, random);
        let sums = self.pairs(room, counts, &kinds);
        let tight = self.best_of_two(&sums, room, counts);
        let mut chosen = tight;
        let keep = self.rules.keeping(margin, room);
        let scrap = |sum: i64| self.rules.tail_scrap(margin, room - sum);
        if scrap(tight.0) > 0
            && keep >= 0
            && let kept = self.best_of_two(&sums, keep, counts)
            && scrap(kept.0) < scrap(tight.0)
            && room - kept.0 <= spare
        {
            chosen = kept;
        }
        for kind in chosen.1.iter().flatten() {
            take(load, counts, *kind, 1);
        }
        room - chosen.0
    }

    /// All sums of up to two blocks that fit, by rising sum.
    fn pairs(&self, room: i64, counts: &[u32], kinds: &[usize]) -> Vec<(i64, [Option<usize>; 2])> {
        let mut sums = vec![(0, [None, None])];
        for (i, a) in kinds.iter().copied().enumerate() {
            sums.push((self.lengths[a], [Some(a), None]));
            for b in kinds[i..].iter().copied() {
                let sum = self.lengths[a] + self.lengths[b];
                if sum <= room && (a != b || counts[a] >= 2) {
                    sums.push((sum, [Some(a), Some(b)]));
                }
            }
        }
        sums.sort_unstable();
        sums
    }

    /// The largest sum of two entries that is at most `top` and for which there are enough blocks.
    fn best_of_two(
        &self,
        sums: &[(i64, [Option<usize>; 2])],
        top: i64,
        counts: &[u32],
    ) -> (i64, [Option<usize>; 4]) {
        let mut best = (0, [None; 4]);
        let mut high = sums.len();
        for (low_sum, low) in sums {
            while high > 0 && sums[high - 1].0 + low_sum > top {
                high -= 1;
            }
            let Some((high_sum, other)) = high.checked_sub(1).map(|h| sums[h]) else { break };
            if low_sum + high_sum > best.0 {
                let four = [low[0], low[1], other[0], other[1]];
                let enough = four
                    .iter()
                    .flatten()
                    .all(|kind| four.iter().filter(|k| **k == Some(*kind)).count() <= counts[*kind] as usize);
                if enough {
                    best = (low_sum + high_sum, four);
                }
            }
        }
        best
    }
}

fn take(load: &mut Load, counts: &mut [u32], kind: usize, count: u32) {
    if count == 0 {
        return;
    }
    counts[kind] -= count;
    match load.iter_mut().find(|(k, _)| *k == kind) {
        Some((_, have)) => *have += count,
        None => load.push((kind, count)),
    }
}

/// Greatest common divisor.
pub(super) fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

pub(super) fn as_index(length: i64) -> usize {
    usize::try_from(length).unwrap_or_default()
}

pub(super) fn as_length(index: usize) -> i64 {
    i64::try_from(index).unwrap_or(i64::MAX)
}
