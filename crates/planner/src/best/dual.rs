//! The bound on the levels of a cost that prices of blocks give.

use super::columns::Weights;
use super::core::{Cost, Demand, Rules, Stock};
use super::fill::{as_index, as_length, gcd};

/// Prices are whole numbers of this part of the smallest weight, so that the bound is exact.
const PARTS: i64 = 1024;
/// Cells of the dynamic program, at most.
const MOST_CELLS: i64 = 200_000;

/// Least weighted sums of levels, of any packing of everything.
#[derive(Debug, Clone, Default)]
pub(super) struct PriceBound {
    weights: Cost,
    /// Least sum of the levels up to each.
    least: [i128; 3],
    /// Scrap is a multiple of this many µm.
    step: i64,
    scrap_slot: usize,
}

impl PriceBound {
    /// Least value of a level of the cost, given that the levels before come to at most `most`; 0 if nothing is known.
    pub(super) fn at(&self, slot: usize, most: &Cost) -> i64 {
        let weight = i128::from(self.weights[slot]);
        if weight == 0 || most[..slot].contains(&i64::MAX) {
            return 0;
        }
        let before: i128 = (0..slot).map(|s| i128::from(self.weights[s]) * i128::from(most[s])).sum();
        let step = if slot == self.scrap_slot { self.step.max(1) } else { 1 };
        let unit = weight * i128::from(step);
        let rest = self.least[slot] - before;
        let steps = rest.div_euclid(unit) + i128::from(rest.rem_euclid(unit) > 0);
        i64::try_from(steps * i128::from(step)).unwrap_or(0).max(0)
    }
}

/// The bound by Lagrangian relaxation: for any prices ≥ 0 of blocks, the price of all blocks, plus for each coil what cutting
/// it best at these prices costs less than they bring, if it is less than 0.
///
/// The bound holds for any prices; those of the linear program make it as good as that program's own value.
///
/// # Formula
///
/// ```text
/// Σ u_i·d_i + Σ_c min(0, min_s (cost_c(s) − f(s)))      f(s): best price of blocks that add up to s, at most d_i of each
/// ```
///
/// # Source
///
/// Common practice for bounds of column generation: A. A. Farley, Operations Research 38 (1990), and the Lagrangian bound
/// (from memory).
pub(super) fn price_bound(stocks: &[Stock], demand: &Demand, rules: &Rules, prices: &[f64]) -> PriceBound {
    let longest = stocks.iter().map(|s| s.room).max().unwrap_or(0);
    let unit = demand.lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
    // Too fine for exact sums: lengths are rounded down to cells, and a tail costs what it does if no block lost anything by
    // that. Both only weaken the bound.
    let exact = longest / unit <= MOST_CELLS;
    let shortest = demand.lengths.last().copied().unwrap_or(1).max(1);
    let cell = if exact { unit } else { longest / MOST_CELLS + 1 };
    let (weights, per_part) = Weights::new(rules).whole(PARTS);
    let prices: Vec<i64> = prices.iter().map(|price| whole(price * per_part)).collect();
    let value = best_prices(as_index(longest / cell), demand, &prices, cell);
    let best_up_to = running_best(&value);
    let all = prices.iter().zip(&demand.counts).map(|(p, count)| i128::from(*p) * i128::from(*count)).sum();
    let mut bound = PriceBound {
        weights,
        least: [all; 3],
        step: stocks.iter().fold(gcd(unit, rules.trim), |a, s| gcd(gcd(a, s.room), s.margin)),
        scrap_slot: rules.scrap_slot(),
    };
    for stock in stocks {
        // Before any tail, and the tails to look at one by one.
        let top = as_index(stock.room / cell);
        let keep = rules.keeping(stock.margin, stock.room);
        let kept = as_index(keep / cell).min(top);
        let begin = if keep >= 0 { kept } else { 0 };
        let fixed = rules.cost(stock, rules.keep_from);
        let untrimmed = if keep < 0 { i64::MIN / 4 } else { best_up_to[kept] };
        let lost = if exact { 0 } else { cell * (stock.room / shortest) };
        // Weighted sum of the levels up to each, without a tail.
        let mut sums = [0; 3];
        let mut sum = 0;
        for (of, (weight, value)) in sums.iter_mut().zip(weights.iter().zip(fixed)) {
            sum += weight * value;
            *of = sum;
        }
        let mut best = sums.map(|sum| untrimmed - sum);
        let tail_weight = weights[bound.scrap_slot];
        for (sum, value) in value.iter().enumerate().take(top + 1).skip(begin).filter(|(_, v)| **v >= 0) {
            let waste = (stock.room - as_length(sum) * cell - lost).max(0);
            let scrap = tail_weight * rules.tail_scrap(stock.margin, waste);
            for (slot, (best, sum)) in best.iter_mut().zip(sums).enumerate() {
                let tail = if slot >= bound.scrap_slot { scrap } else { 0 };
                *best = (*best).max(value - sum - tail);
            }
        }
        for (least, best) in bound.least.iter_mut().zip(best) {
            *least -= i128::from(best.max(0));
        }
    }
    bound
}

