//! Taking some coils out of a packing and cutting them anew by column generation, again and again.

use super::columns::{Dive, Way, Weights};
use super::core::{Cost, Demand, Load, Rules, Stock, add, load_length};
use super::generate::BETTER;
use super::pack::Packing;
use super::random::Random;

/// Coils in use that are cut anew at a time, at most.
const MOST_COILS: usize = 24;
/// Coils not in use that may take their place, at most.
const MOST_IDLE: usize = 40;
/// Careful dives for one choice of coils.
const DIVES: usize = 5;
/// Percentage of ways to cut that a dive fixes at a time.
const HASTE: usize = 20;
/// Steps of arithmetic of a round besides those of its dives, about.
const OVERHEAD: u64 = 100_000;
/// Draws from the list of coils, those most to blame first, of which the foremost is taken.
const FRONT_DRAWS: usize = 40;

/// The search: one packing that is never made worse. At the prices of the linear program every coil has a best way to cut;
/// the coils that fall short of it are to blame for what the packing costs above the bound, and are taken more often.
pub(super) struct Regroup<'a> {
    stocks: &'a [Stock],
    demand: &'a Demand,
    rules: &'a Rules,
    prices: &'a [f64],
    packing: Packing,
    /// What the best way to cut each coil saves at the prices.
    savings: Vec<f64>,
    /// By how much each coil falls short of it.
    blame: Vec<f64>,
    /// Price of a block of each kind that stays uncut, where that is allowed.
    uncut: Option<Vec<f64>>,
    random: Random,
    work: u64,
}

impl<'a> Regroup<'a> {
    pub(super) fn new(
        stocks: &'a [Stock],
        demand: &'a Demand,
        rules: &'a Rules,
        prices: &'a [f64],
        packing: Packing,
        seed: u64,
    ) -> Self {
        let mut dive = Dive::new(stocks, demand, rules, &[]);
        let savings = dive.savings(prices);
        let mut regroup = Self {
            stocks,
            demand,
            rules,
            prices,
            blame: savings.clone(),
            packing,
            savings,
            uncut: None,
            random: Random::new(seed),
            work: 0,
        };
        for i in 0..stocks.len() {
            let saved = dive.saving_of(i, &regroup.packing.loads[i], prices);
            if !regroup.packing.loads[i].is_empty() {
                regroup.blame[i] = f64::max(regroup.savings[i] - saved, 0.0);
            }
        }
        regroup
    }

    /// Lets blocks stay uncut at these prices.
    pub(super) fn leaving(mut self, uncut: Vec<f64>) -> Self {
        self.uncut = Some(uncut);
        self
    }

    /// Goes on until what stays uncut and the cost are no more than `target`, or until so much `work` is done, or until `stop`.
    pub(super) fn run(mut self, work: u64, target: (i64, Cost), stop: &dyn Fn() -> bool) -> Packing {
        while self.work < work {
            if self.packing.lack <= target.0 && self.packing.cost <= target.1 || stop() {
                break;
            }
            self.round(stop);
        }
        self.packing
    }

    /// Coils to cut anew: half of them with much to blame, the others at random; and some that are not in use.
    fn choose(&mut self) -> Vec<usize> {
        let (mut used, mut idle): (Vec<usize>, Vec<usize>) =
            (0..self.stocks.len()).partition(|i| !self.packing.loads[*i].is_empty());
        let mut chosen = Vec::new();
        let size = 6 + self.random.below(MOST_COILS - 5);
        for (of, most) in [(&mut used, size), (&mut idle, MOST_IDLE)] {
            of.sort_by(|a, b| self.blame[*b].total_cmp(&self.blame[*a]).then(a.cmp(b)));
            for at in 0..most.min(of.len()) {
                // The smallest of several draws: the beginning of the list, mostly.
                let draws = if at % 2 == 0 { FRONT_DRAWS } else { 1 };
                let drawn = (0..draws).map(|_| self.random.below(of.len())).min().unwrap_or(0);
                if !chosen.contains(&of[drawn]) {
                    chosen.push(of[drawn]);
                }
            }
        }
        chosen.sort_unstable();
        chosen
    }

