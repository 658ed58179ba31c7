//! Wire at the ends of a string: tuning pin and hitch pin.

use std::f64::consts::PI;

use crate::domain::{DomainError, not_negative, positive, result};

/// Returns the wire that the coil on a tuning pin takes, with its end in the pin's eye.
///
/// # Units
/// `turns` without unit, 0 or above; `pin_diameter_mm` and `wire_diameter_mm` in mm, above 0; `becket_mm`:
/// the end in the eye in mm, 0 or above. Result in mm.
///
/// # Formula
/// ```text
/// turns·√((π·(d_pin + d))² + d²) + becket
/// ```
///
/// # Valid range and accuracy
/// A close coil: one wire diameter of rise for each turn. The wire's centre runs half its diameter outside
/// the pin.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Length of a helix; elementary geometry.
///
/// # Examples
/// ```
/// use becket_acoustics::pin_take_up_mm;
/// // Three turns of .031 in wire on a .282 in pin, and across it: 3.232 in and the coil's rise.
/// let pin_mm = 0.282 * 25.4;
/// assert!((pin_take_up_mm(3.0, pin_mm, 0.031 * 25.4, pin_mm)? / 25.4 - 3.232).abs() < 2e-3);
/// assert!(pin_take_up_mm(-1.0, pin_mm, 0.031 * 25.4, pin_mm).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn pin_take_up_mm(
    turns: f64,
    pin_diameter_mm: f64,
    wire_diameter_mm: f64,
    becket_mm: f64,
) -> Result<f64, DomainError> {
    let turns = not_negative("turns", turns)?;
    let pin = positive("pin_diameter_mm", pin_diameter_mm)?;
    let wire = positive("wire_diameter_mm", wire_diameter_mm)?;
    let becket = not_negative("becket_mm", becket_mm)?;
    result(turns * (PI * (pin + wire)).hypot(wire) + becket)
}

/// Returns the wire that one leg of a looped piece takes at the hitch pin: half of the half turn.
///
/// # Units
/// `hitch_pin_diameter_mm` and `wire_diameter_mm` in mm, above 0. Result in mm.
///
/// # Formula
/// ```text
/// π·(d_hitch + d)/4
/// ```
///
/// # Valid range and accuracy
/// The wire bends round half of the pin, its centre half its diameter outside.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// Elementary geometry.
///
/// # Examples
/// ```
/// use becket_acoustics::hitch_leg_mm;
/// assert!((hitch_leg_mm(4.5, 1.0)? - 4.3197).abs() < 1e-4);
/// assert!(hitch_leg_mm(4.5, f64::NAN).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn hitch_leg_mm(hitch_pin_diameter_mm: f64, wire_diameter_mm: f64) -> Result<f64, DomainError> {
    let hitch = positive("hitch_pin_diameter_mm", hitch_pin_diameter_mm)?;
    let wire = positive("wire_diameter_mm", wire_diameter_mm)?;
    result(PI * (hitch + wire) / 4.0)
}
