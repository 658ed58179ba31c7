//! Exact lengths.

use std::fmt;

/// Micrometres in a millimetre.
const UM_PER_MM: f64 = 1000.0;

/// Largest magnitude that is converted from floating point: 2⁵⁰ µm, about a million km. Up to there a length
/// survives the way to mm and back: the two roundings of the factor 1000 stay well below half a micrometre.
const MAX_F64_UM: f64 = 1_125_899_906_842_624.0;

/// A whole number up to this distance in µm is taken to be meant when rounding up; it absorbs the rounding
/// errors of a sum of floating-point lengths (a few 10⁻¹⁰ µm for lengths of metres) and nothing that a tool
/// could cut.
const ROUND_UP_SLACK_UM: f64 = 1e-6;

/// Why a length was refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LengthError {
    /// The length is not a finite number or too large to be exact.
    #[error("length {mm} mm is not a finite number of at most 1125899906842.624 mm in magnitude")]
    NotRepresentable {
        /// The refused length in mm.
        mm: f64,
    },
    /// The step of a rounding is zero or negative.
    #[error("step {step} is not above 0")]
    StepNotPositive {
        /// The refused step.
        step: Um,
    },
    /// The result does not fit.
    #[error("the length is too large to be represented")]
    Overflow,
}

/// An exact length in whole micrometres.
///
/// Cut lengths are added, compared and packed into coils, where a rounding error could make two equal plans
/// differ; so they are whole numbers. Physics is computed in `f64` and converted once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Um(i64);

impl Um {
    /// No length.
    pub const ZERO: Self = Self(0);

    /// Makes a length of `um` micrometres.
    #[must_use]
    pub const fn new(um: i64) -> Self {
        Self(um)
    }

    /// Returns the number of micrometres.
    #[must_use]
    pub const fn get(self) -> i64 {
        self.0
    }

    /// Converts a length in mm to the nearest micrometre, halves away from zero.
    ///
    /// # Errors
    /// [`LengthError::NotRepresentable`] for NaN, an infinity or a magnitude above 2⁵⁰ µm.
    ///
    /// # Examples
    /// ```
    /// use becket_units::Um;
    /// assert_eq!(Um::from_mm_f64(0.7874)?, Um::new(787));
    /// assert!(Um::from_mm_f64(f64::NAN).is_err());
    /// # Ok::<(), becket_units::LengthError>(())
    /// ```
    pub fn from_mm_f64(mm: f64) -> Result<Self, LengthError> {
        Self::from_whole((mm * UM_PER_MM).round(), mm)
    }

    /// Converts a length in mm to whole micrometres, rounding up; a length less than 10⁻⁶ µm above a whole
    /// number is that number, so that floating-point noise does not add a micrometre.
    ///
    /// # Errors
    /// [`LengthError::NotRepresentable`] for NaN, an infinity or a magnitude above 2⁵⁰ µm.
    pub fn from_mm_f64_up(mm: f64) -> Result<Self, LengthError> {
        Self::from_whole((mm * UM_PER_MM - ROUND_UP_SLACK_UM).ceil(), mm)
    }

    #[expect(clippy::cast_possible_truncation, reason = "the value is whole and at most 2^50 in magnitude")]
    fn from_whole(um: f64, mm: f64) -> Result<Self, LengthError> {
        if um.abs() <= MAX_F64_UM { Ok(Self(um as i64)) } else { Err(LengthError::NotRepresentable { mm }) }
    }

    /// Returns the length in mm; exact to well below half a micrometre for lengths up to 2⁵⁰ µm.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "documented: good to 2^50 µm")]
    pub fn as_mm(self) -> f64 {
        self.0 as f64 / UM_PER_MM
    }

    /// Adds; `None` on overflow.
    #[must_use]
    pub const fn checked_add(self, other: Self) -> Option<Self> {
        match self.0.checked_add(other.0) {
            Some(um) => Some(Self(um)),
            None => None,
        }
    }

    /// Subtracts; `None` on overflow.
    #[must_use]
    pub const fn checked_sub(self, other: Self) -> Option<Self> {
        match self.0.checked_sub(other.0) {
            Some(um) => Some(Self(um)),
            None => None,
        }
    }

