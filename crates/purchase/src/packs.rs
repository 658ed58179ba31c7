//! Which packs to buy.

use crate::error::EstimateError;

/// Heaviest pack that is reckoned with, in g.
const MAX_PACK_G: f64 = 1e7;
/// Lightest pack that is reckoned with, in g: one grain of the finest reckoning.
const MIN_PACK_G: f64 = 1e-3;
/// Heaviest purchase that is reckoned with, in g; a million tonnes.
const MAX_WANTED_G: f64 = 1e12;
/// Most states of the exact search. It bounds time and memory (about 40 MB).
const MAX_STATES: u64 = 4_000_000;
/// A choice may be heavier than the lightest one by one part in so many.
const MASS_TOLERANCE: u64 = 10;
/// Part of a grain that is taken for the rounding error of a product and not for wire.
const NOISE: f64 = 1e-6;

/// Packs to buy.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PackPurchase {
    /// How many of each pack, in the order of the masses that were given.
    pub counts: Vec<u64>,
    /// Net mass of all of them in g.
    pub mass_g: f64,
}

/// Chooses packs that hold at least `wanted_g` together: the fewest packs among all choices whose mass is at most a tenth
/// above the least possible one, and among those the lightest choice. Many small coils cost more to handle, and lose more
/// in tails, than a little wire too much (common practice, no source).
///
/// Packs lighter than `least_g` are not chosen. `None` if something is wanted and no pack is left to choose from.
///
/// # Method
/// Dynamic programming over masses. Masses are counted in whole grains, packs rounded down and the wanted mass rounded up,
/// so that a purchase never holds less than is wanted; a grain is the greatest common divisor of the packs in whole
/// milligrams, or in a decimal multiple of them where the heaviest pack would be more than half of 4 million grains. A
/// wanted mass of up to 4 million grains is solved exactly: for packs of 500 g and 1 kg that is 2000 t. Of a greater
/// one, all but 2 million grains are filled with the heaviest pack, and the rest is solved exactly; the tenth is
/// then one of that rest.
///
/// # Errors
/// [`EstimateError::PackMassOutOfRange`], [`EstimateError::TooLong`] for a wanted mass that is no number from 0 to 10¹² g.
///
/// # Examples
/// ```
/// use becket_purchase::packs_to_buy;
/// let bought = packs_to_buy(&[90.0, 500.0, 2000.0], 950.0, 0.0)?.unwrap_or_default();
/// assert_eq!(bought.counts, [0, 2, 0]);
/// assert_eq!(bought.mass_g, 1000.0);
/// # Ok::<(), becket_purchase::EstimateError>(())
/// ```
pub fn packs_to_buy(
    pack_masses_g: &[f64],
    wanted_g: f64,
    least_g: f64,
) -> Result<Option<PackPurchase>, EstimateError> {
    if let Some(mass_g) = pack_masses_g.iter().find(|mass| !(MIN_PACK_G..=MAX_PACK_G).contains(*mass)) {
        return Err(EstimateError::PackMassOutOfRange { mass_g: *mass_g });
    }
    if !(0.0..=MAX_WANTED_G).contains(&wanted_g) {
        return Err(EstimateError::TooLong);
    }
    let mut counts = vec![0_u64; pack_masses_g.len()];
    if wanted_g > 0.0 {
        let usable = (0..).zip(pack_masses_g).filter(|(_, mass)| **mass >= least_g);
        let packs: Vec<(usize, f64)> = usable.map(|(i, mass)| (i, *mass)).collect();
        let Some(reckoning) = Reckoning::of(&packs, wanted_g) else { return Ok(None) };
        for (i, count) in reckoning.solve() {
            if let Some(sum) = counts.get_mut(i) {
                *sum += count;
            }
        }
    }
    let mass_g = counts.iter().zip(pack_masses_g).map(|(count, mass)| as_f64(*count) * mass).sum();
    Ok(Some(PackPurchase { counts, mass_g }))
}

/// Packs and the wanted mass in whole grains.
#[derive(Debug)]
struct Reckoning {
    /// Index and grains of each pack, by rising mass; not empty, none of them 0.
    packs: Vec<(usize, u64)>,
    wanted: u64,
}

