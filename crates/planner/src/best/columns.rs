//! Column generation: a linear program over ways to cut each coil, then diving to whole numbers.
//!
//! # Source
//!
//! P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem", Operations Research 9 (1961);
//! coils of different length with a row each as in the second part, 11 (1963).

use std::collections::BTreeMap;

use super::core::{Demand, Load, Rules, Stock, load_length};
use super::fill::{as_index, as_length, gcd};
use super::pack::Packing;
use super::simplex::{Column, Master};

/// Cells of the dynamic program over one coil, at most; finer lengths are rounded up to whole cells.
const MOST_CELLS: i64 = 8192;
/// Different lengths and coils up to which the program is small enough.
pub(super) const MOST_KINDS: usize = 250;
pub(super) const MOST_COILS: usize = 320;
/// Price of a block that is not cut, in the unit of the cost.
const UNCUT: f64 = 1e6;

/// A way to cut one coil.
#[derive(Debug, Clone)]
struct Pattern {
    class: usize,
    load: Load,
}

/// The state of a dive.
pub(super) struct Dive<'a> {
    stocks: &'a [Stock],
    demand: &'a Demand,
    rules: &'a Rules,
    cell: i64,
    /// Lengths in cells.
    cells: Vec<usize>,
    /// Coils that are alike, and of these the ones not yet cut.
    classes: Vec<Vec<usize>>,
    /// One coil of each class, for its room and cost.
    model: Vec<Stock>,
    counts: Vec<u32>,
    pool: Vec<Pattern>,
    loads: Vec<Load>,
    /// Price of a block of each length at the first solution, in µm of scrap.
    prices_um: Vec<f64>,
}

impl<'a> Dive<'a> {
    /// Begins with the ways to cut of some packings.
    pub(super) fn new(stocks: &'a [Stock], demand: &'a Demand, rules: &'a Rules, starts: &[Packing]) -> Self {
        let longest = stocks.iter().map(|s| s.room).max().unwrap_or(0);
        let unit = demand.lengths.iter().fold(0, |a, b| gcd(a, *b)).max(1);
        let cell = if longest / unit <= MOST_CELLS { unit } else { longest.div_ceil_to(MOST_CELLS) };
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
        let pattern = |(stock, load): (usize, &Load)| Pattern { class: class_of[stock], load: load.clone() };
        let loads = starts.iter().flat_map(|start| start.loads.iter().enumerate());
        Self {
            stocks,
            demand,
            rules,
            cell,
            cells: demand.lengths.iter().map(|l| as_index(l.div_ceil_to(cell))).collect(),
            classes,
            model,
            counts: demand.counts.clone(),
            pool: loads.filter(|(_, load)| !load.is_empty()).map(pattern).collect(),
            loads: vec![Load::new(); stocks.len()],
            prices_um: Vec::new(),
        }
    }

