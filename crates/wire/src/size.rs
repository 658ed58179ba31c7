//! Size numbers of music wire.

use std::fmt;

/// Series of size numbers. The same number names different wires in the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SizeSeries {
    /// Inch series (music wire gauge): No. 13 is 0.031 in.
    Inch,
    /// Millimetre series: No. 13 is 0.775 mm.
    Millimetre,
}

impl SizeSeries {
    /// Both series.
    pub const ALL: [Self; 2] = [Self::Inch, Self::Millimetre];

    /// All numbers that the series defines, rising.
    #[must_use]
    pub fn numbers(self) -> Vec<SizeNumber> {
        (2 * FIRST_NUMBER..=2 * LAST_NUMBER)
            .filter_map(|half_steps| SizeNumber::of(self, half_steps))
            .collect()
    }
}

impl fmt::Display for SizeSeries {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Inch => "inch",
            Self::Millimetre => "millimetre",
        })
    }
}

/// The series defines no such number.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{series} series has no size No. {number}; it has {}", self.allowed())]
pub struct SizeError {
    /// The series.
    pub series: SizeSeries,
    /// The refused number.
    pub number: f64,
}

impl SizeError {
    /// Says which numbers the series has.
    #[must_use]
    pub const fn allowed(&self) -> &'static str {
        match self.series {
            SizeSeries::Inch => "6 to 30 in whole numbers and 12.5 to 22.5 in half sizes",
            SizeSeries::Millimetre => "12 to 22 in half sizes, 23, 23.5, 24, 24.5, 25 and 26",
        }
    }
}

const FIRST_NUMBER: u8 = 6;
const LAST_NUMBER: u8 = 30;

/// Diameters of No. 6 to 30 of the inch series, in thousandths of an inch.
const INCH_MIL: [u16; 25] =
    [16, 18, 20, 22, 24, 26, 29, 31, 33, 35, 37, 39, 41, 43, 45, 47, 49, 51, 55, 59, 63, 67, 71, 75, 80];

/// A size number that its series defines.
///
/// Numbers go in half steps; a number that the series does not define cannot be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SizeNumber {
    series: SizeSeries,
    half_steps: u8,
    /// Diameter in hundredths of a micrometre, in which every size of both series is a whole number.
    diameter_centi_um: u32,
}

impl SizeNumber {
    /// Looks a number up in its series.
    ///
    /// # Errors
    /// [`SizeError`] for a number that the series does not define, also one that is not a multiple of one
    /// half.
    pub fn new(series: SizeSeries, number: f64) -> Result<Self, SizeError> {
        let error = SizeError { series, number };
        let doubled = 2.0 * number;
        if !(doubled.fract() == 0.0 && (0.0..=255.0).contains(&doubled)) {
            return Err(error);
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and in 0..=255")]
        Self::of(series, doubled as u8).ok_or(error)
    }

    fn of(series: SizeSeries, half_steps: u8) -> Option<Self> {
        let diameter_centi_um = match series {
            SizeSeries::Inch => inch_centi_um(half_steps)?,
            SizeSeries::Millimetre => millimetre_centi_um(half_steps)?,
        };
        Some(Self { series, half_steps, diameter_centi_um })
    }

    /// Returns the series.
    #[must_use]
    pub const fn series(self) -> SizeSeries {
        self.series
    }

    /// Returns the number, a multiple of one half.
    #[must_use]
    pub fn number(self) -> f64 {
        f64::from(self.half_steps) / 2.0
    }

    /// Returns the diameter in mm, exact in decimal (0.7874 for No. 13 of the inch series).
    #[must_use]
    pub fn diameter_mm(self) -> f64 {
        f64::from(self.diameter_centi_um) / 100_000.0
    }
}

impl fmt::Display for SizeNumber {
    /// Writes the number alone: `13` or `13.5`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.number(), f)
    }
}

/// Whole numbers from the table; half sizes lie midway from No. 12½ to No. 22½ and are not defined elsewhere.
fn inch_centi_um(half_steps: u8) -> Option<u32> {
    const CENTI_UM_PER_HALF_MIL: u32 = 1270;
    let mil = |number: u8| {
        let index = usize::from(number.checked_sub(FIRST_NUMBER)?);
        INCH_MIL.get(index).copied().map(u32::from)
    };
    let below = half_steps / 2;
    let half_mils = if half_steps.is_multiple_of(2) {
        2 * mil(below)?
    } else if (12..=22).contains(&below) {
        mil(below)? + mil(below + 1)?
    } else {
        return None;
    };
    Some(half_mils * CENTI_UM_PER_HALF_MIL)
}

/// 0.725 mm at No. 12 and 0.025 mm for each half step to No. 22; above that the series has its own list.
fn millimetre_centi_um(half_steps: u8) -> Option<u32> {
    match half_steps {
        24..=44 => Some(72_500 + 2_500 * (u32::from(half_steps) - 24)),
        46 => Some(130_000),
        47 => Some(135_000),
        48 => Some(140_000),
        49 => Some(145_000),
        50 => Some(150_000),
        52 => Some(160_000),
        _ => None,
    }
}

/// Returns the diameter of a size number.
///
/// # Units
/// `number` without unit, in half steps; result in mm.
///
/// # Formula
/// ```text
/// inch series        table of No. 6 to 30; No. 12.5 to 22.5 midway between the neighbours
/// millimetre series  0.725 + 0.05·(n − 12) for No. 12 to 22; table of No. 23 to 26
/// ```
///
/// # Valid range and accuracy
/// Nominal sizes, exact. No. 23 and above have no half sizes in the inch series; nothing is interpolated.
///
/// # Errors
/// [`SizeError`] names series and number and says which numbers there are; never panics.
///
/// # Source
/// Inch series: music wire gauge, Machinery's Handbook (2012); its half sizes: encyclopedia article and a
/// trade list of 2003 (No. 22.5 from memory). Millimetre series: trade list of 2003.
///
/// # Examples
/// ```
/// use becket_wire::{SizeSeries, diameter_mm};
/// assert_eq!(diameter_mm(SizeSeries::Inch, 13.0)?, 0.7874); // 0.031 in
/// assert_eq!(diameter_mm(SizeSeries::Millimetre, 13.0)?, 0.775);
/// assert!(diameter_mm(SizeSeries::Inch, 23.5).is_err());
/// # Ok::<(), becket_wire::SizeError>(())
/// ```
pub fn diameter_mm(series: SizeSeries, number: f64) -> Result<f64, SizeError> {
    SizeNumber::new(series, number).map(SizeNumber::diameter_mm)
}
