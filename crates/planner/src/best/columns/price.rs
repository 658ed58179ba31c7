//! Which way to cut a coil brings most at given prices: bounded knapsacks over exact sums, for all coils at once.

use crate::best::core::{Load, Rules, Stock};
use crate::best::fill::{as_index, as_length};

use super::Weights;

/// Value of a sum that cannot be reached, or less.
const NEVER: f64 = -1e250;

/// Some blocks of one kind that are taken together or not.
#[derive(Debug, Clone, Copy)]
struct Pack {
    kind: usize,
    copies: u32,
    cells: usize,
}

/// Sums of which the one worth most is kept.
const RANGE: usize = 16;

/// Best values of all sums.
#[derive(Debug, Default)]
pub(super) struct Table {
    width: usize,
    packs: Vec<Pack>,
    /// Value of each sum after all packs so far: one row that stays in the cache.
    values: Vec<f64>,
    /// For each pack a row that says in which sums it is taken.
    taken: Vec<bool>,
    /// The sum of best value up to each sum.
    best_up_to: Vec<usize>,
    /// What sums are worth if what is missing to fill the coil is scrap.
    worths: Vec<f64>,
    /// Of each [`RANGE`] sums in a row the one that is worth most.
    ranges: Vec<usize>,
}

/// One kind of block: length in cells, how many there are, and what one brings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Offer {
    pub(super) kind: usize,
    pub(super) cells: usize,
    pub(super) count: u32,
    pub(super) price: f64,
}

impl Table {
    /// Computes all sums up to `top` cells; `per_cell` is what a cell of scrap costs.
    pub(super) fn fill(&mut self, top: usize, offers: &[Offer], per_cell: f64) {
        let width = top + 1;
        self.width = width;
        self.packs.clear();
        for offer in offers.iter().filter(|offer| offer.cells > 0 && offer.cells <= top) {
            let mut rest = offer.count.min(u32::try_from(top / offer.cells).unwrap_or(u32::MAX));
            let mut copies = 1;
            while rest > 0 {
                let size = copies.min(rest);
                self.packs.push(Pack { kind: offer.kind, copies: size, cells: offer.cells * size as usize });
                rest -= size;
                copies *= 2;
            }
        }
        self.values.clear();
        self.values.resize(width, NEVER);
        self.values[0] = 0.0;
        self.taken.resize(width * self.packs.len(), false);
        let price_of = |kind| offers.iter().find(|offer| offer.kind == kind).map_or(0.0, |offer| offer.price);
        let mut price = (usize::MAX, 0.0);
        for (pack, taken) in self.packs.iter().zip(self.taken.chunks_exact_mut(width)) {
            if price.0 != pack.kind {
                price = (pack.kind, price_of(pack.kind));
            }
            take_or_leave(&mut self.values, taken, pack.cells, price.1 * f64::from(pack.copies));
        }
        self.find_best(per_cell);
    }

    fn find_best(&mut self, per_cell: f64) {
        self.best_up_to.clear();
        self.worths.clear();
        let mut best = 0;
        let mut cell = 0.0;
        for (sum, value) in self.values.iter().enumerate() {
            if *value > self.values[best] {
                best = sum;
            }
            self.best_up_to.push(best);
            self.worths.push(value + per_cell * cell);
            cell += 1.0;
        }
        let starts = (0..self.width).step_by(RANGE);
        let worths = &self.worths;
        self.ranges.clear();
        self.ranges.extend(starts.map(|low| highest(worths, low, (low + RANGE).min(worths.len()))));
    }

    /// The sum worth most from `low` to `high`, of equals the greatest.
    fn best_within(&self, low: usize, high: usize) -> usize {
        let (first, last) = (low.div_ceil(RANGE), (high + 1) / RANGE);
        if first >= last {
            return highest(&self.worths, low, high + 1);
        }
        let mut best = if low < first * RANGE { highest(&self.worths, low, first * RANGE) } else { low };
        let tail = last * RANGE..(high + 1);
        let whole = self.ranges[first..last].iter().copied();
        for sum in whole.chain((!tail.is_empty()).then(|| highest(&self.worths, tail.start, tail.end))) {
            if self.worths[sum] >= self.worths[best] {
                best = sum;
            }
        }
        best
    }

    /// Steps that the last filling took, about.
    pub(super) fn work(&self) -> u64 {
        (self.width * (self.packs.len() + 12)) as u64
    }

    fn value(&self, sum: usize) -> f64 {
        self.values[sum]
    }

    /// The sum for a coil that saves most, and what it saves.
    pub(super) fn best(&self, stock: &Stock, cell: i64, rules: &Rules, weights: &Weights) -> (f64, usize) {
        let high = as_index(stock.room / cell).min(self.width - 1);
        let saving =
            |sum: usize| self.value(sum) - weights.scalar(rules, stock, stock.room - as_length(sum) * cell);
        let keep = rules.keeping(stock.margin, stock.room);
        let kept = if keep >= 0 { self.best_up_to[as_index(keep / cell).min(high)] } else { 0 };
        let low = if keep >= 0 { (as_index(keep / cell) + 1).min(high) } else { 0 };
        let sums = [self.best_within(low, high), kept];
        let of_sums = sums.into_iter().filter(|sum| *sum > 0 && self.value(*sum) > NEVER / 2.0);
        of_sums
            .map(|sum| (saving(sum), sum))
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
            .unwrap_or((f64::MIN, 0))
    }

    /// The blocks of a sum.
    pub(super) fn load(&self, mut sum: usize) -> Load {
        let mut load = Load::new();
        for (at, pack) in self.packs.iter().enumerate().rev() {
            if self.taken[at * self.width + sum] {
                sum -= pack.cells;
                match load.last_mut() {
                    Some((kind, count)) if *kind == pack.kind => *count += pack.copies,
                    _ => load.push((pack.kind, pack.copies)),
                }
            }
        }
        load.reverse();
        load
    }
}

/// Takes a pack of so many cells into every sum that it makes better. Sums are gone through from above, so that none has the
/// pack twice, and in runs no longer than the pack, so that what is read is not what is written.
fn take_or_leave(values: &mut [f64], taken: &mut [bool], cells: usize, gain: f64) {
    let mut end = values.len();
    while end > cells {
        let start = end.saturating_sub(cells).max(cells);
        let (below, run) = values.split_at_mut(start);
        let shifted = &below[start - cells..end - cells];
        let run = &mut run[..end - start];
        for ((value, taken), with) in run.iter_mut().zip(&mut taken[start..end]).zip(shifted) {
            let with = with + gain;
            *taken = with > *value;
            *value = if with > *value { with } else { *value };
        }
        end = start;
    }
    taken[..cells].fill(false);
}

/// The place of the highest of some numbers from `low` up to but without `end`, of equals the last.
fn highest(numbers: &[f64], low: usize, end: usize) -> usize {
    let mut best = low;
    for place in low..end {
        if numbers[place] >= numbers[best] {
            best = place;
        }
    }
    best
}
