//! Column generation: a linear program over ways to cut each coil, then diving to whole numbers.
//!
//! # Source
//!
//! P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem", Operations Research 9 (1961);
//! coils of different length with a row each as in the second part, 11 (1963).

mod master;
mod price;

use std::collections::BTreeMap;

use self::master::{Column, Master};
use self::price::{Offer, Table};
use super::core::{Cost, Demand, Load, Rules, Stock, load_length};
use super::fill::{as_index, as_length, gcd};
use super::pack::Packing;

/// Cells of the dynamic program over one coil, at most, if sums are exact.
const MOST_CELLS: i64 = 32_768;
/// Cell for finer lengths, which are rounded up to whole cells, if there are not too many.
const MILLIMETRE: i64 = 1000;
/// Cells otherwise.
const COARSE_CELLS: i64 = 8_192;
/// Different lengths up to which the program is small enough.
pub(super) const MOST_KINDS: usize = 320;
/// Share of the best prices so far in the prices that ways to cut are looked for with.
const SMOOTH: f64 = 0.85;
/// By how much the range of a price that lies at its end is widened.
const WIDER: f64 = 4.0;
/// Steps of arithmetic in the pivots of one solution, at most: programs in which many ways to cut are equal go in circles.
const MOST_WORK: u64 = 2_000_000_000;
/// Steps of arithmetic of one dive, at most.
const MOST_BELOW: u64 = 1_000_000_000;
/// Price of a block that is not cut, in the unit of the cost.
const UNCUT: f64 = 1e6;
/// Ways to cut that are kept from one solution for the next, at most.
const MOST_IN_POOL: usize = 1500;
/// Rounds of pricing in one solution, at most.
const MOST_ROUNDS: usize = 400;
/// The same where the prices of a program like it are known.
const ROUNDS_BELOW: usize = 120;

/// The cost levels as one number: good enough to guide; what counts is compared level by level afterwards.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights([f64; 3]);

impl Weights {
    /// Each level counts a hundredth of the one before; scrap is in mm.
    pub(super) fn new(rules: &Rules) -> Self {
        let mut weights = [1.0, 0.01, 0.0001];
        weights[rules.scrap_slot().min(2)] /= 1000.0;
        Self(weights)
    }

    pub(super) fn scalar(&self, rules: &Rules, stock: &Stock, waste: i64) -> f64 {
        self.of(&rules.cost(stock, waste))
    }

    /// A cost as one number.
    pub(super) fn of(&self, cost: &Cost) -> f64 {
        self.0.iter().zip(cost).map(|(weight, value)| weight * as_float(*value)).sum()
    }

    /// The weights as whole numbers, the least of them `parts`; and by what a price is to be multiplied to go with them.
    pub(super) fn whole(&self, parts: i64) -> ([i64; 3], f64) {
        let least = self.0.iter().copied().fold(f64::MAX, f64::min);
        let per_part = as_float(parts) / least;
        #[expect(clippy::cast_possible_truncation, reason = "weights are between 1e-7 and 1")]
        let weights = self.0.map(|weight| parts * (weight / least).round() as i64);
        (weights, per_part)
    }

    /// What a µm of scrap costs.
    pub(super) fn per_um(&self, rules: &Rules) -> f64 {
        self.0[rules.scrap_slot().min(2)]
    }
}

#[expect(clippy::cast_precision_loss, reason = "lengths are below 2^53 µm by the limits of a problem")]
fn as_float(value: i64) -> f64 {
    value as f64
}

/// A way to cut one coil.
#[derive(Debug, Clone)]
struct Pattern {
    class: usize,
    load: Load,
    cost: f64,
}

/// The state of a dive.
pub(super) struct Dive<'a> {
    stocks: &'a [Stock],
    demand: &'a Demand,
    rules: &'a Rules,
    weights: Weights,
    cell: i64,
    /// Lengths in cells.
    cells: Vec<usize>,
    /// Coils that are alike, and of these the ones not yet cut.
    classes: Vec<Vec<usize>>,
    /// One coil of each class, for its room and cost.
    model: Vec<Stock>,
    counts: Vec<u32>,
    /// Price of a block of each length that is not cut, in the unit of the cost.
    uncut: Vec<f64>,
    pool: Vec<Pattern>,
    loads: Vec<Load>,
    table: Table,
    /// Price of a block of each length at the last solution.
    last_prices: Vec<f64>,
    is_expecting: bool,
    /// Something was fixed since the last solution.
    has_fixed: bool,
    /// Steps of arithmetic so far, about: a measure of time that is the same on every machine.
    pub(super) work: u64,
}

