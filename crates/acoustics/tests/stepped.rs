//! Stepped strings: against the closed formula where there is one, against finite elements where there is none,
//! and against what must hold for every string.

#![allow(clippy::unwrap_used, reason = "tests")]

mod fem;

use becket_acoustics as a;
use becket_acoustics::{CrossSection, Segment, SteppedString};
use fem::Elements;
use proptest::prelude::*;

fn segment(length_mm: f64, linear_density_g_m: f64) -> Segment {
    Segment { length_mm, linear_density_g_m }
}

fn string(tension_n: f64, bending_stiffness_n_m2: f64, segments: &[Segment]) -> SteppedString<'_> {
    SteppedString { tension_n, bending_stiffness_n_m2, segments }
}

/// E·I in N·m² of a round steel core.
fn core_stiffness_n_m2(core_mm: f64) -> f64 {
    202.0 * CrossSection::Round.second_moment_mm4(core_mm).unwrap() * 1e-3
}

fn core_g_m(core_mm: f64) -> f64 {
    7.85 * CrossSection::Round.area_mm2(core_mm).unwrap()
}

#[track_caller]
fn assert_same(found: &[f64], expected: &[f64], tolerance: f64) {
    assert_eq!(found.len(), expected.len());
    for (n, (f, e)) in found.iter().zip(expected).enumerate() {
        assert!((f / e - 1.0).abs() <= tolerance, "partial {}: {f} against {e}, {:e}", n + 1, f / e - 1.0);
    }
}

fn closed_formula_hz(length_mm: f64, g_m: f64, tension_n: f64, ei_n_m2: f64, count: u32) -> Vec<f64> {
    let f0 = a::frequency_stiffness_free_hz(length_mm, g_m, tension_n).unwrap();
    let b = a::inharmonicity(length_mm, tension_n, 1.0, ei_n_m2 * 1e3).unwrap();
    (1..=count).map(|n| a::partial_hz(n, f0, b).unwrap()).collect()
}

/// H. Fletcher, JASA 36, 203 (1964) (from memory): the pinned uniform string, from nearly limp to nearly a bar.
#[test]
fn uniform_strings_follow_the_closed_formula() {
    for (length_mm, g_m, tension_n, core_mm) in [
        (1200.0, 60.0, 900.0, 1.1),
        (1945.0, 77.0, 1781.0, 1.48),
        (54.0, 3.8, 776.0, 0.785),
        (1000.0, 6.0, 1e-3, 1.0),
        (20.0, 6.0, 1e-6, 1.0),
        (1e6, 6.0, 700.0, 1.0),
        (1e5, 6.0, 1e6, 0.01),
    ] {
        let segments = [segment(length_mm, g_m)];
        let ei = core_stiffness_n_m2(core_mm);
        let found = string(tension_n, ei, &segments).partials_hz(60).unwrap();
        assert_same(&found, &closed_formula_hz(length_mm, g_m, tension_n, ei, 60), 1e-12);
    }
}

#[test]
fn segments_without_length_count_for_nothing() {
    let ei = core_stiffness_n_m2(1.1);
    let (uniform, bare_of_none) =
        ([segment(1200.0, 60.0)], [segment(0.0, 7.0), segment(1200.0, 60.0), segment(0.0, 7.0)]);
    let [found, expected] =
        [&bare_of_none[..], &uniform[..]].map(|s| string(900.0, ei, s).partials_hz(60).unwrap());
    assert_same(&found, &expected, 1e-15);
}

/// However thin a slice: the series of short segments must lose nothing.
#[test]
fn cutting_a_segment_in_two_changes_nothing() {
    let ei = core_stiffness_n_m2(1.1);
    let whole = [segment(18.0, 7.4), segment(900.0, 30.0), segment(240.0, 70.0), segment(22.0, 7.4)];
    let expected = string(900.0, ei, &whole).partials_hz(60).unwrap();
    for cut in 0..whole.len() {
        for share in [0.5, 0.1, 1e-2, 1e-4, 1e-7, 1e-10, 1e-14] {
            let mut parts = whole.to_vec();
            let Segment { length_mm, linear_density_g_m } = whole[cut];
            parts[cut] = segment(length_mm * (1.0 - share), linear_density_g_m);
            for place in [cut, cut + 1] {
                let mut parts = parts.clone();
                parts.insert(place, segment(length_mm * share, linear_density_g_m));
                assert_same(&string(900.0, ei, &parts).partials_hz(60).unwrap(), &expected, 1e-12);
            }
        }
    }
    let crumbs: Vec<Segment> = whole
        .iter()
        .flat_map(|s| std::iter::repeat_n(segment(s.length_mm / 200.0, s.linear_density_g_m), 200))
        .collect();
    assert_same(&string(900.0, ei, &crumbs).partials_hz(60).unwrap(), &expected, 1e-11);
}

