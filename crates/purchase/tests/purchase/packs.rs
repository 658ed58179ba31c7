//! The choice of packs against brute force.

use becket_purchase::{EstimateError, packs_to_buy};
use proptest::prelude::*;

/// Fewest packs, then least mass, among all combinations at most a tenth above the lightest. Masses in whole grams.
fn brute_force(packs: &[u64], wanted: u64) -> (u64, u64) {
    fn go(packs: &[u64], wanted: u64, mass: u64, count: u64, all: &mut Vec<(u64, u64)>) {
        let Some((first, rest)) = packs.split_first() else {
            if mass >= wanted {
                all.push((count, mass));
            }
            return;
        };
        for n in 0..=wanted.div_ceil(*first) {
            go(rest, wanted, mass + n * first, count + n, all);
        }
    }
    let mut all = Vec::new();
    go(packs, wanted, 0, 0, &mut all);
    let least = all.iter().map(|(_, mass)| *mass).min().unwrap();
    all.retain(|(_, mass)| 10 * mass <= 11 * least);
    all.into_iter().min().unwrap()
}

proptest! {
    #[test]
    fn few_packs_of_little_mass(
        packs in prop::collection::btree_set(1_u32..60, 1..4),
        wanted in 1_u32..150,
    ) {
        let packs: Vec<u32> = packs.into_iter().collect();
        let masses: Vec<f64> = packs.iter().map(|p| f64::from(*p)).collect();
        let bought = packs_to_buy(&masses, wanted.into(), 0.0).unwrap().unwrap();
        let whole: Vec<u64> = packs.iter().map(|p| u64::from(*p)).collect();
        let mass: u64 = bought.counts.iter().zip(&whole).map(|(n, p)| n * p).sum();
        let count: u64 = bought.counts.iter().sum();
        prop_assert_eq!((count, mass), brute_force(&whole, wanted.into()));
        prop_assert_eq!(bought.mass_g, f64::from(u32::try_from(mass).unwrap()));
    }
}

proptest! {
    // The search is at its largest here; a few cases of it take a second in a build without optimisation.
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_purchase_covers_and_exceeds_by_little(
        masses in prop::collection::vec(0.1_f64..1e6, 1..8),
        wanted in 0.001_f64..1e9,
    ) {
        let bought = packs_to_buy(&masses, wanted, 0.0).unwrap().unwrap();
        let lightest = masses.iter().copied().reduce(f64::min).unwrap();
        let heaviest = masses.iter().copied().reduce(f64::max).unwrap();
        prop_assert!(bought.mass_g >= wanted - 1e-6 * wanted.max(1.0));
        // A grain is at most a two-millionth of the heaviest pack, and each pack is rounded down by less than one.
        let packs: u64 = bought.counts.iter().sum();
        #[expect(clippy::cast_precision_loss, reason = "a bound for a comparison")]
        let rounding = (packs + 2) as f64 * (heaviest * 1e-5).max(1e-3);
        prop_assert!(bought.mass_g < 1.1 * (wanted + lightest) + rounding, "{bought:?}");
    }
}

#[test]
fn pound_and_kilogram_coils() {
    // 1/4, 1 and 5 lb in g, as they are sold (common practice, no source).
    let pounds = [113.398, 453.592, 2267.962];
    let ten = packs_to_buy(&pounds, 4535.92, 0.0).unwrap().unwrap();
    assert_eq!(ten.counts, [0, 0, 2], "two fives, although ten single ones are 4 mg lighter");
    let most_of_four = packs_to_buy(&pounds, 1730.0, 0.0).unwrap().unwrap();
    assert_eq!(most_of_four.counts, [0, 4, 0], "not 16 quarters");
    let kilograms = [500.0, 1000.0, 5000.0];
    assert_eq!(packs_to_buy(&kilograms, 6100.0, 0.0).unwrap().unwrap().counts, [1, 1, 1]);
    assert_eq!(
        packs_to_buy(&kilograms, 5600.0, 0.0).unwrap().unwrap().counts,
        [0, 1, 1],
        "a tenth more saves no pack here"
    );
    assert_eq!(packs_to_buy(&kilograms, 5_000_000_000.0, 0.0).unwrap().unwrap().counts, [0, 0, 1_000_000]);
}

#[test]
fn limits() {
    assert_eq!(packs_to_buy(&[], 1.0, 0.0), Ok(None));
    assert_eq!(packs_to_buy(&[5.0], 1.0, 6.0), Ok(None));
    assert_eq!(packs_to_buy(&[5.0], 0.0, 6.0).unwrap().unwrap().counts, [0]);
    for mass in [0.0, -1.0, f64::NAN, f64::INFINITY, 2e7] {
        assert!(matches!(packs_to_buy(&[mass], 1.0, 0.0), Err(EstimateError::PackMassOutOfRange { .. })));
    }
    for wanted in [-1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(packs_to_buy(&[5.0], wanted, 0.0), Err(EstimateError::TooLong));
    }
}
