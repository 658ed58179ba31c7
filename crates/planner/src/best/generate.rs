//! Column generation on stocks of any size.

use super::bound::Supply;
use super::columns::{Dive, MOST_KINDS, Root, Way, Weights};
use super::core::{Demand, Load, Rules, Stock};
use super::dual::{PriceBound, price_bound};
use super::pack::Packing;

/// Percentage of ways to cut that the first dive fixes at a time.
const HASTE: usize = 10;
/// Packings whose ways to cut begin the program.
const MOST_STARTS: usize = 2;
/// Careful dives, at most, and the blocks in all of them together.
const MOST_DIVES: u32 = 12;
const MOST_BLOCKS: u32 = 6000;
/// Steps of arithmetic of all dives together, about.
const MOST_WORK: u64 = 1_000_000_000;
/// A packing that costs less by this much is better.
pub(super) const BETTER: f64 = 5e-5;

/// What column generation comes to.
pub(super) struct Generated {
    pub(super) packing: Packing,
    /// What any packing of everything costs at least.
    pub(super) bound: PriceBound,
    /// Price of a block of each length, in the unit of [`Weights`].
    pub(super) prices: Vec<f64>,
    /// No packing of everything exists.
    pub(super) is_impossible: bool,
}

/// Packs by column generation; `None` if there are too many different lengths. With `any` the first
/// packing of everything will do.
pub(super) fn generate(
    stocks: &[Stock],
    demand: &Demand,
    rules: &Rules,
    starts: &[Packing],
    any: bool,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Generated> {
    if demand.lengths.len() > MOST_KINDS {
        return None;
    }
    let stop = || stop();
    let loads: Vec<&[Load]> = starts.iter().take(MOST_STARTS).map(|start| start.loads.as_slice()).collect();
    let mut dive = Dive::new(stocks, demand, rules, &loads);
    let root = dive.root(&stop);
    let bound = price_bound(stocks, demand, rules, &root.prices);
    let target = Supply::new(stocks).least_cost(demand, rules, &bound);
    let mut best = starts.first().cloned()?;
    let blocks: u32 = demand.counts.iter().sum();
    let most = dive.work + MOST_WORK;
    let careful = (MOST_BLOCKS / blocks.max(1)).min(MOST_DIVES) as usize;
    let hasty = std::iter::once(Way { haste: HASTE, skip: None });
    let ways = hasty.chain((0..careful).map(|n| Way { haste: 0, skip: n.checked_sub(1) }));
    for way in ways {
        let is_whole = best.lack == 0;
        if stop() || root.is_impossible || dive.work > most || is_whole && (any || best.cost <= target) {
            break;
        }
        let cutoff = if is_whole { Weights::new(rules).of(&best.cost) - BETTER } else { f64::MAX };
        if let Some(packing) = dive.descend(&root, way, cutoff, &stop)
            && packing.key() < best.key()
        {
            best = packing;
        }
    }
    let Root { prices, is_impossible, .. } = root;
    Some(Generated { packing: best, bound, prices, is_impossible })
}