/// The program of everything, solved.
pub(super) struct Root {
    solution: Solution,
    pool: Vec<Pattern>,
    /// Price of a block of each length.
    pub(super) prices: Vec<f64>,
    /// Not everything can be cut, whatever it costs.
    pub(super) is_impossible: bool,
}

/// A solved program: how often each way to cut is taken, and what everything costs at least.
struct Solution {
    taken: Vec<(f64, Pattern)>,
    bound: f64,
}

/// How to dive.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way {
    /// Percentage of the ways to cut taken in part that is fixed at a time; at least one is.
    pub(super) haste: usize,
    /// Depth at which the most obvious way to cut is passed over.
    pub(super) skip: Option<usize>,
}

impl<'a> Dive<'a> {
    /// Begins with the ways to cut of some packings.
    pub(super) fn new(stocks: &'a [Stock], demand: &'a Demand, rules: &'a Rules, starts: &[&[Load]]) -> Self {
        let longest = stocks.iter().map(|s| s.room).max().unwrap_or(0);
        let unit = demand.lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
        let cell = match longest {
            _ if longest / unit <= MOST_CELLS => unit,
            _ if longest / MILLIMETRE <= MOST_CELLS => MILLIMETRE,
            _ => div_ceil(longest, COARSE_CELLS),
        };
        let mut numbers = BTreeMap::new();
        let mut classes: Vec<Vec<usize>> = Vec::new();
        let mut model = Vec::new();
        let mut class_of = Vec::new();
        for (i, stock) in stocks.iter().enumerate() {
            let class =
                *numbers.entry((stock.room, stock.margin, stock.mounts, stock.sealed)).or_insert_with(|| {
                    classes.push(Vec::new());
                    model.push(*stock);
                    classes.len() - 1
                });
            classes[class].push(i);
            class_of.push(class);
        }
        // The first of those that are alike is taken first.
        for class in &mut classes {
            class.reverse();
        }
        let mut dive = Self {
            stocks,
            demand,
            rules,
            weights: Weights::new(rules),
            cell,
            cells: demand.lengths.iter().map(|l| as_index(div_ceil(*l, cell))).collect(),
            classes,
            model,
            counts: demand.counts.clone(),
            uncut: vec![UNCUT; demand.lengths.len()],
            pool: Vec::new(),
            loads: vec![Load::new(); stocks.len()],
            table: Table::default(),
            last_prices: vec![0.0; demand.lengths.len()],
            is_expecting: false,
            has_fixed: false,
            work: 0,
        };
        let loads = starts.iter().flat_map(|start| start.iter().enumerate());
        dive.pool = loads
            .filter(|(_, load)| !load.is_empty())
            .map(|(stock, load)| dive.pattern(class_of[stock], load.clone()))
            .collect();
        dive
    }

    /// Lets blocks of each length stay uncut at these prices; nothing else costs anything if `is_free`.
    pub(super) fn leaving(mut self, uncut: Vec<f64>, is_free: bool) -> Self {
        self.uncut = uncut;
        if is_free {
            self.weights = Weights([0.0; 3]);
        }
        self
    }

    /// Expects prices near these, by kind, in the unit of the cost.
    pub(super) fn expecting(mut self, prices: Vec<f64>) -> Self {
        self.last_prices = prices;
        self.is_expecting = true;
        self
    }

    /// Solves the linear program of everything.
    pub(super) fn root(&mut self, stop: &dyn Fn() -> bool) -> Root {
        let solution = self.solve(stop);
        let mut pool = Vec::new();
        std::mem::swap(&mut pool, &mut self.pool);
        let most_of = |stock: &Stock| {
            let waste = (self.rules.keep_from - stock.margin - 1).clamp(0, stock.room.max(0));
            self.weights.scalar(self.rules, stock, waste)
        };
        let most: f64 = self.stocks.iter().map(most_of).sum();
        // A bound from lengths that were rounded up proves nothing.
        let is_exact = self.demand.lengths.iter().all(|length| length % self.cell == 0);
        let is_impossible = is_exact && solution.bound > most * 1.001 + 1.0;
        Root { solution, pool, prices: self.last_prices.clone(), is_impossible }
    }

