//! Column generation on stocks of any size: in parts that are small enough, side by side.

use rayon::prelude::*;

use super::bound::Supply;
use super::columns::{Dive, MOST_COILS, MOST_KINDS};
use super::core::{Demand, Load, Rules, Stock};
use super::dual::scrap_bound;
use super::pack::{Packing, construct};

/// Coils of a part, about.
const PART_COILS: usize = 160;
/// Percentage of ways to cut that a dive fixes at a time.
const HASTE: usize = 10;
/// Blocks up to which a second dive, one way to cut at a time, is worth its time.
const MOST_FOR_CARE: u32 = 150;
/// Coils up to which parts are made; above it constructions must do.
const MOST_IN_ALL: usize = 6_000;

/// Packs by column generation; returns the packing and a bound on the scrap of any packing of everything, in µm.
///
/// Where there are too many coils, they are dealt out by length into parts of the same make-up, and so are the blocks. What a
/// part leaves over is left for the search that follows. The prices of the bound are the mean of the parts' prices.
pub(super) fn generate(
    stocks: &[Stock],
    demand: &Demand,
    rules: &Rules,
    starts: &[Packing],
    stop: &(dyn Fn() -> bool + Sync),
) -> (Option<Packing>, i64) {
    if demand.lengths.len() > MOST_KINDS || stocks.len() > MOST_IN_ALL {
        return (None, 0);
    }
    if stocks.len() <= MOST_COILS {
        let (mut packing, prices) = Dive::new(stocks, demand, rules, starts).run(HASTE, &|| stop());
        let bound = scrap_bound(stocks, demand, rules, &prices);
        let target = Supply::new(stocks).least_cost(demand, rules, bound);
        let blocks: u32 = demand.counts.iter().sum();
        if blocks <= MOST_FOR_CARE && (packing.left_length > 0 || packing.cost > target) {
            let (careful, _) = Dive::new(stocks, demand, rules, starts).run(0, &|| stop());
            if careful.key() < packing.key() {
                packing = careful;
            }
        }
        return (Some(packing), bound);
    }
    let parts = stocks.len().div_ceil(PART_COILS);
    let mut order: Vec<usize> = (0..stocks.len()).collect();
    order.sort_by_key(|i| (stocks[*i].sealed, stocks[*i].mounts, stocks[*i].room, *i));
    let solved: Vec<(Vec<usize>, Packing, Vec<f64>)> = (0..parts)
        .into_par_iter()
        .map(|part| {
            let of_part: Vec<usize> = order.iter().copied().skip(part).step_by(parts).collect();
            let own_stocks: Vec<Stock> = of_part.iter().map(|i| stocks[*i]).collect();
            let own_demand = share(demand, part, parts);
            let own_starts = construct(&own_stocks, &own_demand, rules, 0);
            let (packing, prices) =
                Dive::new(&own_stocks, &own_demand, rules, &own_starts).run(HASTE, &|| stop());
            (of_part, packing, prices)
        })
        .collect();
    let mut loads = vec![Load::new(); stocks.len()];
    let mut left = vec![0; demand.lengths.len()];
    let mut prices = vec![0.0; demand.lengths.len()];
    let mut counted = 0.0;
    for (of_part, packing, of_kinds) in solved {
        for (i, load) in of_part.into_iter().zip(packing.loads) {
            loads[i] = load;
        }
        for (left, more) in left.iter_mut().zip(packing.left) {
            *left += more;
        }
        if of_kinds.len() == prices.len() {
            counted += 1.0;
            for (sum, price) in prices.iter_mut().zip(of_kinds) {
                *sum += price;
            }
        }
    }
    for price in &mut prices {
        *price /= f64::max(counted, 1.0);
    }
    let packing = Packing::new(stocks, rules, demand, loads, left);
    (Some(packing), scrap_bound(stocks, demand, rules, &prices))
}

/// The share of one part: counts are dealt out in turn, beginning at another part for each length.
fn share(demand: &Demand, part: usize, parts: usize) -> Demand {
    let mut dealt = 0;
    let counts = demand.counts.iter().map(|count| {
        let count = *count as usize;
        let turn = (part + parts - dealt % parts) % parts;
        dealt += count;
        let own = count / parts + usize::from(turn < count % parts);
        u32::try_from(own).unwrap_or(u32::MAX)
    });
    Demand { lengths: demand.lengths.clone(), counts: counts.collect() }
}
