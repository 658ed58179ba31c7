//! Emptying a few coils and filling them anew, again and again.

use super::core::{Cost, Demand, Load, Rules, Stock, add, load_length};
use super::fill::{Filler, Gap, as_length};
use super::pack::Packing;
use super::random::Random;

/// Coils that are emptied at a time, at most.
const MOST_COILS: usize = 7;
/// Coils that are few, and how many coils' rounds they get in addition.
const FEW_COILS: usize = 60;
const MORE_ROUNDS: i64 = 300;
/// Kinds of blocks without a place of which all are offered in a round; of more, at most so many blocks.
const MOST_OFFERED: usize = 3;
/// Rounds without a gain after which a search ends, for each coil in use and besides.
const PATIENCE_PER_COIL: u64 = 150;
const PATIENCE: u64 = 3_000;
/// By how much a round costs more with lengths so fine that sums are searched for pair by pair.
const FINE_COSTS: u64 = 10;

/// The search: one packing that is never made worse.
///
/// Equal cost is decided by how unevenly the unused room is spread: the square sum of unused rooms shall grow, so that at
/// last one coil has it all, as a tail worth keeping or a coil not needed. (The load-square criterion is that of local
/// search for bin packing: K. Fleszar, K. S. Hindi, Computers & Operations Research 29 (2002), from memory.)
#[derive(Debug)]
pub(super) struct Search<'a> {
    stocks: &'a [Stock],
    demand: &'a Demand,
    rules: &'a Rules,
    filler: Filler<'a>,
    loads: Vec<Load>,
    waste: Vec<i64>,
    left: Vec<u32>,
    cost: Cost,
    /// Coils in use, and those not in use.
    used: Vec<usize>,
    idle: Vec<usize>,
    /// Coils whose tail is scrap, and perhaps some whose tail no longer is.
    bad: Vec<usize>,
    random: Random,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        stocks: &'a [Stock],
        demand: &'a Demand,
        rules: &'a Rules,
        start: Packing,
        seed: u64,
    ) -> Self {
        let waste = stocks.iter().zip(&start.loads).map(|(s, l)| s.room - load_length(&demand.lengths, l));
        let (idle, used): (Vec<usize>, Vec<usize>) =
            (0..stocks.len()).partition(|i| start.loads[*i].is_empty());
        let waste: Vec<i64> = waste.collect();
        let bad =
            used.iter().copied().filter(|i| rules.tail_scrap(stocks[*i].margin, waste[*i]) > 0).collect();
        Self {
            bad,
            stocks,
            demand,
            rules,
            filler: Filler::new(&demand.lengths, rules),
            waste,
            loads: start.loads,
            left: start.left,
            cost: start.cost,
            used,
            idle,
            random: Random::new(seed),
        }
    }

    /// Goes on until the cost is `target` and nothing is left, or for `rounds`, or until `stop`; or until nothing was better for
    /// so long that there is little hope.
    pub(super) fn run(mut self, rounds: u64, target: Cost, stop: &dyn Fn() -> bool) -> Packing {
        let mut short = self.left.iter().any(|count| *count > 0);
        let rounds = if self.filler.is_fine() { rounds / FINE_COSTS } else { rounds };
        let coils = self.used.len() as u64;
        let patience = (coils * PATIENCE_PER_COIL + PATIENCE).min(rounds / 4);
        let (mut hopeful, mut in_vain) = (true, 0);
        for round in 0..rounds {
            if !short && self.cost <= target || self.used.is_empty() || round % 16 == 0 && stop() {
                break;
            }
            hopeful &= round < rounds / 4 * 3;
            in_vain = if self.round(hopeful) { 0 } else { in_vain + 1 };
            if in_vain > patience {
                if !hopeful {
                    break;
                }
                (hopeful, in_vain) = (false, 0);
            }
            if short {
                short = self.left.iter().any(|count| *count > 0);
            }
        }
        Packing::new(self.stocks, self.rules, self.demand, self.loads, self.left)
    }

    /// Coils to empty: one with a bad tail if a few looks find it, some at random, perhaps an idle one.
    fn choose(&mut self) -> Vec<usize> {
        let mut chosen = Vec::new();
        let size = 2 + self.random.below(MOST_COILS - 1);
        while !self.bad.is_empty() && self.random.below(8) > 0 {
            let at = self.random.below(self.bad.len());
            let i = self.bad[at];
            if !self.loads[i].is_empty() && self.is_bad(i) {
                if !chosen.contains(&i) {
                    chosen.push(i);
                }
                if chosen.len() == size || self.random.below(2) == 0 {
                    break;
                }
            } else {
                self.bad.swap_remove(at);
            }
        }
        while chosen.len() < size.min(self.used.len()) {
            let i = self.used[self.random.below(self.used.len())];
            if !chosen.contains(&i) {
                chosen.push(i);
            }
        }
        if !self.idle.is_empty() && self.random.below(3) == 0 {
            chosen.push(self.idle[self.random.below(self.idle.len())]);
        }
        chosen
    }

    /// Blocks that are left and may be placed in this round: all if they are few, else a few, since many would drive out those
    /// that have a place.
    fn offer(&mut self) -> Load {
        let kinds = self.left.iter().copied().enumerate().filter(|(_, count)| *count > 0);
        let mut offer: Load = kinds.collect();
        if offer.len() > MOST_OFFERED {
            let count = self.random.below(MOST_OFFERED + 1);
            self.random.shuffle(&mut offer);
            offer.truncate(count);
            offer.iter_mut().for_each(|(_, count)| *count = 1);
        }
        offer
    }

    /// Empties some coils and fills them anew; keeps that if it is not worse, and says whether it is better.
    fn round(&mut self, hopeful: bool) -> bool {
        let chosen = self.choose();
        let mut pool: Vec<(usize, u32)> =
            chosen.iter().flat_map(|i| self.loads[*i].iter().copied()).collect();
        let offered = self.offer();
        pool.extend(&offered);
        pool.sort_unstable();
        pool.dedup_by(|b, a| {
            let same = a.0 == b.0;
            if same {
                a.1 += b.1;
            }
            same
        });
        let kinds: Vec<usize> = pool.iter().map(|(kind, _)| *kind).collect();
        let lengths: Vec<i64> = kinds.iter().map(|kind| self.demand.lengths[*kind]).collect();
        let mut counts: Vec<u32> = pool.iter().map(|(_, count)| *count).collect();
        let worth = |(kind, count): (&usize, &u32)| self.demand.worths[*kind] * i64::from(*count);
        let old_left: i64 = offered.iter().map(|(kind, count)| worth((kind, count))).sum();
        let before = self.key_of(chosen.iter().map(|i| (*i, self.waste[*i], self.loads[*i].is_empty())));

        let mut order = chosen;
        self.random.shuffle(&mut order);
        if self.random.below(2) == 0 {
            order.sort_by_key(|i| self.stocks[*i].room);
        }
        let rooms: i64 = order.iter().map(|i| self.stocks[*i].room).sum();
        let pooled: i64 = lengths.iter().zip(&counts).map(|(l, c)| l * i64::from(*c)).sum();
        let mut spare = rooms - pooled;
        let filler = self.filler.for_some(&lengths);
        let mut filled = Vec::with_capacity(order.len());
        for i in order {
            // Some coils are begun with blocks at random: exact filling alone would always find the same sums.
            let (load, waste) =
                fill_with_start(&filler, &lengths, &self.stocks[i], &mut counts, spare, &mut self.random);
            if !load.is_empty() {
                spare -= waste;
            }
            filled.push((i, load, waste));
        }
        let new_left: i64 = kinds.iter().zip(&counts).map(worth).sum();
        let after = self.key_of(filled.iter().map(|(i, load, waste)| (*i, *waste, load.is_empty())));
        let order = (new_left, after.compare(hopeful)).cmp(&(old_left, before.compare(hopeful)));
        if order.is_gt() {
            return false;
        }
        for (kind, count) in offered {
            self.left[kind] -= count;
        }
        for (kind, count) in kinds.iter().zip(&counts) {
            self.left[*kind] += *count;
        }
        for slot in 0..3 {
            self.cost[slot] += after.cost[slot] - before.cost[slot];
        }
        for (i, load, waste) in filled {
            let was = !self.loads[i].is_empty();
            self.loads[i] = load.into_iter().map(|(at, count)| (kinds[at], count)).collect();
            self.waste[i] = waste;
            if self.is_bad(i) {
                self.bad.push(i);
            }
            let now = !self.loads[i].is_empty();
            if was != now {
                let (from, to) =
                    if now { (&mut self.idle, &mut self.used) } else { (&mut self.used, &mut self.idle) };
                from.retain(|other| *other != i);
                to.push(i);
            }
        }
        order.is_lt()
    }

    /// Whether the tail of a coil in use is scrap.
    fn is_bad(&self, i: usize) -> bool {
        self.rules.tail_scrap(self.stocks[i].margin, self.waste[i]) > 0
    }

    fn key_of(&self, coils: impl Iterator<Item = (usize, i64, bool)>) -> Key {
        let mut key = Key::default();
        for (i, waste, empty) in coils {
            if !empty {
                key.cost = add(key.cost, self.rules.cost(&self.stocks[i], waste));
                key.hope = add(key.hope, self.rules.cost(&self.stocks[i], self.rules.keep_from));
                key.even -= i128::from(waste) * i128::from(waste);
            }
        }
        key
    }
}