    /// Fixes the ways to cut that the program takes nearly whole, solves the rest, and so on until all is cut or nothing helps.
    /// `None` if it becomes clear that everything will cost more than `cutoff`.
    pub(super) fn descend(
        &mut self,
        root: &Root,
        way: Way,
        cutoff: f64,
        stop: &dyn Fn() -> bool,
    ) -> Option<Packing> {
        let counts = self.counts.clone();
        let classes = self.classes.clone();
        self.pool = root.pool.clone();
        self.last_prices.clone_from(&root.prices);
        let mut taken = root.solution.taken.clone();
        let mut spent = 0.0;
        let mut dead = root.solution.bound > cutoff;
        let mut depth = 0;
        let most = self.work + MOST_BELOW;
        while !dead && !stop() {
            let fixed = self.fix_some(&mut taken, way, depth);
            spent += fixed;
            depth += 1;
            let lacks = self.counts.iter().any(|count| *count > 0);
            if fixed == 0.0 && !std::mem::take(&mut self.has_fixed) || !lacks || self.free() == 0 {
                break;
            }
            self.has_fixed = false;
            self.forget_impossible();
            let solution = self.solve(stop);
            dead = spent + solution.bound > cutoff || self.work > most;
            taken = solution.taken;
        }
        let left = std::mem::replace(&mut self.counts, counts);
        self.classes = classes;
        let loads = std::mem::replace(&mut self.loads, vec![Load::new(); self.stocks.len()]);
        (!dead).then(|| Packing::new(self.stocks, self.rules, self.demand, loads, left))
    }

    /// Fixes what is taken whole, and some of what is taken in part; returns the cost of it.
    fn fix_some(&mut self, taken: &mut [(f64, Pattern)], way: Way, depth: usize) -> f64 {
        taken.sort_by(|a, b| b.0.fract().total_cmp(&a.0.fract()).then(a.1.class.cmp(&b.1.class)));
        let is_whole = |value: f64| value.fract() <= 1e-6 || value.fract() >= 0.999;
        let parts = taken.iter().filter(|(value, _)| !is_whole(*value)).count();
        let quota = (parts * way.haste / 100).max(1);
        let mut spent = 0.0;
        for (value, pattern) in taken.iter() {
            let mut value = *value;
            while value > 0.999 && self.fix(pattern) {
                spent += pattern.cost;
                value -= 1.0;
            }
        }
        let skip = usize::from(way.skip == Some(depth) && parts > 1);
        let in_part = taken.iter().filter(|(value, _)| !is_whole(*value) && value.fract() > 0.05).skip(skip);
        let mut rounded = 0;
        for (_, pattern) in in_part {
            if rounded < quota && self.fix(pattern) {
                spent += pattern.cost;
                rounded += 1;
            }
        }
        spent
    }

    /// Coils that are not cut yet.
    fn free(&self) -> usize {
        self.classes.iter().map(Vec::len).sum()
    }

    /// Whether enough blocks and a coil are left for a pattern.
    fn is_possible(&self, pattern: &Pattern) -> bool {
        !self.classes[pattern.class].is_empty()
            && pattern.load.iter().all(|(kind, count)| self.counts[*kind] >= *count)
    }

    fn fix(&mut self, pattern: &Pattern) -> bool {
        if !self.is_possible(pattern) {
            return false;
        }
        for (kind, count) in &pattern.load {
            self.counts[*kind] -= count;
        }
        if let Some(stock) = self.classes[pattern.class].pop() {
            self.loads[stock] = pattern.load.clone();
        }
        self.has_fixed = true;
        true
    }

    fn forget_impossible(&mut self) {
        let mut pool = std::mem::take(&mut self.pool);
        pool.retain(|pattern| self.is_possible(pattern));
        self.pool = pool;
    }

    /// For each coil what its best way to cut saves at these prices.
    pub(super) fn savings(&mut self, prices: &[f64]) -> Vec<f64> {
        let frame = Frame::new(self);
        self.fill_table(&frame, prices);
        let mut savings = vec![0.0; self.stocks.len()];
        for (class, stocks) in self.classes.iter().enumerate() {
            let (saving, _) = self.table.best(&self.model[class], self.cell, self.rules, &self.weights);
            for stock in stocks {
                savings[*stock] = f64::max(saving, 0.0);
            }
        }
        savings
    }

    /// What a load saves at these prices: less than the best way to cut its coil by as much as it is to blame for.
    pub(super) fn saving_of(&self, stock: usize, load: &Load, prices: &[f64]) -> f64 {
        let waste = self.stocks[stock].room - load_length(&self.demand.lengths, load);
        let worth: f64 = load.iter().map(|(kind, count)| prices[*kind] * f64::from(*count)).sum();
        worth - self.weights.scalar(self.rules, &self.stocks[stock], waste)
    }

