//! Packing all blocks of a wire into coils: a portfolio of constructions, and the choice among them.

use std::cmp::Reverse;

use super::core::{Cost, Demand, Load, Rules, Stock, add, load_length};
use super::fill::{Filler, Gap};
use super::random::Random;

/// A packing in numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Packing {
    /// What each coil gives, in the order of the stocks.
    pub(super) loads: Vec<Load>,
    /// Blocks of each length that found no place.
    pub(super) left: Vec<u32>,
    /// What these count, see [`Demand::worths`].
    pub(super) lack: i64,
    /// Cost of the coils that give something.
    pub(super) cost: Cost,
}

impl Packing {
    /// Adds up a packing from its loads.
    pub(super) fn new(
        stocks: &[Stock],
        rules: &Rules,
        demand: &Demand,
        loads: Vec<Load>,
        left: Vec<u32>,
    ) -> Self {
        let mut cost = [0; 3];
        for (stock, load) in stocks.iter().zip(&loads).filter(|(_, load)| !load.is_empty()) {
            cost = add(cost, rules.cost(stock, stock.room - load_length(&demand.lengths, load)));
        }
        let lack = demand.lack(&left);
        Self { loads, left, lack, cost }
    }

    /// What to compare: the smaller is better.
    pub(super) fn key(&self) -> (i64, Cost) {
        (self.lack, self.cost)
    }

    /// Cost that the same coils would have if no tail were scrap: what a search may hope for.
    pub(super) fn hope(&self, stocks: &[Stock], rules: &Rules) -> (bool, Cost) {
        let used = stocks.iter().zip(&self.loads).filter(|(_, load)| !load.is_empty());
        let hope = used.fold([0; 3], |sum, (stock, _)| add(sum, rules.cost(stock, rules.keep_from)));
        (self.lack > 0, hope)
    }
}

/// In which order coils are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Choice {
    /// Those that are mounted, then the longest: fewest coils.
    Longest,
    /// Mounted, then opened, longest first, then sealed, longest first.
    OpenedLongest,
    /// Mounted, then opened, shortest first, then sealed, longest first: uses up remnants.
    OpenedShortest,
    /// Sealed ones first, the oldest before the younger: fewest mountings when whole coils are ample.
    Sealed,
}

const CHOICES: [Choice; 4] = [Choice::Longest, Choice::OpenedLongest, Choice::OpenedShortest, Choice::Sealed];

fn order_of(stocks: &[Stock], choice: Choice) -> Vec<usize> {
    let mut order: Vec<usize> = (0..stocks.len()).collect();
    order.sort_by_key(|i| {
        let s = &stocks[*i];
        let by_size = match choice {
            Choice::Longest => (false, Reverse(s.room)),
            Choice::OpenedLongest => (s.sealed, Reverse(s.room)),
            Choice::OpenedShortest => (s.sealed, Reverse(if s.sealed { s.room } else { -s.room })),
            Choice::Sealed => (!s.sealed, Reverse(if s.sealed { 0 } else { s.room })),
        };
        (s.mounts, by_size, s.rank, *i)
    });
    order
}

/// All constructions, the best first. There is at least one.
pub(super) fn construct(stocks: &[Stock], demand: &Demand, rules: &Rules, seed: u64) -> Vec<Packing> {
    let filler = Filler::new(&demand.lengths, rules);
    let mut packings = Vec::new();
    let mut seen: Vec<Vec<usize>> = Vec::new();
    for choice in CHOICES {
        let order = order_of(stocks, choice);
        if seen.contains(&order) {
            continue;
        }
        for longest_first in [false, true] {
            packings.push(fill_in_order(stocks, demand, rules, &filler, &order, longest_first, seed));
        }
        packings.push(best_fit_decreasing(stocks, demand, rules, &order));
        seen.push(order);
    }
    packings.sort_by_key(Packing::key);
    packings
}

/// Fills coil after coil exactly. The first coils of the order that hold everything are filled shortest first, so that what
/// stays unused is together on a long one; then the order is gone on with if blocks are left.
fn fill_in_order(
    stocks: &[Stock],
    demand: &Demand,
    rules: &Rules,
    filler: &Filler<'_>,
    order: &[usize],
    longest_first: bool,
    seed: u64,
) -> Packing {
    let mut random = Random::new(seed);
    let mut counts = demand.counts.clone();
    let mut loads = vec![Load::new(); stocks.len()];
    let mut needed = demand.total();
    let enough = order.iter().position(|i| {
        needed -= stocks[*i].room;
        needed <= 0
    });
    let (planned, others) = order.split_at(enough.map_or(order.len(), |last| last + 1));
    let mut planned = planned.to_vec();
    planned.sort_by_key(|i| (if longest_first { -stocks[*i].room } else { stocks[*i].room }, *i));
    let mut spare = (-needed).max(0);
    let mut left: u64 = counts.iter().map(|c| u64::from(*c)).sum();
    for i in planned.into_iter().chain(others.iter().copied()) {
        if left == 0 {
            break;
        }
        let (load, waste) = filler.fill(Gap::of(&stocks[i]), &mut counts, spare, &mut random);
        if !load.is_empty() {
            spare -= waste;
        }
        left -= load.iter().map(|(_, count)| u64::from(*count)).sum::<u64>();
        loads[i] = load;
    }
    Packing::new(stocks, rules, demand, loads, counts)
}

/// Longest blocks first, each into the used coil that it fills best, else into the next of the order.
fn best_fit_decreasing(stocks: &[Stock], demand: &Demand, rules: &Rules, order: &[usize]) -> Packing {
    let mut loads = vec![Load::new(); stocks.len()];
    let mut left = demand.counts.clone();
    let mut next = 0;
    // Unused room of used coils, with their numbers.
    let mut open = std::collections::BTreeSet::new();
    for (kind, length) in demand.lengths.iter().enumerate() {
        while left[kind] > 0 {
            let fits = open.range((*length, 0)..).next().copied();
            let (room, i) = match fits {
                Some(fit) => {
                    open.remove(&fit);
                    fit
                }
                None => {
                    let Some(i) = order[next..].iter().position(|i| stocks[*i].room >= *length) else {
                        break;
                    };
                    // Coils that are passed over are still good for shorter blocks.
                    for skipped in &order[next..next + i] {
                        open.insert((stocks[*skipped].room, *skipped));
                    }
                    next += i + 1;
                    let i = order[next - 1];
                    (stocks[i].room, i)
                }
            };
            left[kind] -= 1;
            match loads[i].last_mut() {
                Some((k, count)) if *k == kind => *count += 1,
                _ => loads[i].push((kind, 1)),
            }
            open.insert((room - length, i));
        }
    }
    Packing::new(stocks, rules, demand, loads, left)
}