/// What some coils come to.
#[derive(Debug, Clone, Copy, Default)]
struct Key {
    cost: Cost,
    /// Cost if no tail were scrap.
    hope: Cost,
    /// How evenly unused room is spread: less is better.
    even: i128,
}

impl Key {
    /// What to compare. While the search is hopeful it takes no coil more to save scrap at tails.
    fn compare(&self, hopeful: bool) -> (Cost, Cost, i128) {
        (if hopeful { self.hope } else { [0; 3] }, self.cost, self.even)
    }
}

/// Fills a coil, half the time with up to two blocks at random for a start.
fn fill_with_start(
    filler: &Filler<'_>,
    lengths: &[i64],
    stock: &Stock,
    counts: &mut [u32],
    spare: i64,
    random: &mut Random,
) -> (Load, i64) {
    let mut start = Load::new();
    let mut rest = stock.room;
    for _ in 0..random.below(3) {
        let kind = random.below(lengths.len());
        if lengths.get(kind).is_some_and(|length| *length <= rest) && counts[kind] > 0 {
            counts[kind] -= 1;
            rest -= lengths[kind];
            match start.iter_mut().find(|(k, _)| *k == kind) {
                Some((_, count)) => *count += 1,
                None => start.push((kind, 1)),
            }
        }
    }
    let (load, waste) = filler.fill(Gap { room: rest, margin: stock.margin }, counts, spare, random);
    for (kind, count) in load {
        match start.iter_mut().find(|(k, _)| *k == kind) {
            Some((_, have)) => *have += count,
            None => start.push((kind, count)),
        }
    }
    (start, waste)
}

/// Rounds that a search of so many coils deserves. A round on few coils costs little, so there are some more of them;
/// few blocks are soon tried out.
pub(super) fn rounds_for(effort: u32, coils: usize, blocks: usize) -> u64 {
    let coils = as_length(coils).saturating_add(if coils <= FEW_COILS { MORE_ROUNDS } else { 20 });
    let most = as_length(blocks).saturating_mul(as_length(blocks));
    u64::try_from(coils.min(most).saturating_mul(i64::from(effort))).unwrap_or(u64::MAX)
}