/// Least number of pieces that stay uncut in any packing, by the same relaxation, at prices in pieces. `pieces` says for each
/// length how many pieces a block has, or that it must be cut.
pub(super) fn uncut_bound(stocks: &[Stock], demand: &Demand, prices: &[f64], pieces: &[Option<u32>]) -> u32 {
    const PART: i64 = 1_000_000;
    let longest = stocks.iter().map(|s| s.room).max().unwrap_or(0);
    let unit = demand.lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
    let cell = if longest / unit <= MOST_CELLS { unit } else { longest / MOST_CELLS + 1 };
    let prices: Vec<i64> = prices
        .iter()
        .zip(pieces)
        .map(|(price, pieces)| {
            whole(price * 1e6).min(pieces.map_or(i64::MAX, |pieces| PART * i64::from(pieces)))
        })
        .collect();
    let best_up_to = running_best(&best_prices(as_index(longest / cell), demand, &prices, cell));
    let all: i128 =
        prices.iter().zip(&demand.counts).map(|(p, count)| i128::from(*p) * i128::from(*count)).sum();
    let most: i128 =
        stocks.iter().map(|stock| i128::from(best_up_to[as_index(stock.room / cell)].max(0))).sum();
    let (parts, part) = (all - most, i128::from(PART));
    u32::try_from(parts.div_euclid(part) + i128::from(parts.rem_euclid(part) > 0)).unwrap_or(0)
}

/// A price in parts, rounded; prices below 0 or not finite count as 0.
fn whole(parts: f64) -> i64 {
    if parts.is_finite() && parts > 0.0 && parts < 1e15 {
        #[expect(clippy::cast_possible_truncation, reason = "the range was checked")]
        let whole = parts.round() as i64;
        whole
    } else {
        0
    }
}

/// Best price of each exact sum of cells; below 0 if it cannot be reached. Counts are split into powers of two.
fn best_prices(top: usize, demand: &Demand, prices: &[i64], cell: i64) -> Vec<i64> {
    let mut value = vec![i64::MIN / 2; top + 1];
    value[0] = 0;
    for ((length, count), price) in demand.lengths.iter().zip(&demand.counts).zip(prices) {
        let length = as_index(length / cell);
        // A block without a price is not left out: it moves sums, which may save scrap at the tail.
        let mut rest = top.checked_div(length).unwrap_or(usize::MAX).min(*count as usize);
        let mut pack = 1;
        while rest > 0 {
            let size = pack.min(rest);
            rest -= size;
            pack *= 2;
            let (step, gain) = (length * size, price * as_length(size));
            for sum in (step..=top).rev() {
                let candidate = value[sum - step] + gain;
                if candidate > value[sum] {
                    value[sum] = candidate;
                }
            }
        }
    }
    value
}

fn running_best(value: &[i64]) -> Vec<i64> {
    let mut best = i64::MIN;
    value
        .iter()
        .map(|v| {
            best = best.max(*v);
            best
        })
        .collect()
}