    /// Multiplies by a count; `None` on overflow.
    #[must_use]
    pub const fn checked_mul(self, count: i64) -> Option<Self> {
        match self.0.checked_mul(count) {
            Some(um) => Some(Self(um)),
            None => None,
        }
    }

    /// Adds up lengths; `None` on overflow.
    pub fn checked_sum(lengths: impl IntoIterator<Item = Self>) -> Option<Self> {
        lengths.into_iter().try_fold(Self::ZERO, Self::checked_add)
    }

    /// Returns the smallest multiple of `step` that is not below this length.
    ///
    /// # Errors
    /// [`LengthError::StepNotPositive`] if `step` is zero or negative, [`LengthError::Overflow`] if the
    /// result does not fit.
    ///
    /// # Examples
    /// ```
    /// use becket_units::Um;
    /// assert_eq!(Um::new(1_000_001).ceil_to(Um::new(1_000))?, Um::new(1_001_000));
    /// assert!(Um::new(5).ceil_to(Um::ZERO).is_err());
    /// # Ok::<(), becket_units::LengthError>(())
    /// ```
    pub fn ceil_to(self, step: Self) -> Result<Self, LengthError> {
        if step.0 <= 0 {
            return Err(LengthError::StepNotPositive { step });
        }
        let rest = self.0.rem_euclid(step.0);
        if rest == 0 {
            return Ok(self);
        }
        // In this order nothing overflows unless the result itself does: 0 < step - rest < step.
        self.0.checked_add(step.0 - rest).map(Self).ok_or(LengthError::Overflow)
    }
}

impl fmt::Display for Um {
    /// Writes the length in mm with three decimals and unit, exactly: `1234.500 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let um = self.0.unsigned_abs();
        write!(f, "{sign}{}.{:03} mm", um / 1000, um % 1000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn display_is_exact() {
        assert_eq!(Um::new(1_234_500).to_string(), "1234.500 mm");
        assert_eq!(Um::new(-7).to_string(), "-0.007 mm");
        assert_eq!(Um::new(i64::MIN).to_string(), "-9223372036854775.808 mm");
    }

    #[test]
    fn rounding_up_absorbs_noise_only() {
        assert_eq!(Um::from_mm_f64_up(0.1 + 0.2), Ok(Um::new(300)));
        assert_eq!(Um::from_mm_f64_up(0.300_01), Ok(Um::new(301)));
        assert_eq!(Um::from_mm_f64_up(0.300_000_1), Ok(Um::new(301)));
        assert_eq!(Um::from_mm_f64_up(-0.000_5), Ok(Um::ZERO));
    }

    #[test]
    fn refuses_what_is_not_a_length() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e13, -1e13] {
            assert!(matches!(Um::from_mm_f64(bad), Err(LengthError::NotRepresentable { .. })));
            assert!(matches!(Um::from_mm_f64_up(bad), Err(LengthError::NotRepresentable { .. })));
        }
    }

    #[test]
    fn overflow_is_reported() {
        let top = Um::new(i64::MAX);
        assert_eq!(top.checked_add(Um::new(1)), None);
        assert_eq!(Um::new(i64::MIN).checked_sub(Um::new(1)), None);
        assert_eq!(top.checked_mul(2), None);
        assert_eq!(top.ceil_to(Um::new(1000)), Err(LengthError::Overflow));
        assert_eq!(Um::checked_sum([top, Um::new(1)]), None);
        assert_eq!(Um::checked_sum([Um::new(2), Um::new(3)]), Some(Um::new(5)));
    }

    proptest! {
        #[test]
        fn mm_round_trip(um in -(1_i64 << 50)..=(1_i64 << 50)) {
            prop_assert_eq!(Um::from_mm_f64(Um::new(um).as_mm()), Ok(Um::new(um)));
        }

        #[test]
        fn ceil_is_the_least_multiple(um in any::<i32>(), step in 1_i64..100_000) {
            let up = Um::new(um.into()).ceil_to(Um::new(step)).unwrap().get();
            prop_assert_eq!(up % step, 0);
            prop_assert!(up >= um.into() && up - step < um.into());
        }

        #[test]
        fn up_is_never_below(mm in 0.0..5000.0_f64) {
            let up = Um::from_mm_f64_up(mm).unwrap().as_mm();
            prop_assert!(up > mm - 1e-8 && up < mm + 1.001e-3);
        }
    }
}
