//! Pitch: equal temperament and cents.

use crate::domain::{DomainError, check, finite, positive, result};

/// Number of the note A4.
const NOTE_A4: f64 = 49.0;

/// Returns the frequency of a note at equal temperament, moved by an offset.
///
/// # Units
/// `note` is the number of the note, -8 to 97 (1 is A0, 49 is A4, 88 is C8); `a4_hz` in Hz, above 0;
/// `offset_cents` in cents, -1200 to 1200; result in Hz.
///
/// # Formula
/// ```text
/// f = a4 · 2^((note − 49)/12 + offset/1200)
/// ```
///
/// # Valid range and accuracy
/// Exact by definition, to the rounding of `f64`.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// ISO 16 for A4 = 440 Hz; equal temperament by definition.
///
/// # Examples
/// ```
/// use becket_acoustics::equal_tempered_hz;
/// assert!((equal_tempered_hz(88, 440.0, 0.0)? - 4186.0090).abs() < 1e-4);
/// assert!(equal_tempered_hz(88, 0.0, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn equal_tempered_hz(note: i32, a4_hz: f64, offset_cents: f64) -> Result<f64, DomainError> {
    let note = check("note", f64::from(note), (-8..=97).contains(&note), "-8 to 97")?;
    let a4 = positive("a4_hz", a4_hz)?;
    let offset = check("offset_cents", offset_cents, offset_cents.abs() <= 1200.0, "-1200 to 1200 cents")?;
    result(a4 * ((note - NOTE_A4) / 12.0 + offset / 1200.0).exp2())
}

/// Returns the interval from one frequency to another.
///
/// # Units
/// `reference_hz` and `frequency_hz` in Hz, above 0; result in cents, positive if `frequency_hz` is the
/// higher.
///
/// # Formula
/// ```text
/// c = 1200 · log₂(f / f_ref)
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
/// use becket_acoustics::cents_between;
/// assert_eq!(cents_between(220.0, 440.0)?, 1200.0);
/// assert!(cents_between(0.0, 440.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn cents_between(reference_hz: f64, frequency_hz: f64) -> Result<f64, DomainError> {
    let reference = positive("reference_hz", reference_hz)?;
    let frequency = positive("frequency_hz", frequency_hz)?;
    // The difference of logarithms cannot overflow, as the quotient could.
    Ok(1200.0 * (frequency.log2() - reference.log2()))
}

/// Returns a frequency raised by an interval; the inverse of [`cents_between`].
///
/// # Units
/// `frequency_hz` in Hz, above 0; `cents` in cents, negative to lower it; result in Hz.
///
/// # Formula
/// ```text
/// f' = f · 2^(c/1200)
/// ```
///
/// # Valid range and accuracy
/// Exact by definition, to the rounding of `f64`.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite (or not above 0), or `result` if that overflows.
///
/// # Source
/// Definition of the cent.
///
/// # Examples
/// ```
/// use becket_acoustics::raised_hz;
/// assert_eq!(raised_hz(440.0, -1200.0)?, 220.0);
/// assert!(raised_hz(440.0, f64::INFINITY).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn raised_hz(frequency_hz: f64, cents: f64) -> Result<f64, DomainError> {
    let frequency = positive("frequency_hz", frequency_hz)?;
    result(frequency * (finite("cents", cents)? / 1200.0).exp2())
}
