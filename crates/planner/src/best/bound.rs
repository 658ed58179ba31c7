//! Bounds: what no plan can do better.

use super::core::{Cost, Demand, Rules, Stock};
use super::dual::PriceBound;
use crate::objective::Level;

/// Different lengths that are tried as thresholds of a dual feasible function.
const MOST_THRESHOLDS: usize = 300;

/// Most coils that may be mounted, and most sealed ones among them, without being worse on an earlier level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits {
    pub(super) mounts: usize,
    pub(super) sealed: usize,
    /// Most of each entry of a cost; the greatest number if nothing is known.
    pub(super) most: Cost,
}

impl Limits {
    pub(super) const NONE: Self = Self { mounts: usize::MAX, sealed: usize::MAX, most: [i64::MAX; 3] };
}

/// Stock of one wire, as bounds see it.
#[derive(Debug, Clone)]
pub(super) struct Supply {
    /// Coils that are mounted, and their room together.
    mounted: usize,
    mounted_room: i64,
    /// Rooms of the longest 0, 1, 2 … opened coils together, mounted ones excepted.
    opened: Vec<i64>,
    /// The same of sealed ones.
    sealed: Vec<i64>,
    longest: i64,
    shortest: i64,
    /// Margin of every coil, if it is the same.
    margin: Option<i64>,
}

impl Supply {
    pub(super) fn new(stocks: &[Stock]) -> Self {
        let sums = |sealed: bool| {
            let mut rooms: Vec<i64> =
                stocks.iter().filter(|s| s.mounts && s.sealed == sealed).map(|s| s.room).collect();
            rooms.sort_unstable_by(|a, b| b.cmp(a));
            let mut sums = vec![0];
            let mut sum = 0;
            sums.extend(rooms.into_iter().map(|room| {
                sum += room;
                sum
            }));
            sums
        };
        let mounted = || stocks.iter().filter(|s| !s.mounts);
        Self {
            mounted: mounted().count(),
            mounted_room: mounted().map(|s| s.room).sum(),
            opened: sums(false),
            sealed: sums(true),
            longest: stocks.iter().map(|s| s.room).max().unwrap_or(0),
            shortest: stocks.iter().map(|s| s.room).min().unwrap_or(0),
            margin: common(stocks.iter().map(|s| s.margin)),
        }
    }

    /// Room of all coils together.
    pub(super) fn all(&self) -> i64 {
        self.mounted_room + self.opened.last().unwrap_or(&0) + self.sealed.last().unwrap_or(&0)
    }

    /// Number of coils.
    pub(super) fn coils(&self) -> usize {
        self.mounted + self.opened.len() + self.sealed.len() - 2
    }

    /// Room of the coil with the most.
    pub(super) fn longest(&self) -> i64 {
        self.longest
    }

    /// Most room that `mounts` mountings give, at most `sealed` of them of sealed coils.
    fn room(&self, mounts: usize, sealed: usize) -> i64 {
        let most = sealed.min(mounts).min(self.sealed.len() - 1);
        let best = (0..=most).map(|s| self.sealed[s] + self.opened[(mounts - s).min(self.opened.len() - 1)]);
        self.mounted_room + best.max().unwrap_or(0)
    }

    /// Least number of mountings for which the room is enough, given at most so many sealed coils.
    fn least_mounts(&self, demand: i64, sealed: usize) -> usize {
        let most = self.opened.len() + self.sealed.len() - 2;
        first(most, |mounts| self.room(mounts, sealed) >= demand)
    }

    /// Least number of sealed coils for which the room is enough, given at most so many mountings.
    fn least_sealed(&self, demand: i64, mounts: usize) -> usize {
        let mounts = mounts.min(self.opened.len() + self.sealed.len() - 2);
        first(self.sealed.len() - 1, |sealed| self.room(mounts, sealed) >= demand)
    }

    /// Least number of mountings by all bounds; `bins` is a bound on the number of coils in use.
    pub(super) fn mounts(&self, total: i64, bins: usize, limits: &Limits) -> usize {
        self.least_mounts(total, limits.sealed).max(bins.saturating_sub(self.mounted))
    }

    /// Least number of sealed coils.
    pub(super) fn sealed(&self, total: i64, bins: usize, limits: &Limits) -> usize {
        let by_count = bins.saturating_sub(self.mounted + self.opened.len() - 1);
        self.least_sealed(total, limits.mounts).max(by_count)
    }

    /// Where coils are alike and every tail is scrap, room and margin of a coil together: the number of coils in use then says
    /// how much scrap there is.
    fn bin(&self, rules: &Rules) -> Option<i64> {
        let bin = self.longest + self.margin?;
        (rules.keep_from > bin && self.longest == self.shortest).then_some(bin)
    }

    /// Number of coils without which there is less scrap than a bound on it allows; 0 if that cannot be said.
    pub(super) fn bins_for_scrap(&self, scrap: i64, total: i64, rules: &Rules) -> usize {
        let Some(bin) = self.bin(rules) else { return 0 };
        let most_of_one = bin + rules.trim;
        if scrap <= 0 || most_of_one <= 0 {
            return 0;
        }
        let used = scrap + total;
        usize::try_from(used / most_of_one + i64::from(used % most_of_one > 0)).unwrap_or(0)
    }