impl Reckoning {
    /// `None` without packs.
    fn of(packs: &[(usize, f64)], wanted_g: f64) -> Option<Self> {
        let heaviest = packs.iter().map(|(_, mass)| *mass).reduce(f64::max)?;
        let mut per_g = 1e3;
        loop {
            let counted: Vec<(usize, u64)> =
                packs.iter().map(|(i, mass)| (*i, grains((mass * per_g + NOISE).floor()))).collect();
            let divisor = counted.iter().fold(0, |d, (_, mass)| gcd(d, *mass)).max(1);
            if grains(heaviest * per_g) / divisor <= MAX_STATES / 2 {
                let mut packs: Vec<(usize, u64)> = counted
                    .into_iter()
                    .map(|(i, mass)| (i, mass / divisor))
                    .filter(|(_, m)| *m > 0)
                    .collect();
                packs.sort_by_key(|(i, mass)| (*mass, *i));
                let wanted = grains((wanted_g * per_g - NOISE).ceil()).div_ceil(divisor);
                return Some(Self { packs, wanted });
            }
            per_g /= 10.0;
        }
    }

    /// Index and count of the packs to buy.
    fn solve(&self) -> Vec<(usize, u64)> {
        let mut bought = Vec::new();
        let mut wanted = self.wanted;
        let (Some(lightest), Some(heaviest)) = (self.packs.first(), self.packs.last()) else {
            return bought;
        };
        if wanted.saturating_add(lightest.1) > MAX_STATES {
            let count = wanted.saturating_sub(MAX_STATES / 2) / heaviest.1;
            bought.push((heaviest.0, count));
            wanted -= count * heaviest.1;
        }
        bought.extend(self.search(wanted, lightest.1));
        bought
    }

    /// Fewest packs for every exact mass up to the last that can be chosen, then the choice among those that are enough.
    fn search(&self, wanted: u64, lightest: u64) -> Vec<(usize, u64)> {
        // A multiple of the lightest pack lies within one such pack above what is wanted.
        let top = index(with_tolerance(wanted + lightest));
        // Fewest packs for a mass, and the pack that was added last.
        let mut fewest: Vec<(u32, u16)> = vec![(u32::MAX, 0); top + 1];
        if let Some(nothing) = fewest.first_mut() {
            *nothing = (0, 0);
        }
        for (last, (_, mass)) in (0_u16..=u16::MAX).zip(&self.packs) {
            let mass = index(*mass);
            for sum in mass..=top {
                let with = fewest.get(sum - mass).map_or(u32::MAX, |(count, _)| count.saturating_add(1));
                if let Some(state) = fewest.get_mut(sum).filter(|state| with < state.0) {
                    *state = (with, last);
                }
            }
        }
        let packs_for = |sum: usize| fewest.get(sum).map(|state| state.0).filter(|count| *count < u32::MAX);
        let least = (index(wanted)..=top).find(|sum| packs_for(*sum).is_some()).unwrap_or(0);
        let most = index(with_tolerance(least as u64)).min(top);
        let mut sum = (least..=most)
            .filter_map(|sum| packs_for(sum).map(|count| (count, sum)))
            .min()
            .map(|(_, sum)| sum);
        let mut bought = Vec::new();
        while let Some(mass) = sum.filter(|mass| *mass > 0) {
            let last = fewest.get(mass).and_then(|(_, last)| self.packs.get(usize::from(*last)));
            sum = last.map(|(i, grains)| {
                bought.push((*i, 1));
                mass - index(*grains)
            });
        }
        bought
    }
}

/// The greatest mass that is still as good as `least`.
fn with_tolerance(least: u64) -> u64 {
    least + least / MASS_TOLERANCE
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole, at least 0, at most 1e15"
)]
fn grains(whole: f64) -> u64 {
    whole as u64
}

fn index(grains: u64) -> usize {
    usize::try_from(grains).unwrap_or(usize::MAX)
}

#[expect(clippy::cast_precision_loss, reason = "a count of packs, far below 2^53")]
fn as_f64(count: u64) -> f64 {
    count as f64
}
