//! What a row of partials says about a string: its coefficient of inharmonicity, and how well one coefficient
//! describes it.

use crate::{
    domain::{DomainError, check, positive, result},
    pitch::cents_between,
};

/// Steps of the fit after which it is given up. It takes three or four.
const MOST_STEPS: u32 = 100;

/// The uniform stiff string whose partials come nearest to given ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InharmonicityFit {
    /// f₀ in Hz. It is that of the fit: for a stepped string near, but not equal to, the first partial without
    /// stiffness ([`crate::SteppedString::stiffness_free_hz`]).
    pub stiffness_free_hz: f64,
    /// B, without unit. It is negative where the partials lie closer than multiples, as steps of mass alone can
    /// make them.
    pub inharmonicity: f64,
    /// Root of the mean square of what the fit leaves, in cents.
    pub residual_rms_cents: f64,
    /// Greatest amount of what the fit leaves, in cents.
    pub residual_max_cents: f64,
}

/// Fits f₀ and B to the partials of a string.
///
/// # Units
/// `partials_hz`: frequencies in Hz of partials 1, 2, 3 and so on without a gap; two at least; above 0.
///
/// # Formula
/// ```text
/// f_n = n·f₀·√(1 + B·n²)          least Σ c_n², c_n = 1200·log₂(measured_n / f_n)
/// ```
/// Every partial has the same weight in cents, so that B does not hang on the highest ones alone.
///
/// # Valid range and accuracy
/// Exact for a uniform pinned string. The partials of a stepped string do not follow the formula quite: B then
/// depends on how many there are, and the residuals say how much it hides.
///
/// # Errors
/// [`DomainError`] names `partials_hz`: too few, or one that is not finite and above 0, or ones that no B fits.
///
/// # Source
/// The formula: H. Fletcher, JASA 36, 203 (1964) (from memory). Least squares by Gauss and Newton.
///
/// # Examples
/// ```
/// use becket_acoustics::{fit_inharmonicity, partial_hz};
/// let partials_hz = [partial_hz(1, 65.4, 1e-4)?, partial_hz(2, 65.4, 1e-4)?, partial_hz(3, 65.4, 1e-4)?];
/// let fit = fit_inharmonicity(&partials_hz)?;
/// assert!((fit.inharmonicity / 1e-4 - 1.0).abs() < 1e-9 && fit.residual_max_cents < 1e-9);
/// assert!(fit_inharmonicity(&partials_hz[..1]).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn fit_inharmonicity(partials_hz: &[f64]) -> Result<InharmonicityFit, DomainError> {
    let mut count = 0_u32;
    for &partial in partials_hz {
        positive("partials_hz", partial)?;
        count += 1;
    }
    check("partials_hz", f64::from(count), count >= 2, "at least two partials")?;
    // log(measured/n): the fit is of a = log f₀ and B, with a + ½·log(1 + B·n²).
    let rows = || (1..=count).map(f64::from).zip(partials_hz).map(|(n, &hz)| (n * n, (hz / n).ln()));
    let total = f64::from(count);

    let (mut b, mut a) = start(count, partials_hz);
    for _ in 0..MOST_STEPS {
        let slope = |n2: f64| 0.5 * n2 / (1.0 + b * n2);
        let rest = |n2: f64, log: f64| log - a - 0.5 * (b * n2).ln_1p();
        let mean_slope = rows().map(|(n2, _)| slope(n2)).sum::<f64>() / total;
        let (mut cross, mut square) = (0.0, 0.0);
        for (n2, log) in rows() {
            let off = slope(n2) - mean_slope;
            cross += off * rest(n2, log);
            square += off * off;
        }
        let step = cross / square;
        let next_a = a + rows().map(|(n2, log)| rest(n2, log) - step * slope(n2)).sum::<f64>() / total;
        (a, b) = (next_a, b + step);
        let greatest = total * total;
        check(
            "partials_hz",
            b,
            1.0 + b * greatest > 0.0,
            "partials that a coefficient of inharmonicity fits",
        )?;
        if (step * greatest).abs() <= 1e-13 * (1.0 + (b * greatest).abs()) {
            return fitted(a.exp(), b, rows().map(|(n2, log)| rest_cents(a, b, n2, log)), total);
        }
    }
    Err(DomainError {
        argument: "partials_hz",
        value: b,
        allowed: "partials that a coefficient of inharmonicity fits",
    })
}

/// First values: the line of `(f_n/n)²` over `n²` through the first partial and the last.
fn start(count: u32, partials_hz: &[f64]) -> (f64, f64) {
    let n = f64::from(count);
    let first = partials_hz.first().copied().unwrap_or(1.0);
    let last = partials_hz.last().copied().unwrap_or(1.0) / n;
    let quotient = (last / first).powi(2);
    // (1 + B·n²)/(1 + B) = quotient; what no B fits starts from none.
    let b = (quotient - 1.0) / (n * n - quotient);
    let b = if b.is_finite() && 1.0 + b * n * n > 0.0 && b < 1.0 { b } else { 0.0 };
    (b, first.ln() - 0.5 * b.ln_1p())
}

fn rest_cents(a: f64, b: f64, n2: f64, log: f64) -> f64 {
    1200.0 / std::f64::consts::LN_2 * (log - a - 0.5 * (b * n2).ln_1p())
}

fn fitted(
    stiffness_free_hz: f64,
    inharmonicity: f64,
    rests: impl Iterator<Item = f64>,
    total: f64,
) -> Result<InharmonicityFit, DomainError> {
    let (mut squares, mut greatest) = (0.0, 0.0_f64);
    for rest in rests {
        squares += rest * rest;
        greatest = greatest.max(rest.abs());
    }
    Ok(InharmonicityFit {
        stiffness_free_hz: result(stiffness_free_hz)?,
        inharmonicity: result(inharmonicity)?,
        residual_rms_cents: result((squares / total).sqrt())?,
        residual_max_cents: result(greatest)?,
    })
}

/// Returns how sharp each partial is of the multiple of a fundamental.
///
/// # Units
/// `partials_hz`: frequencies in Hz of partials 1, 2, 3 and so on without a gap; `fundamental_hz` in Hz: the first
/// partial, to hear how wide the octaves are, or f₀, to see what the stiffness does; all above 0. Result in cents.
///
/// # Formula
/// ```text
/// c_n = 1200·log₂(f_n/(n·fundamental))
/// ```
///
/// # Valid range and accuracy
/// Exact by definition, to the rounding of `f64`.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// Definition of the cent.
///
/// # Examples
/// ```
/// use becket_acoustics::sharpness_cents;
/// let cents = sharpness_cents(&[100.0, 200.0, 301.0], 100.0)?;
/// assert_eq!(cents[1], 0.0);
/// assert!((cents[2] - 5.7604).abs() < 1e-3);
/// assert!(sharpness_cents(&[100.0], 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn sharpness_cents(partials_hz: &[f64], fundamental_hz: f64) -> Result<Vec<f64>, DomainError> {
    let fundamental = positive("fundamental_hz", fundamental_hz)?;
    (1_u32..)
        .zip(partials_hz)
        .map(|(n, &partial)| {
            cents_between(result(f64::from(n) * fundamental)?, positive("partials_hz", partial)?)
        })
        .collect()
}
