//! Printing of quantities for people.

use std::{fmt, str::FromStr};

use crate::{INCH_MM, LB_G, LBF_N};

/// The system in which quantities are shown. It changes what is printed, never what is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum UnitSystem {
    /// Millimetres, newtons, grams.
    #[default]
    Metric,
    /// Inches, pounds-force, pounds.
    Inch,
}

/// The text names no system of units.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is not a system of units; use metric or inch")]
pub struct ParseUnitSystemError {
    /// The refused text.
    pub text: String,
}

impl UnitSystem {
    /// Shows a length given in mm: `1234.5 mm` or `48.602 in`.
    #[must_use]
    pub fn length(self, mm: f64) -> String {
        match self {
            Self::Metric => format!("{mm:.1} mm"),
            Self::Inch => format!("{:.3} in", mm / INCH_MM),
        }
    }

    /// Shows a wire diameter given in mm, finely enough to tell half sizes apart: `0.787 mm` or `0.0310 in`.
    #[must_use]
    pub fn diameter(self, mm: f64) -> String {
        match self {
            Self::Metric => format!("{mm:.3} mm"),
            Self::Inch => format!("{:.4} in", mm / INCH_MM),
        }
    }

    /// Shows a force given in N: `757.1 N` or `170.2 lbf`.
    #[must_use]
    pub fn force(self, n: f64) -> String {
        match self {
            Self::Metric => format!("{n:.1} N"),
            Self::Inch => format!("{:.1} lbf", n / LBF_N),
        }
    }

    /// Shows a mass given in g: `453.6 g` or `1.000 lb`.
    #[must_use]
    pub fn mass(self, g: f64) -> String {
        match self {
            Self::Metric => format!("{g:.1} g"),
            Self::Inch => format!("{:.3} lb", g / LB_G),
        }
    }
}

impl fmt::Display for UnitSystem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Metric => "metric",
            Self::Inch => "inch",
        })
    }
}

impl FromStr for UnitSystem {
    type Err = ParseUnitSystemError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "metric" => Ok(Self::Metric),
            "inch" => Ok(Self::Inch),
            _ => Err(ParseUnitSystemError { text: text.to_owned() }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{parse_force_n, parse_length_mm, parse_mass_g};
    use proptest::prelude::*;

    #[test]
    fn shows_both_systems() {
        assert_eq!(UnitSystem::Metric.length(1234.5), "1234.5 mm");
        assert_eq!(UnitSystem::Inch.length(355.6), "14.000 in");
        assert_eq!(UnitSystem::Inch.diameter(0.7874), "0.0310 in");
        assert_eq!(UnitSystem::Inch.force(757.087_319), "170.2 lbf");
        assert_eq!(UnitSystem::Inch.mass(453.592_37), "1.000 lb");
    }

    #[test]
    fn names_round_trip() {
        for system in [UnitSystem::Metric, UnitSystem::Inch] {
            assert_eq!(system.to_string().parse(), Ok(system));
        }
        assert!("imperial".parse::<UnitSystem>().is_err());
    }

    proptest! {
        // Half a unit of the last printed place, in the base unit, and a little for binary rounding.
        #[test]
        fn what_is_printed_can_be_read_back(x in 0.0..100_000.0_f64) {
            for (system, length, diameter, force, mass) in [
                (UnitSystem::Metric, 0.05, 0.0005, 0.05, 0.05),
                (UnitSystem::Inch, 0.0005 * INCH_MM, 0.00005 * INCH_MM, 0.05 * LBF_N, 0.0005 * LB_G),
            ] {
                let near = |read: f64, half: f64| (read - x).abs() <= half + 1e-9;
                prop_assert!(near(parse_length_mm(&system.length(x)).unwrap(), length));
                prop_assert!(near(parse_length_mm(&system.diameter(x)).unwrap(), diameter));
                prop_assert!(near(parse_force_n(&system.force(x)).unwrap(), force));
                prop_assert!(near(parse_mass_g(&system.mass(x)).unwrap(), mass));
            }
        }
    }
}