    /// Solves, fixes the ways to cut that the program takes nearly whole, and so on until all is cut or nothing helps. Returns
    /// also the prices of blocks in µm of scrap at the first solution. `haste` is the percentage of ways to cut that is fixed at
    /// a time even if they are taken only in part.
    pub(super) fn run(mut self, haste: usize, stop: &dyn Fn() -> bool) -> (Packing, Vec<f64>) {
        while self.counts.iter().any(|count| *count > 0) && self.free() > 0 && !stop() {
            let mut taken = self.solve(stop);
            taken.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.class.cmp(&b.1.class)));
            let quota = (taken.len() * haste / 100).max(1);
            let mut fixed = 0;
            for (mut value, pattern) in taken {
                while (value > 0.999 || fixed < quota) && value > 0.05 && self.fix(&pattern) {
                    fixed += 1;
                    value -= 1.0;
                }
            }
            if fixed == 0 {
                break;
            }
            self.forget_impossible();
        }
        let packing = Packing::new(self.stocks, self.rules, self.demand, self.loads, self.counts);
        (packing, self.prices_um)
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
        true
    }

    fn forget_impossible(&mut self) {
        let mut pool = std::mem::take(&mut self.pool);
        pool.retain(|pattern| self.is_possible(pattern));
        self.pool = pool;
    }

    /// Solves the linear program of what is left by generating columns; returns the ways to cut with their values.
    fn solve(&mut self, stop: &dyn Fn() -> bool) -> Vec<(f64, Pattern)> {
        let kinds: Vec<usize> = (0..self.counts.len()).filter(|k| self.counts[*k] > 0).collect();
        let open: Vec<usize> = (0..self.classes.len()).filter(|c| !self.classes[*c].is_empty()).collect();
        let mut row_of_class = vec![usize::MAX; self.classes.len()];
        for (at, class) in open.iter().enumerate() {
            row_of_class[*class] = kinds.len() + at;
        }
        let mut row_of_kind = vec![usize::MAX; self.counts.len()];
        for (row, kind) in kinds.iter().enumerate() {
            row_of_kind[*kind] = row;
        }
        let mut rhs: Vec<f64> = kinds.iter().map(|kind| f64::from(self.counts[*kind])).collect();
        rhs.extend(
            open.iter().map(|class| f64::from(u32::try_from(self.classes[*class].len()).unwrap_or(u32::MAX))),
        );
        let mut costs = vec![UNCUT; kinds.len()];
        costs.extend(open.iter().map(|_| 0.0));
        let mut master = Master::new(rhs, costs);
        for row in 0..kinds.len() {
            master.add(Column { cost: 0.0, entries: vec![(row, -1.0)] });
        }
        let first = master.duals().len() + kinds.len();
        let mut patterns = Vec::new();
        for pattern in std::mem::take(&mut self.pool) {
            master.add(self.column(&pattern, &row_of_kind, &row_of_class));
            patterns.push(pattern);
        }
        for _ in 0..200 {
            master.optimise(4000, stop);
            let fresh = self.price(&kinds, &open, master.duals(), &row_of_class);
            if fresh.is_empty() || stop() {
                break;
            }
            for pattern in fresh {
                master.add(self.column(&pattern, &row_of_kind, &row_of_class));
                patterns.push(pattern);
            }
        }
        if self.prices_um.is_empty() {
            // The scrap of a cost is weighed by 0.01 for each level before it, and is in mm.
            let scale = [1e3, 1e5, 1e7][self.rules.scrap_slot().min(2)];
            self.prices_um = master.duals().iter().take(kinds.len()).map(|dual| dual * scale).collect();
        }
        let taken = master
            .basic_values()
            .filter(|(column, value)| *column >= first && *value > 1e-6)
            .map(|(column, value)| (value, patterns[column - first].clone()))
            .collect();
        self.pool = patterns;
        taken
    }

    fn column(&self, pattern: &Pattern, row_of_kind: &[usize], row_of_class: &[usize]) -> Column {
        let mut entries: Vec<(usize, f64)> =
            pattern.load.iter().map(|(kind, count)| (row_of_kind[*kind], f64::from(*count))).collect();
        entries.push((row_of_class[pattern.class], 1.0));
        let stock = &self.model[pattern.class];
        let cost = self.scalar(stock, stock.room - load_length(&self.demand.lengths, &pattern.load));
        Column { cost, entries }
    }

    /// The cost levels as one number: good enough to guide; what counts is compared level by level afterwards.
    fn scalar(&self, stock: &Stock, waste: i64) -> f64 {
        let cost = self.rules.cost(stock, waste);
        let scrap_at = self.rules.scrap_slot();
        let mut weight = 1.0;
        let mut sum = 0.0;
        for (slot, value) in cost.into_iter().enumerate() {
            let value = i32::try_from(value).map_or(f64::MAX, f64::from);
            sum += weight * if slot == scrap_at { value / 1000.0 } else { value };
            weight *= 0.01;
        }
        sum
    }

    /// For each open coil the way to cut that saves most, if it saves anything.
    fn price(&self, kinds: &[usize], open: &[usize], duals: &[f64], row_of_class: &[usize]) -> Vec<Pattern> {
        let longest = open.iter().map(|class| self.model[*class].room).max().unwrap_or(0);
        let top = as_index(longest / self.cell);
        let knapsack = Knapsack::new(
            top,
            kinds.iter().enumerate().map(|(row, kind)| (self.cells[*kind], self.counts[*kind], duals[row])),
        );
        let mut fresh = Vec::new();
        for class in open {
            let stock = &self.model[*class];
            let room = stock.room;
            let top = as_index(room / self.cell);
            // Tails worth keeping cost all the same; of shorter ones each is looked at.
            let keeping = self.rules.keeping(stock.margin, room);
            let keep = as_index(keeping.max(-1) / self.cell);
            let kept = (keeping >= 0).then(|| knapsack.best_up_to[keep.min(top)]);
            let low = if kept.is_some() { keep } else { 0 };
            let saving = |sum: usize| {
                let waste = room - as_length(sum) * self.cell;
                knapsack.value[sum] - self.scalar(stock, waste)
            };
            let sums = (low..=top).chain(kept).filter(|sum| *sum > 0 && knapsack.value[*sum] > f64::MIN);
            let best = sums.map(|sum| (saving(sum), sum)).max_by(|a, b| a.0.total_cmp(&b.0));
            if let Some((saving, sum)) = best
                && saving + duals[row_of_class[*class]] > 1e-6
            {
                let load = knapsack.load(sum).into_iter().map(|(row, count)| (kinds[row], count)).collect();
                fresh.push(Pattern { class: *class, load });
            }
        }
        fresh
    }
}