    fn pattern(&self, class: usize, load: Load) -> Pattern {
        let stock = &self.model[class];
        let waste = stock.room - load_length(&self.demand.lengths, &load);
        Pattern { class, cost: self.weights.scalar(self.rules, stock, waste), load }
    }

    /// Solves the linear program of what is left by generating columns; returns the ways to cut with their values.
    fn solve(&mut self, stop: &dyn Fn() -> bool) -> Solution {
        let frame = Frame::new(self);
        let rhs = frame.kinds.iter().map(|kind| f64::from(self.counts[*kind])).collect();
        let sizes = frame.open.iter().map(|class| as_float(as_length(self.classes[*class].len()))).collect();
        let uncut: Vec<f64> = frame.kinds.iter().map(|kind| self.uncut[*kind]).collect();
        let mut master = Master::new(rhs, &uncut, sizes);
        let first = frame.open.len() + 2 * frame.kinds.len();
        let mut patterns = std::mem::take(&mut self.pool);
        let mut fresh: Vec<usize> =
            patterns.iter().map(|pattern| master.add(frame.column(pattern))).collect();
        let mut centre = self.begin(&frame, &master);
        let mut spread = centre.spread();
        master.set_box(&centre.prices, &spread, &uncut);
        let rounds = if self.is_expecting { ROUNDS_BELOW } else { MOST_ROUNDS };
        for _ in 0..rounds {
            master.optimise(&fresh, 2_000 + 4 * frame.kinds.len(), stop);
            fresh = master.saving_slacks();
            let found = self.price_smoothly(&frame, &master, &mut centre);
            let objective = master.objective();
            let near = objective - centre.bound < f64::max(1e-5, 1e-7 * objective);
            if stop() || master.work() > MOST_WORK {
                break;
            }
            if near || found.is_empty() && fresh.is_empty() {
                let held = master.held(&uncut);
                if held.is_empty() {
                    break;
                }
                for row in held {
                    spread[row] *= WIDER;
                }
                let prices = master.duals().to_vec();
                master.set_box(&prices, &spread, &uncut);
            }
            for pattern in found {
                fresh.push(master.add(frame.column(&pattern)));
                patterns.push(pattern);
            }
        }
        self.is_expecting = true;
        self.work += master.work();
        for (kind, price) in frame.kinds.iter().zip(&centre.prices) {
            self.last_prices[*kind] = *price;
        }
        let taken: Vec<(f64, Pattern)> = master
            .basic_values()
            .filter(|(_, value)| *value > 1e-6)
            .map(|(column, value)| (value, patterns[column - first].clone()))
            .collect();
        let near = master.near(MOST_IN_POOL);
        self.pool = near.into_iter().map(|column| patterns[column - first].clone()).collect();
        Solution { taken, bound: centre.bound }
    }

    /// Ways to cut that save something, priced between the best prices known and those of the program: the latter alone jump
    /// about. Nothing is found only if there is nothing.
    fn price_smoothly(&mut self, frame: &Frame, master: &Master, centre: &mut Centre) -> Vec<Pattern> {
        let of_program = master.duals().to_vec();
        for trial in 0.. {
            let share = if trial < 4 { (1.0 - f64::from(trial + 1) * (1.0 - SMOOTH)).max(0.0) } else { 0.0 };
            let blend = |(best, own): (&f64, &f64)| share * best + (1.0 - share) * own;
            let prices: Vec<f64> = centre.prices.iter().zip(&of_program).map(blend).collect();
            let (found, bound) = self.price(frame, master, &prices);
            if bound > centre.bound {
                centre.bound = bound;
                centre.prices = prices;
            }
            if !found.is_empty() || share == 0.0 {
                return found;
            }
        }
        Vec::new()
    }

    /// The first prices: those of the last solution, or by length, at the rate of which the bound is best.
    fn begin(&mut self, frame: &Frame, master: &Master) -> Centre {
        let longest = self.demand.lengths.first().map_or(1.0, |longest| as_float(*longest));
        let trial = |rate: f64| -> Vec<f64> {
            let of = |kind: &usize| rate * as_float(self.demand.lengths[*kind]) / longest;
            frame.kinds.iter().map(|kind| of(kind).min(self.uncut[*kind])).collect()
        };
        let mut trials: Vec<Vec<f64>> = Vec::new();
        if !self.is_expecting {
            trials.extend([0.0001, 0.01, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0].map(trial));
        } else {
            trials.push(frame.kinds.iter().map(|kind| self.last_prices[*kind]).collect());
        }
        let mut centre = Centre { prices: vec![0.0; frame.kinds.len()], bound: 0.0 };
        for prices in trials {
            let (_, bound) = self.price(frame, master, &prices);
            if bound > centre.bound {
                centre = Centre { prices, bound };
            }
        }
        centre
    }