/// A trade's figure: 20 mm bare at each end of a 1.2 m string can add a third to B (common practice, no source).
#[test]
fn bare_ends_raise_inharmonicity() {
    let ei = core_stiffness_n_m2(1.1);
    let b = |bare_mm: f64| {
        let (bare, wound) = (segment(bare_mm, core_g_m(1.1)), segment(1200.0 - 2.0 * bare_mm, 60.0));
        let segments = [bare, wound, bare];
        let partials = string(900.0, ei, &segments).partials_hz(16).unwrap();
        a::fit_inharmonicity(&partials).unwrap().inharmonicity
    };
    let uniform = a::inharmonicity(1200.0, 900.0, 1.0, ei * 1e3).unwrap();
    assert!((b(0.0) / uniform - 1.0).abs() < 1e-9);
    let grown: Vec<f64> = [0.0, 5.0, 10.0, 15.0, 20.0, 30.0].map(|mm| b(mm) / uniform).to_vec();
    assert!(grown.is_sorted(), "{grown:?}");
    assert!((1.2..1.5).contains(&grown[4]), "{grown:?}");
}

/// Strings of J. Chabassier, A. Chaigne, P. Joly, JASA 134, 648 (2013) (from memory): length in m, core in mm,
/// density over that of the core, tension in N, f₀ in Hz. The ends' bareness is not given: what is checked is that
/// 15 mm do not move the pitch by more than the figures' own rounding.
#[test]
fn published_bass_strings_sound_where_they_should() {
    for (length_m, core_mm, ratio, tension_n, hz) in
        [(1.945, 1.48, 5.73, 1781.0, 38.9), (1.600, 0.95, 3.55, 865.0, 65.4)]
    {
        let bare = segment(15.0, core_g_m(core_mm));
        let wound = segment(length_m * 1e3 - 30.0, core_g_m(core_mm) * ratio);
        let segments = [bare, wound, bare];
        let string = string(tension_n, core_stiffness_n_m2(core_mm), &segments);
        let off = a::cents_between(hz, string.stiffness_free_hz().unwrap()).unwrap();
        assert!(off.abs() < 10.0, "{hz} Hz: {off} cents");
        let sharp = a::sharpness_cents(&string.partials_hz(16).unwrap(), hz).unwrap();
        assert!(sharp.is_sorted() && (5.0..60.0).contains(&sharp[15]), "{sharp:?}");
    }
}

/// Bare, under-winding, both windings, and back: partials by number and frequency from the finite elements.
#[test]
fn finite_elements_agree() {
    let ei = core_stiffness_n_m2(1.48);
    let bare = core_g_m(1.48);
    let segments = [
        segment(16.0, bare),
        segment(7.0, 40.0),
        segment(1860.0, 160.0),
        segment(11.0, 40.0),
        segment(21.0, bare),
    ];
    let string = string(1781.0, ei, &segments);
    let found = string.partials_hz(60).unwrap();
    for (number, hz) in (1..).zip(found) {
        let elements = Elements::new(&string, hz, 8.0);
        let expected = elements.partial_hz(number, 0.99 * hz, 1.01 * hz);
        let cents = a::cents_between(expected, hz).unwrap();
        assert!(cents.abs() < 0.01, "partial {number}: {hz} Hz, {cents} cents off");
    }
}

/// Heavy lumps and light stretches: neighbours draw together and first guesses fail, and still none is missed.
#[test]
fn no_partial_is_missed_where_guesses_fail() {
    for (lumps, light, heavy) in [(2, 1.0, 1000.0), (3, 0.01, 5000.0), (7, 6.0, 600.0), (12, 1.0, 1e4)] {
        let mut segments = vec![segment(70.0, light)];
        for lump in 0..lumps {
            segments.push(segment(20.0 + 0.01 * f64::from(lump), heavy));
            segments.push(segment(150.0, light));
        }
        for core_mm in [0.1, 1.0, 3.0] {
            let string = string(700.0, core_stiffness_n_m2(core_mm), &segments);
            assert_counted(&string, 40).unwrap();
        }
    }
}