    /// Least scrap in µm.
    pub(super) fn scrap(&self, total: i64, bins: usize, rules: &Rules, limits: &Limits) -> i64 {
        let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        let mounts = self.mounts(total, bins, limits);
        let trims = rules.trim * count(mounts);
        // Where every tail is scrap and all coils are alike, their number says how much there is of it.
        let used = count(bins.max(first(usize::MAX / 2, |n| self.longest.saturating_mul(count(n)) >= total)));
        let tails = self.bin(rules).filter(|_| total > 0).map_or(0, |bin| used * bin - total);
        trims + tails.max(0)
    }

    /// Bounds of the levels of a [`Cost`], each given that the levels before are met.
    /// `known` is what prices say.
    pub(super) fn least_cost(&self, demand: &Demand, rules: &Rules, known: &PriceBound) -> Cost {
        let total = demand.total();
        let scrap = known.at(rules.scrap_slot(), &Limits::NONE.most);
        let bins = least_bins(demand, self.longest).max(self.bins_for_scrap(scrap, total, rules));
        let mut limits = Limits::NONE;
        let mut cost = [0; 3];
        let levels = rules.order.levels().into_iter().filter(|level| *level != Level::Lots);
        for (slot, level) in levels.enumerate() {
            let by_size = match level {
                Level::Scrap => self.scrap(total, bins, rules, &limits),
                Level::CoilsOpened => as_value(self.sealed(total, bins, &limits)),
                _ => as_value(self.mounts(total, bins, &limits)),
            };
            cost[slot] = by_size.max(known.at(slot, &limits.most));
            limits.tighten(level, cost[slot], rules);
        }
        cost
    }
}

impl Limits {
    /// Notes that a level comes to at most `value`.
    pub(super) fn tighten(&mut self, level: Level, value: i64, rules: &Rules) {
        let (count, trim) = (usize::try_from(value).unwrap_or(0), rules.trim);
        if let Some(slot) = rules.slot_of(level) {
            self.most[slot] = value;
        }
        match level {
            Level::Scrap if trim > 0 => {
                self.mounts = self.mounts.min(usize::try_from(value / trim).unwrap_or(0));
            }
            Level::CoilsOpened => self.sealed = self.sealed.min(count),
            Level::ReelChanges => self.mounts = self.mounts.min(count),
            _ => {}
        }
    }
}

/// The value that all have.
fn common(mut values: impl Iterator<Item = i64>) -> Option<i64> {
    let first = values.next()?;
    values.all(|value| value == first).then_some(first)
}

fn as_value(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// Least n from 0 to `most` for which `holds` holds, given that it holds from there on; `most` if it never does.
fn first(most: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = low.midpoint(high);
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    low
}

/// Bound on the number of coils of at most `room` µm by dual feasible functions: long blocks count whole and short ones
/// not at all (threshold ε), then rounding to k-ths.
///
/// # Source
///
/// S. Fekete, J. Schepers, "New classes of fast lower bounds for bin packing problems", Mathematical Programming 91 (2001):
/// the functions u^(k) and U^(ε) (from memory); the case k = 1 holds the bound L2 of S. Martello and P. Toth.
pub(super) fn least_bins(demand: &Demand, room: i64) -> usize {
    if room <= 0 || demand.lengths.is_empty() {
        return 0;
    }
    let thresholds: Vec<i64> = demand.lengths.iter().copied().filter(|l| 2 * l <= room).collect();
    let step = thresholds.len().div_ceil(MOST_THRESHOLDS).max(1);
    let mut best = 0;
    for threshold in std::iter::once(0).chain(thresholds.into_iter().step_by(step)) {
        for parts in 0..6 {
            best = best.max(bins_by(demand, room, threshold, parts));
        }
    }
    usize::try_from(best).unwrap_or(0)
}

/// The bound for one threshold and one number of parts; no rounding to parts for 0.
fn bins_by(demand: &Demand, room: i64, threshold: i64, parts: i64) -> i128 {
    let scale = parts.max(1);
    let sum: i128 = demand
        .lengths
        .iter()
        .zip(&demand.counts)
        .map(|(length, count)| {
            let value = match *length {
                l if l > room - threshold => room,
                l if l < threshold => 0,
                l => l,
            };
            let scaled = i128::from(value) * i128::from(parts + 1);
            let value = match parts {
                0 => i128::from(value),
                _ if scaled % i128::from(room) == 0 => i128::from(value) * i128::from(parts),
                _ => scaled / i128::from(room) * i128::from(room),
            };
            value * i128::from(*count)
        })
        .sum();
    let whole = i128::from(room) * i128::from(scale);
    sum.div_euclid(whole) + i128::from(sum.rem_euclid(whole) > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bins(lengths: &[i64], room: i64) -> usize {
        least_bins(&Demand::new(lengths.iter().copied()), room)
    }

    #[test]
    fn bounds_on_bins_by_hand() {
        assert_eq!(bins(&[], 10), 0);
        // By volume.
        assert_eq!(bins(&[4, 4, 4], 10), 2);
        // More than half each: one a coil, though the volume is for four.
        assert_eq!(bins(&[6, 6, 6, 6, 6], 10), 5);
        // More than a third each: two a coil.
        assert_eq!(bins(&[4, 4, 4, 4, 4], 10), 3);
        // Long ones leave no place for the short.
        assert_eq!(bins(&[8, 8, 3, 3], 10), 3);
    }
}
