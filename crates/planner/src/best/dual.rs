//! The bound on scrap that prices of blocks give.

use super::core::{Demand, Rules, Stock};
use super::fill::{as_index, as_length, gcd};

/// Prices are whole numbers of this part of a micrometre, so that the bound is exact.
const PARTS: i64 = 256;
/// Cells of the dynamic program, at most.
const MOST_CELLS: i64 = 200_000;

/// Least scrap in µm if everything is cut, by Lagrangian relaxation: for any prices ≥ 0 (µm of scrap per block), the price of
/// all blocks, plus for each coil what cutting it best at these prices costs less than they bring, if it is less than 0.
///
/// The bound holds for any prices; those of the linear program make it as good as that program's own value.
///
/// # Formula
///
/// ```text
/// Σ u_i·d_i + Σ_c min(0, min_s (scrap_c(s) − f(s)))      f(s): best price of blocks that add up to s, at most d_i of each
/// ```
///
/// # Source
///
/// Common practice for bounds of column generation: A. A. Farley, Operations Research 38 (1990), and the Lagrangian bound
/// (from memory).
pub(super) fn scrap_bound(stocks: &[Stock], demand: &Demand, rules: &Rules, prices_um: &[f64]) -> i64 {
    let longest = stocks.iter().map(|s| s.room).max().unwrap_or(0);
    let unit = demand.lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
    // Too fine for exact sums: lengths are rounded down to cells, and tails cost nothing. Both only weaken the bound.
    let exact = longest / unit <= MOST_CELLS;
    let cell = if exact { unit } else { longest / MOST_CELLS + 1 };
    let top = as_index(longest / cell);
    let prices: Vec<i64> = prices_um.iter().map(|price| whole_parts(*price)).collect();
    let value = best_prices(top, demand, &prices, cell);
    let best_up_to = running_best(&value);
    let all: i64 = prices.iter().zip(&demand.counts).map(|(price, count)| price * i64::from(*count)).sum();
    let mut bound = all;
    for stock in stocks {
        let trim = if stock.mounts { rules.trim } else { 0 };
        let top = as_index(stock.room / cell);
        let keep = rules.keeping(stock.margin, stock.room);
        let mut best = i64::MIN;
        if !exact {
            best = best_up_to[top] - trim * PARTS;
        } else {
            let low = if keep >= 0 {
                best = best_up_to[as_index(keep / cell).min(top)] - trim * PARTS;
                as_index(keep / cell)
            } else {
                0
            };
            for (sum, value) in value.iter().enumerate().take(top + 1).skip(low).filter(|(_, v)| **v >= 0) {
                let waste = stock.room - as_length(sum) * cell;
                best = best.max(value - (trim + rules.tail_scrap(stock.margin, waste)) * PARTS);
            }
        }
        bound -= best.max(0);
    }
    bound.div_euclid(PARTS) + i64::from(bound.rem_euclid(PARTS) > 0)
}

/// A price in parts, rounded; prices below 0 or not finite count as 0.
fn whole_parts(price_um: f64) -> i64 {
    let parts = price_um * 256.0;
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