/// The finite elements count each partial once: they lie no lower than the string's, and higher by their error.
fn assert_counted(string: &SteppedString<'_>, count: u32) -> Result<(), TestCaseError> {
    let found = string.partials_hz(count).unwrap();
    prop_assert!(found.windows(2).all(|pair| pair[0] < pair[1]), "{found:?}");
    for (number, &hz) in (1..).zip(&found) {
        let elements = Elements::new(string, hz, 6.0);
        // 0.05 cent, and the rounding of the finite elements' stiff matrix.
        let (low, high) = (elements.below(hz * (1.0 - 2e-6)), elements.below(hz * (1.0 + 2.9e-5)));
        prop_assert!(low < number && number <= high, "partial {} at {}: {} and {}", number, hz, low, high);
    }
    Ok(())
}

/// Nothing or half a millimetre and more: thinner slices are beyond the finite elements' digits, not the product's.
fn stretch_mm(most: f64) -> impl Strategy<Value = f64> {
    (0.0..most).prop_map(|mm| if mm < 0.5 { 0.0 } else { mm })
}

prop_compose! {
    /// A bass or tenor string: bare ends, under-winding that may go on beyond the outer one, or none.
    fn real_string()(
        length_mm in 400.0..2200.0_f64, core_mm in 0.75..1.7_f64, stress_mpa in 500.0..1400.0_f64,
        ends in [stretch_mm(45.0), stretch_mm(45.0)], steps in [stretch_mm(30.0), stretch_mm(30.0)],
        under in 1.1..5.0_f64, outer in 1.0..6.0_f64,
    ) -> (f64, f64, Vec<Segment>) {
        let tension_n = stress_mpa * CrossSection::Round.area_mm2(core_mm).unwrap();
        let bare = core_g_m(core_mm);
        let middle = length_mm - ends[0] - ends[1] - steps[0] - steps[1];
        let segments = vec![
            segment(ends[0], bare),
            segment(steps[0], bare * under),
            segment(middle, bare * under * outer),
            segment(steps[1], bare * under),
            segment(ends[1], bare),
        ];
        (tension_n, core_stiffness_n_m2(core_mm), segments)
    }
}

