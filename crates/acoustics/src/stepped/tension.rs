//! The tension that gives a stepped string its pitch.

use std::f64::consts::PI;

use super::{
    FAILED, Segment, SteppedString, partials,
    root::{self, Guess},
};
use crate::domain::{DomainError, check, positive, result};

/// Least tension tried, over the tension π²·E·I/L² that would do what the stiffness does.
const LEAST_SHARE: f64 = 1e-9;

/// Returns the tension that gives a stepped stiff string a first partial: the pitch that sounds.
///
/// # Units
/// `first_partial_hz` in Hz; `bending_stiffness_n_m2`: E·I of the core in N·m² (1 GPa·mm⁴ is 10⁻³ N·m²); both above
/// 0; `segments` as in [`SteppedString`]. Result in N.
///
/// # Formula
/// The T at which the first of [`SteppedString::partials_hz`] is `first_partial_hz`.
///
/// # Valid range and accuracy
/// To about 1e-12 of the tension where that outweighs the stiffness, as in every string; for a uniform string
/// it agrees with [`crate::tension_first_partial_n`].
///
/// # Errors
/// [`DomainError`] names the argument outside its range, or `first_partial_hz` if the stiffness alone sounds as high
/// or higher, or `result` if the figures are too extreme together.
///
/// # Source
/// See [`SteppedString`].
///
/// # Examples
/// ```
/// use becket_acoustics::{Segment, SteppedString, stepped_tension_first_partial_n};
/// let bare = Segment { length_mm: 20.0, linear_density_g_m: 7.46 };
/// let segments = [bare, Segment { length_mm: 1160.0, linear_density_g_m: 60.0 }, bare];
/// let tension_n = stepped_tension_first_partial_n(51.913, 0.01438, &segments)?;
/// let string = SteppedString { tension_n, bending_stiffness_n_m2: 0.01438, segments: &segments };
/// assert!((string.partials_hz(1)?[0] - 51.913).abs() < 1e-9);
/// assert!(stepped_tension_first_partial_n(0.1, 0.01438, &segments).is_err()); // a bar sounds higher
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn stepped_tension_first_partial_n(
    first_partial_hz: f64,
    bending_stiffness_n_m2: f64,
    segments: &[Segment],
) -> Result<f64, DomainError> {
    let target = positive("first_partial_hz", first_partial_hz)?;
    let string = |tension_n| SteppedString { tension_n, bending_stiffness_n_m2, segments };
    let square = |tension_n: f64| {
        let reduced = string(tension_n).reduced().ok()?;
        let first = *partials::partials(&reduced.spans, 1)?.first()?;
        Some((first * reduced.unit_hz).powi(2))
    };

    // Rayleigh's quotient is linear in the tension, and never below the first partial's square.
    let reduced = string(1.0).reduced()?;
    let length: f64 = reduced.spans.iter().map(|span| span.length).sum();
    let stiffness_n = (PI / length).powi(2);
    let rayleigh_hz = partials::rayleigh(&reduced.spans, length, 1) * reduced.unit_hz;
    let slope = positive("result", rayleigh_hz * rayleigh_hz / (1.0 + stiffness_n))?;
    let start = positive("result", target * target / slope)? - stiffness_n;

    let least = LEAST_SHARE * stiffness_n;
    if start <= least {
        let bar = square(least).ok_or(FAILED)?;
        let allowed = "above the first partial that the stiffness alone gives the string";
        check("first_partial_hz", target, bar < target * target, allowed)?;
    }
    let start = start.max(2.0 * least);
    let guess = Guess { low: least, high: f64::INFINITY, start, slope, scale: start };
    let root = root::find(guess, |tension_n| {
        let over = square(tension_n)? - target * target;
        Some((over, over > 0.0))
    });
    result(root.ok_or(FAILED)?.at)
}

/// Returns the tension that gives a stepped string without stiffness a frequency.
///
/// # Units
/// `stiffness_free_hz`: f₀ in Hz, above 0; `segments` as in [`SteppedString`]. Result in N.
///
/// # Formula
/// The T at which [`SteppedString::stiffness_free_hz`] is the argument: the square of its quotient to that at 1 N.
///
/// # Valid range and accuracy
/// Exact to about 1e-13. What sounds is higher: see [`stepped_tension_first_partial_n`].
///
/// # Errors
/// [`DomainError`] names the argument outside its range, or `result` if the figures are too extreme together.
///
/// # Source
/// See [`SteppedString::stiffness_free_hz`].
///
/// # Examples
/// ```
/// use becket_acoustics::{Segment, stepped_tension_stiffness_free_n, tension_stiffness_free_n};
/// let uniform = [Segment { length_mm: 620.0, linear_density_g_m: 6.3 }];
/// let tension_n = stepped_tension_stiffness_free_n(262.0, &uniform)?;
/// assert!((tension_n / tension_stiffness_free_n(620.0, 6.3, 262.0)? - 1.0).abs() < 1e-12);
/// assert!(stepped_tension_stiffness_free_n(0.0, &uniform).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn stepped_tension_stiffness_free_n(
    stiffness_free_hz: f64,
    segments: &[Segment],
) -> Result<f64, DomainError> {
    let target = positive("stiffness_free_hz", stiffness_free_hz)?;
    // The stiffness only sets the unit of length.
    let string = SteppedString { tension_n: 1.0, bending_stiffness_n_m2: 1.0, segments };
    result((target / string.stiffness_free_hz()?).powi(2))
}
