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

/// Best values of all sums.
#[derive(Debug, Default)]
pub(super) struct Table {
    width: usize,
    packs: Vec<Pack>,
    /// Values after each pack, one row after the other; the first row is before any.
    stages: Vec<f64>,
    /// The sum of best value up to each sum.
    best_up_to: Vec<usize>,
    /// What sums are worth if what is missing to fill the coil is scrap.
    worths: Vec<f64>,
    /// At level n the sum worth most of the 2^n sums that end at each.
    ranges: Vec<Vec<u32>>,
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
    /// Computes all sums up to `top` cells. `window` is how many cells of waste make scrap of a tail at most,
    /// and `per_cell` what a cell of scrap costs.
    pub(super) fn fill(&mut self, top: usize, offers: &[Offer], window: usize, per_cell: f64) {
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
        self.stages.resize(width * (self.packs.len() + 1), NEVER);
        self.stages[..width].fill(NEVER);
        self.stages[0] = 0.0;
        let price_of = |kind| offers.iter().find(|offer| offer.kind == kind).map_or(0.0, |offer| offer.price);
        let mut price = (usize::MAX, 0.0);
        for (at, pack) in self.packs.iter().enumerate() {
            if price.0 != pack.kind {
                price = (pack.kind, price_of(pack.kind));
            }
            let gain = price.1 * f64::from(pack.copies);
            let (before, after) = self.stages.split_at_mut((at + 1) * width);
            let (before, after) = (&before[at * width..], &mut after[..width]);
            after[..pack.cells].copy_from_slice(&before[..pack.cells]);
            let (shifted, same) = (&before[..width - pack.cells], &before[pack.cells..]);
            for ((new, old), with) in after[pack.cells..].iter_mut().zip(same).zip(shifted) {
                let with = with + gain;
                *new = if with > *old { with } else { *old };
            }
        }
        self.find_best(window, per_cell);
    }

    fn find_best(&mut self, window: usize, per_cell: f64) {
        let last = &self.stages[self.packs.len() * self.width..][..self.width];
        self.best_up_to.clear();
        self.worths.clear();
        let mut best = 0;
        let mut cell = 0.0;
        for (sum, value) in last.iter().enumerate() {
            if *value > last[best] {
                best = sum;
            }
            self.best_up_to.push(best);
            self.worths.push(value + per_cell * cell);
            cell += 1.0;
        }
        let levels = window.min(self.width).max(1).ilog2() as usize + 1;
        self.ranges.resize(levels, Vec::new());
        let worths = &self.worths;
        let better = |a: u32, b: u32| if worths[b as usize] >= worths[a as usize] { b } else { a };
        self.ranges[0] = (0u32..).take(self.width).collect();
        for level in 1..levels {
            let (below, above) = self.ranges.split_at_mut(level);
            let (below, above) = (&below[level - 1], &mut above[0]);
            let half = 1 << (level - 1);
            above.clear();
            above.extend(below.iter().take(half));
            above.extend(below.iter().zip(&below[half.min(below.len())..]).map(|(a, b)| better(*a, *b)));
        }
    }

    /// The sum worth most from `low` to `high`.
    fn best_within(&self, low: usize, high: usize) -> usize {
        let mut best = high;
        let mut end = high;
        loop {
            let count = end + 1 - low;
            let level = (count.ilog2() as usize).min(self.ranges.len() - 1);
            let found = self.ranges[level][end] as usize;
            if self.worths[found] > self.worths[best] {
                best = found;
            }
            if count <= 1 << level {
                return best;
            }
            end -= 1 << level;
        }
    }

    /// Steps that the last filling took, about.
    pub(super) fn work(&self) -> u64 {
        (self.width * (self.packs.len() + 12)) as u64
    }

    fn value(&self, sum: usize) -> f64 {
        self.stages[self.packs.len() * self.width + sum]
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
            let (before, after) =
                (self.stages[at * self.width + sum], self.stages[(at + 1) * self.width + sum]);
            if after > before {
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
