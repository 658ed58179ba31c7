//! What must hold for all arguments: inverse functions, monotony, refusals, and the first mode of stepped
//! strings against an exact solution.

#![allow(clippy::unwrap_used, reason = "tests")]

use becket_acoustics as a;
use becket_acoustics::{CoveredSpan, CrossSection, Layer, WindingModel};
use proptest::prelude::*;

const SHAPES: [CrossSection; 2] = [CrossSection::Round, CrossSection::Hexagonal];
const MODELS: [WindingModel; 2] = [WindingModel::Tube, WindingModel::Helix];

fn close(x: f64, y: f64) -> bool {
    (x - y).abs() <= 1e-9 * x.abs().max(y.abs())
}

proptest! {
    #[test]
    fn tension_and_frequency_are_inverse(l in 20.0..3000.0_f64, g_m in 0.5..300.0_f64, hz in 10.0..6000.0_f64) {
        let t = a::tension_stiffness_free_n(l, g_m, hz).unwrap();
        prop_assert!(close(a::frequency_stiffness_free_hz(l, g_m, t).unwrap(), hz));
    }

    #[test]
    fn first_partial_is_inverse_and_higher(
        l in 50.0..2500.0_f64, d in 0.6..1.8_f64, t in 200.0..2000.0_f64, e in 190.0..210.0_f64,
    ) {
        let g_m = 7.85 * CrossSection::Round.area_mm2(d).unwrap();
        let i = CrossSection::Round.second_moment_mm4(d).unwrap();
        let f1 = a::frequency_first_partial_hz(l, g_m, t, e, i).unwrap();
        let f0 = a::frequency_stiffness_free_hz(l, g_m, t).unwrap();
        let b = a::inharmonicity(l, t, e, i).unwrap();
        prop_assert!(f1 > f0);
        prop_assert!(close(f1, a::partial_hz(1, f0, b).unwrap()));
        // The difference of two nearly equal numbers loses digits where stiffness dominates; here it never
        // does.
        prop_assert!((a::tension_first_partial_n(l, g_m, f1, e, i).unwrap() / t - 1.0).abs() < 1e-9);
        prop_assert!(a::tension_stiffness_free_n(l, g_m, f1).unwrap() > t);
    }

    #[test]
    fn cents_are_inverse(hz in 10.0..6000.0_f64, cents in -1200.0..1200.0_f64) {
        let back = a::cents_between(hz, a::raised_hz(hz, cents).unwrap()).unwrap();
        prop_assert!((back - cents).abs() < 1e-8);
    }

    #[test]
    fn an_offset_is_an_interval(note in -8..=88_i32, cents in -200.0..200.0_f64) {
        let at = a::equal_tempered_hz(note, 440.0, 0.0).unwrap();
        let off = a::equal_tempered_hz(note, 440.0, cents).unwrap();
        prop_assert!((a::cents_between(at, off).unwrap() - cents).abs() < 1e-8);
    }

    #[test]
    fn partials_are_as_sharp_as_their_cents(n in 1..60_u32, b in 0.0..0.02_f64) {
        let hz = a::partial_hz(n, 100.0, b).unwrap();
        let cents = a::cents_between(100.0 * f64::from(n), hz).unwrap();
        prop_assert!((cents - a::partial_cents(n, b).unwrap()).abs() < 1e-7);
        prop_assert!(a::partial_hz(n + 1, 100.0, b).unwrap() > hz);
    }

    #[test]
    fn tension_rises_with_each_argument(
        l in 50.0..2500.0_f64, g_m in 1.0..200.0_f64, hz in 20.0..5000.0_f64, more in 1.001..2.0_f64,
    ) {
        let t = a::tension_stiffness_free_n(l, g_m, hz).unwrap();
        prop_assert!(a::tension_stiffness_free_n(l * more, g_m, hz).unwrap() > t);
        prop_assert!(a::tension_stiffness_free_n(l, g_m * more, hz).unwrap() > t);
        prop_assert!(a::tension_stiffness_free_n(l, g_m, hz * more).unwrap() > t);
    }

    #[test]
    fn relaxed_wire_stretches_back(l in 0.0..3000.0_f64, t in 0.0..2000.0_f64, area in 0.2..3.0_f64) {
        let relaxed = a::relaxed_length_mm(l, t, 206.0, area).unwrap();
        prop_assert!(relaxed <= l);
        prop_assert!((relaxed * (1.0 + a::elastic_strain(t, 206.0, area).unwrap()) - l).abs() < 1e-9);
    }

    #[test]
    fn helix_is_heavier_than_tube_and_weighs_what_its_wire_weighs(
        core in 0.7..1.8_f64, w in 0.15..2.2_f64, length in 1.0..2500.0_f64,
    ) {
        for shape in SHAPES {
            let under = shape.girth_diameter_mm(core).unwrap();
            let [tube, helix] = MODELS.map(|model| a::layer_density_g_m(model, under, w, 8930.0).unwrap());
            prop_assert!(helix > tube && helix < 1.05 * tube);
            let wire_mm = a::winding_wire_length_mm(under, w, length).unwrap();
            let wire_g_m = 8.93 * CrossSection::Round.area_mm2(w).unwrap();
            prop_assert!(close(wire_mm * wire_g_m, helix * length));
        }
    }

    #[test]
    fn layers_add_up_over_what_is_below(core in 0.8..1.8_f64, w1 in 0.2..1.0_f64, w2 in 0.2..2.0_f64) {
        for (shape, model) in SHAPES.into_iter().flat_map(|s| MODELS.map(|m| (s, m))) {
            let layer = |wire_diameter_mm| Layer { wire_diameter_mm, density_kg_m3: 8930.0 };
            let density = |layers: &[Layer]| a::wound_density_g_m(model, shape, core, 10.0, layers).unwrap();
            let over_first = a::outer_diameter_mm(shape.girth_diameter_mm(core).unwrap(), w1).unwrap();
            let second = a::layer_density_g_m(model, over_first, w2, 8930.0).unwrap();
            prop_assert_eq!(density(&[]), 10.0);
            prop_assert!(close(density(&[layer(w1), layer(w2)]), density(&[layer(w1)]) + second));
        }
    }

    #[test]
    fn bare_ends_lighten_and_the_whole_span_is_uniform(
        l in 300.0..2500.0_f64, front in 0.0..60.0_f64, back in 0.0..60.0_f64, g_m in 1.0..150.0_f64,
    ) {
        let span = CoveredSpan { density_g_m: g_m, start_mm: front, end_mm: l - back };
        let eff = a::effective_density_g_m(l, 6.0, &[span]).unwrap();
        let whole = a::effective_density_g_m(l, 6.0, &[CoveredSpan { start_mm: 0.0, end_mm: l, ..span }]).unwrap();
        let beyond = a::effective_density_g_m(l, 6.0, &[CoveredSpan { start_mm: 0.0, end_mm: l + 9.0, ..span }]).unwrap();
        prop_assert!(close(whole, 6.0 + g_m) && close(beyond, whole));
        prop_assert!(eff <= whole * (1.0 + 1e-12) && eff > 6.0);
    }

    #[test]
    fn effective_density_is_near_the_exact_first_mode(
        front in 0.0..0.1_f64, back in 0.0..0.1_f64, ratio in 1.0..30.0_f64,
    ) {
        let span = CoveredSpan { density_g_m: ratio, start_mm: 1000.0 * front, end_mm: 1000.0 * (1.0 - back) };
        let found = a::effective_density_g_m(1000.0, 1.0, &[span]).unwrap();
        let exact = exact_density(front, 1.0 - back, 1.0 + ratio);
        // Rayleigh's quotient is never below the true frequency, so the density is never above the true one.
        prop_assert!(found <= exact * (1.0 + 1e-9), "{found} {exact}");
        let documented = if front.max(back) <= 0.05 { 2e-5 } else { 4e-4 };
        prop_assert!(found >= exact * (1.0 - documented), "{found} {exact}");
    }
}

