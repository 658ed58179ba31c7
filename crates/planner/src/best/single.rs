//! All blocks from one coil: most of what a day needs.

use std::cmp::Reverse;

use super::core::{Cost, Demand, Load, Rules, Stock};
use super::pack::Packing;

/// The packing of all blocks on one coil, if one can give them for no more than `target`. Of equally good coils the shortest
/// is taken that can give `ahead` µm later on as well, else the longest.
pub(super) fn on_one_coil(
    stocks: &[Stock],
    demand: &Demand,
    rules: &Rules,
    target: Cost,
    ahead: i64,
) -> Option<Packing> {
    let total = demand.total();
    let costs = stocks.iter().enumerate().filter(|(_, stock)| stock.room >= total).map(|(i, stock)| {
        let lasts = stock.room - total >= ahead;
        let size = if lasts { (false, stock.room) } else { (true, -stock.room) };
        (rules.cost(stock, stock.room - total), size, stock.rank, i)
    });
    let (cost, _, _, i) = costs.min()?;
    if cost > target || demand.lengths.is_empty() {
        return None;
    }
    let mut loads = vec![Load::new(); stocks.len()];
    loads[i] = demand.counts.iter().copied().enumerate().collect();
    Some(Packing::new(stocks, rules, demand, loads, vec![0; demand.lengths.len()]))
}

/// Leaves out the coils that must be mounted and do not last for `total` µm and what comes later, if others do.
pub(super) fn only_lasting(stocks: Vec<Stock>, total: i64, ahead: i64) -> Vec<Stock> {
    let lasts = |stock: &Stock| stock.room >= total.saturating_add(ahead);
    if !stocks.iter().any(lasts) {
        return stocks;
    }
    let mut lasting: Vec<Stock> = stocks.into_iter().filter(|stock| !stock.mounts || lasts(stock)).collect();
    lasting.sort_by_key(|stock| (stock.mounts, Reverse(stock.room), stock.rank, stock.coil));
    lasting
}