    fn round(&mut self, stop: &dyn Fn() -> bool) {
        let chosen = self.choose();
        let mut counts = self.packing.left.clone();
        let mut cost = [0; 3];
        for i in &chosen {
            let load = &self.packing.loads[*i];
            for (kind, count) in load {
                counts[*kind] += count;
            }
            if !load.is_empty() {
                cost = add(cost, self.cost_of(*i, load));
            }
        }
        let kinds: Vec<usize> = (0..counts.len()).filter(|kind| counts[*kind] > 0).collect();
        let demand = Demand {
            lengths: kinds.iter().map(|kind| self.demand.lengths[*kind]).collect(),
            counts: kinds.iter().map(|kind| counts[*kind]).collect(),
            worths: kinds.iter().map(|kind| self.demand.worths[*kind]).collect(),
        };
        let place = |kind: usize| kinds.binary_search(&kind).unwrap_or_default();
        let stocks: Vec<Stock> = chosen.iter().map(|i| self.stocks[*i]).collect();
        let start: Vec<Load> = chosen
            .iter()
            .map(|i| self.packing.loads[*i].iter().map(|(kind, count)| (place(*kind), *count)).collect())
            .collect();
        let prices: Vec<f64> = kinds.iter().map(|kind| self.prices[*kind]).collect();
        let mut dive = Dive::new(&stocks, &demand, self.rules, &[&start]).expecting(prices);
        // What the blocks that stay uncut now cost; no packing is ruled out by its cost if they have no price.
        let mut left = (self.packing.lack == 0).then_some(0.0);
        if let Some(uncut) = &self.uncut {
            let of = |(price, count): (&f64, &u32)| price * f64::from(*count);
            left = Some(uncut.iter().zip(&self.packing.left).map(of).sum());
            dive = dive.leaving(kinds.iter().map(|kind| uncut[*kind]).collect(), false);
        }
        let root = dive.root(stop);
        let careful = (0..DIVES).map(|n| Way { haste: 0, skip: n.checked_sub(1) });
        let ways = std::iter::once(Way { haste: HASTE, skip: None }).chain(careful);
        let before = (self.packing.lack, cost);
        let mut equal = None;
        let mut better = None;
        for way in ways {
            // An equal packing is as welcome as a first: it is another start for the next round.
            let allowed = if equal.is_none() { BETTER } else { -BETTER };
            let cutoff = left.map_or(f64::MAX, |left| Weights::new(self.rules).of(&cost) + left + allowed);
            match dive.descend(&root, way, cutoff, stop) {
                Some(found) if found.key() < before => {
                    better = Some(found);
                    break;
                }
                Some(found) if found.key() == before && equal.is_none() => equal = Some(found),
                _ => {}
            }
        }
        self.work += dive.work + OVERHEAD;
        let Some(found) = better.or(equal) else { return };
        for (sum, (new, old)) in self.packing.cost.iter_mut().zip(found.cost.iter().zip(cost)) {
            *sum += new - old;
        }
        self.packing.lack = found.lack;
        self.packing.left.fill(0);
        for (kind, count) in kinds.iter().zip(&found.left) {
            self.packing.left[*kind] = *count;
        }
        for (i, load) in chosen.into_iter().zip(found.loads) {
            let load: Load = load.into_iter().map(|(at, count)| (kinds[at], count)).collect();
            self.blame[i] = self.savings[i];
            if !load.is_empty() {
                let worth: f64 =
                    load.iter().map(|(kind, count)| self.prices[*kind] * f64::from(*count)).sum();
                let cost = self.scalar(i, &load);
                self.blame[i] = f64::max(self.savings[i] - (worth - cost), 0.0);
            }
            self.packing.loads[i] = load;
        }
    }

    fn cost_of(&self, i: usize, load: &Load) -> Cost {
        self.rules.cost(&self.stocks[i], self.stocks[i].room - load_length(&self.demand.lengths, load))
    }

    fn scalar(&self, i: usize, load: &Load) -> f64 {
        let waste = self.stocks[i].room - load_length(&self.demand.lengths, load);
        Weights::new(self.rules).scalar(self.rules, &self.stocks[i], waste)
    }
}