/// Linear density of the uniform string of length 1 with the first frequency of a limp string that has
/// density 1 outside
/// `start..end` and `inner` inside: exact, by matching sines at the steps and bisection.
fn exact_density(start: f64, end: f64, inner: f64) -> f64 {
    let at_far_end = |omega: f64| {
        let (mut y, mut slope) = (0.0_f64, 1.0_f64);
        for (length, density) in [(start, 1.0_f64), (end - start, inner), (1.0 - end, 1.0)] {
            let k = omega * density.sqrt();
            let (sin, cos) = (k * length).sin_cos();
            (y, slope) = (y * cos + slope / k * sin, slope * cos - y * k * sin);
        }
        y
    };
    // The first root lies between those of the uniform strings of the two densities.
    let (mut low, mut high) = (0.999 * std::f64::consts::PI / inner.sqrt(), 1.001 * std::f64::consts::PI);
    let steps = 2000;
    let step = (high - low) / f64::from(steps);
    let first = (0..steps).map(|i| low + step * f64::from(i)).find(|w| at_far_end(w + step) <= 0.0).unwrap();
    (low, high) = (first, first + step);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if at_far_end(middle) > 0.0 { low = middle } else { high = middle }
    }
    (std::f64::consts::PI / low).powi(2)
}

type Formula = fn(&[f64]) -> Result<f64, a::DomainError>;

