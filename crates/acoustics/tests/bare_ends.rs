//! The correction for bare ends against the exact partials.

#![allow(clippy::unwrap_used, reason = "tests")]

use becket_acoustics::{
    BareEnds, CrossSection, Segment, SteppedString, WindingModel, fit_inharmonicity, inharmonicity,
    layer_density_g_m, stepped_tension_stiffness_free_n,
};

/// Length, core, inner and outer winding wire in mm (0 for none), and frequency in Hz.
const STRINGS: [(f64, f64, f64, f64, f64); 6] = [
    (1200.0, 1.1, 1.2, 0.0, 49.0),
    (1166.0, 1.3, 2.0, 0.0, 27.5),
    (950.0, 0.95, 0.4, 0.0, 110.0),
    (1950.0, 1.48, 1.9, 0.0, 27.5),
    (1130.0, 1.25, 0.6, 1.4, 30.9),
    (1900.0, 1.5, 0.5, 1.5, 27.5),
];

/// B by the correction over the exact one. The outer layer leaves half as much bare again.
fn ratio((length_mm, core_mm, inner_mm, outer_mm, hz): (f64, f64, f64, f64, f64), bare: f64, n: u32) -> f64 {
    let core_g_m = 7.85 * CrossSection::Round.area_mm2(core_mm).unwrap();
    let layer = |under_mm, wire_mm| {
        if wire_mm == 0.0 {
            return 0.0;
        }
        layer_density_g_m(WindingModel::Tube, under_mm, wire_mm, 8930.0).unwrap()
    };
    let (inner_g_m, outer_g_m) = (layer(core_mm, inner_mm), layer(core_mm + 2.0 * inner_mm, outer_mm));
    let (in_mm, out_mm) = (bare * length_mm, 1.5 * bare * length_mm);
    let segment = |length_mm, linear_density_g_m| Segment { length_mm, linear_density_g_m };
    let step = out_mm - in_mm;
    let segments = [
        segment(in_mm, core_g_m),
        segment(step, core_g_m + inner_g_m),
        segment(length_mm - 2.0 * out_mm, core_g_m + inner_g_m + outer_g_m),
        segment(step, core_g_m + inner_g_m),
        segment(in_mm, core_g_m),
    ];
    let i_mm4 = CrossSection::Round.second_moment_mm4(core_mm).unwrap();
    let tension_n = stepped_tension_stiffness_free_n(hz, &segments).unwrap();
    let string = SteppedString { tension_n, bending_stiffness_n_m2: 0.206 * i_mm4, segments: &segments };
    let exact = fit_inharmonicity(&string.partials_hz(n).unwrap()).unwrap().inharmonicity;
    let covered_g_m = core_g_m + inner_g_m + outer_g_m;
    let ends = |bare_mm, g_m: f64| {
        BareEnds::new(length_mm, bare_mm, bare_mm, n).unwrap().inharmonicity(g_m / covered_g_m)
    };
    let uniform = inharmonicity(length_mm, tension_n, 206.0, i_mm4).unwrap();
    (uniform + ends(in_mm, inner_g_m) + ends(out_mm, outer_g_m)) / exact
}

#[test]
fn comes_near_the_exact_stiffness() {
    let cases = [
        (0.0, 16, 1e-6),
        (0.01, 16, 0.01),
        (0.016, 16, 0.027),
        (0.016, 30, 0.057),
        (0.02, 16, 0.041),
        (0.03, 16, 0.08),
    ];
    for (bare, n, tolerance) in cases {
        for string in STRINGS {
            let ratio = ratio(string, bare, n);
            assert!((ratio - 1.0).abs() < tolerance, "{string:?} {bare} {n}: {ratio}");
        }
    }
}

#[test]
fn first_order_is_the_cube() {
    // (2π²/3)·ρ·(a³ + b³)/L³ where the ends are short.
    let ends = BareEnds::new(1000.0, 2.0, 1.0, 4).unwrap();
    for share in [0.3, 0.77, 0.9] {
        let first = 2.0 * std::f64::consts::PI.powi(2) / 3.0 * share * 9e-9;
        assert!((ends.inharmonicity(share) / first - 1.0).abs() < 1e-3);
    }
}
