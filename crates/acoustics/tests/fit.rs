//! The fit of f₀ and B to partials.

#![allow(clippy::unwrap_used, reason = "tests")]

use becket_acoustics::{fit_inharmonicity, partial_cents, partial_hz, raised_hz, sharpness_cents};
use proptest::prelude::*;

proptest! {
    #[test]
    fn what_follows_the_formula_is_found_again(f0 in 20.0..4000.0_f64, b in 0.0..0.05_f64, count in 2..60_u32) {
        let partials: Vec<f64> = (1..=count).map(|n| partial_hz(n, f0, b).unwrap()).collect();
        let fit = fit_inharmonicity(&partials).unwrap();
        prop_assert!((fit.inharmonicity - b).abs() < 1e-14 + 1e-10 * b, "{:?}", fit);
        prop_assert!((fit.stiffness_free_hz / f0 - 1.0).abs() < 1e-12);
        prop_assert!(fit.residual_rms_cents <= fit.residual_max_cents && fit.residual_max_cents < 1e-8);
    }

    /// No pair near the fit leaves less.
    #[test]
    fn the_fit_is_the_least(
        b in 1e-5..1e-3_f64, off in prop::collection::vec(-3.0..3.0_f64, 3..20),
        other_b in -1.0..1.0_f64, other_cents in -1.0..1.0_f64,
    ) {
        let partials: Vec<f64> = (1..).zip(&off)
            .map(|(n, &cents)| raised_hz(partial_hz(n, 100.0, b).unwrap(), cents).unwrap()).collect();
        let fit = fit_inharmonicity(&partials).unwrap();
        let rms = |f0: f64, b: f64| {
            let squares = sharpness_cents(&partials, f0).unwrap().into_iter().zip(1..)
                .map(|(cents, n)| (cents - 600.0 * (b * f64::from(n * n)).ln_1p() / 2_f64.ln()).powi(2));
            (squares.sum::<f64>() / partials.len() as f64).sqrt()
        };
        prop_assert!((rms(fit.stiffness_free_hz, fit.inharmonicity) - fit.residual_rms_cents).abs() < 1e-8);
        let near = rms(raised_hz(fit.stiffness_free_hz, other_cents).unwrap(), fit.inharmonicity + 1e-4 * other_b);
        prop_assert!(near >= fit.residual_rms_cents - 1e-9);
    }
}

#[test]
fn partials_closer_than_multiples_have_a_negative_coefficient() {
    let fit = fit_inharmonicity(&[100.0, 199.9, 299.6, 399.0]).unwrap();
    assert!(fit.inharmonicity < 0.0 && fit.residual_max_cents < 0.1, "{fit:?}");
}

#[test]
fn sharpness_against_the_formula() {
    let partials: Vec<f64> = (1..=16).map(|n| partial_hz(n, 65.4, 1e-4).unwrap()).collect();
    let sharp = sharpness_cents(&partials, 65.4).unwrap();
    for (n, cents) in (1..).zip(&sharp) {
        assert!((cents - partial_cents(n, 1e-4).unwrap()).abs() < 1e-9);
    }
    // Against the first partial all are flatter by its own sharpness.
    let heard = sharpness_cents(&partials, partials[0]).unwrap();
    assert!(heard.iter().zip(&sharp).all(|(h, s)| (s - h - sharp[0]).abs() < 1e-9));
}

#[test]
fn what_no_coefficient_fits_is_refused() {
    for bad in
        [&[][..], &[100.0], &[100.0, 0.0], &[100.0, f64::NAN], &[-100.0, 200.0], &[100.0, f64::INFINITY]]
    {
        assert_eq!(fit_inharmonicity(bad).unwrap_err().argument, "partials_hz", "{bad:?}");
    }
    // Steeper than any B: the second partial more than four times the first.
    assert!(fit_inharmonicity(&[100.0, 500.0]).is_err());
    assert_eq!(sharpness_cents(&[100.0], -1.0).unwrap_err().argument, "fundamental_hz");
    assert_eq!(sharpness_cents(&[0.0], 100.0).unwrap_err().argument, "partials_hz");
}