/// Bounded knapsack over exact sums. Counts are heeded by a rule that may miss the best value but never breaks a count.
struct Knapsack {
    cells: Vec<usize>,
    /// Best value of each sum; the smallest number if it cannot be reached.
    value: Vec<f64>,
    /// For each kind and sum the number of blocks taken.
    taken: Vec<Vec<u8>>,
    /// The sum of best value up to each sum.
    best_up_to: Vec<usize>,
}

impl Knapsack {
    fn new(top: usize, items: impl Iterator<Item = (usize, u32, f64)>) -> Self {
        let mut value = vec![f64::MIN; top + 1];
        value[0] = 0.0;
        let mut taken = Vec::new();
        let mut cells = Vec::new();
        for (length, count, price) in items {
            let most = u8::try_from(count).unwrap_or(u8::MAX);
            let mut of_kind = vec![0u8; top + 1];
            if price > 0.0 {
                for sum in length..=top {
                    let from = value[sum - length];
                    if from > f64::MIN && from + price > value[sum] && of_kind[sum - length] < most {
                        value[sum] = from + price;
                        of_kind[sum] = of_kind[sum - length] + 1;
                    }
                }
            }
            taken.push(of_kind);
            cells.push(length);
        }
        let mut best = 0;
        let best_up_to = (0..=top)
            .map(|sum| {
                if value[sum] > value[best] {
                    best = sum;
                }
                best
            })
            .collect();
        Self { cells, value, taken, best_up_to }
    }

    fn load(&self, mut sum: usize) -> Vec<(usize, u32)> {
        let mut load = Vec::new();
        for (row, (taken, length)) in self.taken.iter().zip(&self.cells).enumerate().rev() {
            let count = taken[sum];
            if count > 0 {
                load.push((row, u32::from(count)));
                sum -= usize::from(count) * length;
            }
        }
        load
    }
}

/// Division upward of lengths.
trait DivCeil {
    fn div_ceil_to(self, by: i64) -> i64;
}

impl DivCeil for i64 {
    fn div_ceil_to(self, by: i64) -> i64 {
        self.div_euclid(by) + i64::from(self.rem_euclid(by) > 0)
    }
}