prop_compose! {
    /// Anything: steps at random, densities over four decades, from nearly limp to nearly a bar.
    fn any_string()(
        parts in prop::collection::vec((0.0..3.0_f64, 0.0..4.0_f64), 1..9),
        tension in -2.0..5.0_f64, core_mm in 0.1..3.0_f64,
    ) -> (f64, f64, Vec<Segment>) {
        let segments = parts.into_iter().map(|(l, d)| segment(10_f64.powf(l), 10_f64.powf(d))).collect();
        (10_f64.powf(tension), core_stiffness_n_m2(core_mm), segments)
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn no_partial_of_a_real_string_is_missed((tension_n, ei, segments) in real_string()) {
        assert_counted(&string(tension_n, ei, &segments), 20)?;
    }
}

proptest! {
    #[test]
    fn a_string_sounds_alike_from_both_ends((tension_n, ei, segments) in any_string()) {
        let mut back = segments.clone();
        back.reverse();
        let [forth, back] = [segments, back].map(|s| string(tension_n, ei, &s).partials_hz(30).unwrap());
        for (f, b) in forth.iter().zip(&back) {
            prop_assert!((f / b - 1.0).abs() < 1e-11, "{:?} {:?}", forth, back);
        }
        prop_assert!(forth.windows(2).all(|pair| pair[0] < pair[1]));
    }

    #[test]
    fn more_tension_or_stiffness_raises_and_more_mass_lowers_every_partial(
        (tension_n, ei, mut segments) in any_string(), more in 1.001..1.5_f64, place in 0..8_usize,
    ) {
        let partials = |t: f64, e: f64, s: &[Segment]| string(t, e, s).partials_hz(12).unwrap();
        let was = partials(tension_n, ei, &segments);
        let (tenser, stiffer) = (partials(tension_n * more, ei, &segments), partials(tension_n, ei * more, &segments));
        let count = segments.len();
        segments[place % count].linear_density_g_m *= more;
        let heavier = partials(tension_n, ei, &segments);
        for n in 0..12 {
            let least = was[n] * (1.0 - 1e-11);
            prop_assert!(tenser[n] > least && stiffer[n] > least && heavier[n] < was[n] * (1.0 + 1e-11));
            // Both stiffnesses together would raise the frequency by √more.
            prop_assert!(tenser[n] < was[n] * more.sqrt() && stiffer[n] < was[n] * more.sqrt());
            prop_assert!(heavier[n] > was[n] / more.sqrt() * (1.0 - 1e-11));
        }
    }

    #[test]
    fn tension_is_the_inverse_of_the_first_partial((tension_n, ei, segments) in real_string()) {
        let string = string(tension_n, ei, &segments);
        let first = string.partials_hz(1).unwrap()[0];
        let back = a::stepped_tension_first_partial_n(first, ei, &segments).unwrap();
        prop_assert!((back / tension_n - 1.0).abs() < 1e-11, "{} {}", back, tension_n);
        let f0 = string.stiffness_free_hz().unwrap();
        let back = a::stepped_tension_stiffness_free_n(f0, &segments).unwrap();
        prop_assert!((back / tension_n - 1.0).abs() < 1e-12);
        prop_assert!(f0 < first && first < 1.02 * f0);
    }

    #[test]
    fn stiffness_free_is_what_partials_come_to((tension_n, _, segments) in real_string()) {
        let limp = string(tension_n, 1e-9, &segments);
        prop_assert!((limp.partials_hz(1).unwrap()[0] / limp.stiffness_free_hz().unwrap() - 1.0).abs() < 1e-6);
    }

    #[test]
    fn tension_of_a_uniform_string_is_the_closed_one(
        l in 50.0..2500.0_f64, g_m in 1.0..200.0_f64, hz in 30.0..3000.0_f64, core_mm in 0.5..1.7_f64,
    ) {
        let ei = core_stiffness_n_m2(core_mm);
        let found = a::stepped_tension_first_partial_n(hz, ei, &[segment(l, g_m)]);
        let closed = a::tension_first_partial_n(l, g_m, hz, 1.0, ei * 1e3);
        prop_assert_eq!(found.is_ok(), closed.is_ok());
        if let (Ok(found), Ok(closed)) = (found, closed) {
            // Where the stiffness does most of the work, the tension is a small difference.
            let stiffness_n = a::inharmonicity(l, 1.0, 1.0, ei * 1e3).unwrap();
            prop_assert!((found - closed).abs() < 1e-11 * (closed + stiffness_n), "{} {}", found, closed);
        }
    }
}

#[test]
fn what_has_no_answer_is_refused() {
    let segments = [segment(1000.0, 6.0)];
    let good = string(700.0, 0.01, &segments);
    let argument = |string: SteppedString<'_>, count| string.partials_hz(count).unwrap_err().argument;
    assert_eq!(argument(good, 0), "count");
    assert_eq!(argument(good, 61), "count");
    assert_eq!(argument(SteppedString { tension_n: 0.0, ..good }, 1), "tension_n");
    assert_eq!(argument(SteppedString { tension_n: f64::NAN, ..good }, 1), "tension_n");
    assert_eq!(argument(SteppedString { bending_stiffness_n_m2: 0.0, ..good }, 1), "bending_stiffness_n_m2");
    for (bad, name) in [
        (segment(-1.0, 6.0), "length_mm"),
        (segment(f64::INFINITY, 6.0), "length_mm"),
        (segment(1.0, 0.0), "linear_density_g_m"),
        (segment(1.0, f64::NAN), "linear_density_g_m"),
        (segment(0.0, 6.0), "segments"),
    ] {
        assert_eq!(argument(SteppedString { segments: &[bad], ..good }, 1), name);
    }
    assert_eq!(argument(SteppedString { segments: &[], ..good }, 1), "segments");
    // Figures that cannot be held together.
    for (tension_n, ei, length_mm, g_m) in [
        (1e300, 1e-300, 1e3, 1.0),
        (1e-300, 1e300, 1e3, 1.0),
        (1.0, 1.0, 1e300, 1e300),
        (1e308, 1e308, 1e-300, 1e-300),
    ] {
        assert_eq!(argument(string(tension_n, ei, &[segment(length_mm, g_m)]), 3), "result");
    }
    assert_eq!(
        a::stepped_tension_first_partial_n(1e-3, 0.01, &segments).unwrap_err().argument,
        "first_partial_hz"
    );
    assert_eq!(
        a::stepped_tension_first_partial_n(f64::NAN, 0.01, &segments).unwrap_err().argument,
        "first_partial_hz"
    );
    assert_eq!(
        a::stepped_tension_stiffness_free_n(0.0, &segments).unwrap_err().argument,
        "stiffness_free_hz"
    );
}