    /// Computes the values of all sums at prices by row; returns what all blocks bring.
    fn fill_table(&mut self, frame: &Frame, prices: &[f64]) -> f64 {
        let longest = frame.open.iter().map(|class| self.model[*class].room).max().unwrap_or(0);
        let mut all = 0.0;
        let mut offers = Vec::with_capacity(prices.len());
        for (kind, price) in frame.kinds.iter().zip(prices) {
            let count = self.counts[*kind];
            all += price * f64::from(count);
            offers.push(Offer { kind: *kind, cells: self.cells[*kind], count, price: *price });
        }
        let per_cell = self.weights.per_um(self.rules) * as_float(self.cell);
        self.table.fill(as_index(longest / self.cell), &offers, per_cell);
        self.work += self.table.work() + 100 * frame.open.len() as u64;
        all
    }

    /// For each class of coils that is not used up the way to cut that saves most at these prices, if it saves anything at those
    /// of the program; and the bound on the cost that the prices give.
    fn price(&mut self, frame: &Frame, master: &Master, prices: &[f64]) -> (Vec<Pattern>, f64) {
        let mut bound = self.fill_table(frame, prices);
        let mut found = Vec::new();
        for (set, class) in frame.open.iter().enumerate() {
            let (saving, sum) = self.table.best(&self.model[*class], self.cell, self.rules, &self.weights);
            if saving <= 0.0 {
                continue;
            }
            bound -= saving * as_float(as_length(self.classes[*class].len()));
            let pattern = self.pattern(*class, self.table.load(sum));
            let worth: f64 = pattern
                .load
                .iter()
                .map(|(kind, count)| master.duals()[frame.row_of_kind[*kind]] * f64::from(*count))
                .sum();
            let saving = worth - pattern.cost + master.price_of_set(set);
            if saving > 1e-6 {
                found.push((saving, pattern));
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.class.cmp(&b.1.class)));
        found.truncate((3 * frame.kinds.len()).max(frame.open.len() / 8));
        (found.into_iter().map(|(_, pattern)| pattern).collect(), bound)
    }
}

/// The best prices so far, and the bound that they give.
#[derive(Debug)]
struct Centre {
    prices: Vec<f64>,
    bound: f64,
}

impl Centre {
    /// How far prices may go from here at first.
    fn spread(&self) -> Vec<f64> {
        let mean = self.prices.iter().sum::<f64>() / f64::max(as_float(as_length(self.prices.len())), 1.0);
        self.prices.iter().map(|price| f64::max(0.1 * (price + mean), 1e-6)).collect()
    }
}

/// Which rows and sets of the program stand for which kinds and classes.
struct Frame {
    /// Kinds that are left, by row.
    kinds: Vec<usize>,
    /// Classes that are left, by set.
    open: Vec<usize>,
    row_of_kind: Vec<usize>,
    set_of_class: Vec<usize>,
}

impl Frame {
    fn new(dive: &Dive<'_>) -> Self {
        let kinds: Vec<usize> = (0..dive.counts.len()).filter(|k| dive.counts[*k] > 0).collect();
        let open: Vec<usize> = (0..dive.classes.len()).filter(|c| !dive.classes[*c].is_empty()).collect();
        Self {
            row_of_kind: places(&kinds, dive.counts.len()),
            set_of_class: places(&open, dive.classes.len()),
            kinds,
            open,
        }
    }

    fn column(&self, pattern: &Pattern) -> Column {
        let entries = pattern.load.iter().map(|(kind, count)| (self.row_of_kind[*kind], f64::from(*count)));
        Column { set: self.set_of_class[pattern.class], cost: pattern.cost, entries: entries.collect() }
    }
}

/// At which place of a list each number up to `count` stands; an impossible place if it does not.
fn places(list: &[usize], count: usize) -> Vec<usize> {
    let mut places = vec![usize::MAX; count];
    for (place, number) in list.iter().enumerate() {
        places[*number] = place;
    }
    places
}

/// Division upward of lengths.
fn div_ceil(length: i64, by: i64) -> i64 {
    length.div_euclid(by) + i64::from(length.rem_euclid(by) > 0)
}