/// Every function of numbers alone, with the number of its arguments that must be above 0 (all of them).
const STRICT: [(&str, usize, Formula); 20] = [
    ("area round", 1, |x| CrossSection::Round.area_mm2(x[0])),
    ("area hex", 1, |x| CrossSection::Hexagonal.area_mm2(x[0])),
    ("moment round", 1, |x| CrossSection::Round.second_moment_mm4(x[0])),
    ("moment hex", 1, |x| CrossSection::Hexagonal.second_moment_mm4(x[0])),
    ("girth round", 1, |x| CrossSection::Round.girth_diameter_mm(x[0])),
    ("girth hex", 1, |x| CrossSection::Hexagonal.girth_diameter_mm(x[0])),
    ("pitch", 1, |x| a::equal_tempered_hz(49, x[0], 0.0)),
    ("cents", 2, |x| a::cents_between(x[0], x[1])),
    ("raised", 1, |x| a::raised_hz(x[0], 0.0)),
    ("tension", 3, |x| a::tension_stiffness_free_n(x[0], x[1], x[2])),
    ("tension stiff", 5, |x| a::tension_first_partial_n(x[0], x[1], x[2] * 1e8, x[3], x[4])),
    ("frequency", 3, |x| a::frequency_stiffness_free_hz(x[0], x[1], x[2])),
    ("frequency stiff", 5, |x| a::frequency_first_partial_hz(x[0], x[1], x[2], x[3], x[4])),
    ("inharmonicity", 4, |x| a::inharmonicity(x[0], x[1], x[2], x[3])),
    ("breaking load", 2, |x| a::breaking_load_n(x[0], x[1])),
    ("hitch", 2, |x| a::hitch_leg_mm(x[0], x[1])),
    ("outer", 2, |x| a::outer_diameter_mm(x[0], x[1])),
    ("layer", 3, |x| a::layer_density_g_m(WindingModel::Helix, x[0], x[1], x[2])),
    ("wound", 2, |x| a::wound_density_g_m(WindingModel::Tube, CrossSection::Round, x[0], x[1], &[])),
    ("effective", 2, |x| a::effective_density_g_m(x[0], x[1], &[])),
];

/// Every function whose arguments may also be 0, by argument.
const WITH_ZERO: [(&str, &[bool], Formula); 8] = [
    ("stress", &[true, false], |x| a::stress_mpa(x[0], x[1])),
    ("share", &[true, false], |x| a::load_share(x[0], x[1])),
    ("strain", &[true, false, false], |x| a::elastic_strain(x[0], x[1], x[2])),
    ("relaxed", &[true, true, false, false], |x| a::relaxed_length_mm(x[0], x[1], x[2], x[3])),
    ("partial", &[false, true], |x| a::partial_hz(1, x[0], x[1])),
    ("partial cents", &[true], |x| a::partial_cents(1, x[0])),
    ("pin", &[true, false, false, true], |x| a::pin_take_up_mm(x[0], x[1], x[2], x[3])),
    ("winding wire", &[false, false, true], |x| a::winding_wire_length_mm(x[0], x[1], x[2])),
];

fn refuses(name: &str, arguments: usize, zero_ok: impl Fn(usize) -> bool, call: Formula) {
    let good = vec![1.0; arguments];
    assert!(call(&good).is_ok(), "{name}");
    for i in 0..arguments {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 0.0] {
            let mut x = good.clone();
            x[i] = bad;
            let result = call(&x);
            if bad == 0.0 && zero_ok(i) {
                assert!(result.is_ok_and(f64::is_finite), "{name} argument {i} = 0");
                continue;
            }
            let error = result.unwrap_err();
            assert_ne!(error.argument, "result", "{name} argument {i} = {bad}");
            assert!(error.to_string().contains(error.argument));
        }
    }
}

#[test]
fn bad_arguments_are_named_and_refused() {
    for (name, arguments, call) in STRICT {
        refuses(name, arguments, |_| false, call);
    }
    for (name, zero_ok, call) in WITH_ZERO {
        refuses(name, zero_ok.len(), |i| zero_ok[i], call);
    }
}

#[test]
fn other_refusals() {
    let argument = |r: Result<f64, a::DomainError>| r.unwrap_err().argument;
    assert_eq!(argument(a::equal_tempered_hz(98, 440.0, 0.0)), "note");
    assert_eq!(argument(a::equal_tempered_hz(-9, 440.0, 0.0)), "note");
    assert_eq!(argument(a::equal_tempered_hz(49, 440.0, 1200.1)), "offset_cents");
    assert_eq!(argument(a::equal_tempered_hz(49, 440.0, f64::NAN)), "offset_cents");
    assert_eq!(argument(a::raised_hz(440.0, f64::NAN)), "cents");
    assert_eq!(argument(a::partial_hz(0, 100.0, 0.0)), "partial");
    assert_eq!(argument(a::partial_cents(0, 0.0)), "partial");
    assert_eq!(argument(a::tension_first_partial_n(54.0, 3.8, 1.0, 206.0, 0.0186)), "first_partial_hz");
    assert_eq!(argument(a::tension_stiffness_free_n(1e200, 1e200, 1e200)), "result");
    let span = |density_g_m, start_mm, end_mm| {
        argument(a::effective_density_g_m(100.0, 1.0, &[CoveredSpan { density_g_m, start_mm, end_mm }]))
    };
    assert_eq!(span(-1.0, 0.0, 100.0), "density_g_m");
    assert_eq!(span(1.0, -1.0, 100.0), "start_mm");
    assert_eq!(span(1.0, 100.0, 110.0), "start_mm");
    assert_eq!(span(1.0, 50.0, 50.0), "end_mm");
    assert_eq!(span(1.0, 50.0, f64::NAN), "end_mm");
}
