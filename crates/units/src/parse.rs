//! Reading of quantities that people type.

use crate::{INCH_MM, KGF_N, LB_G, LBF_N};

/// Why a quantity could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ParseQuantityError {
    /// The text does not begin with a plain decimal number.
    #[error("{text:?} does not begin with a number such as 54 or 0.031 (decimal point, no separators)")]
    Number {
        /// The refused text.
        text: String,
    },
    /// There is no unit; a bare number is never guessed at.
    #[error("{text:?} has no unit; use one of {accepted}")]
    NoUnit {
        /// The refused text.
        text: String,
        /// Units that are accepted.
        accepted: &'static str,
    },
    /// The unit is not one of those accepted for this quantity.
    #[error("{text:?} has the unit {unit:?}; use one of {accepted}")]
    UnknownUnit {
        /// The refused text.
        text: String,
        /// The unit that was found.
        unit: String,
        /// Units that are accepted.
        accepted: &'static str,
    },
    /// The number is too large to be represented.
    #[error("{text:?} is too large")]
    TooLarge {
        /// The refused text.
        text: String,
    },
}

/// Reads a length such as `54 mm`, `0.031in`, `14 in` or `1.2 m` and returns it in mm.
///
/// Units: um, µm, mm, cm, m, in, ft. The sign is kept; ranges are the business of the field that takes the
/// value.
///
/// # Errors
/// [`ParseQuantityError`] says what is wrong and which units are accepted; never panics.
///
/// # Examples
/// ```
/// use becket_units::parse_length_mm;
/// assert_eq!(parse_length_mm("14 in")?, 355.59999999999997);
/// assert!(parse_length_mm("14").is_err());
/// # Ok::<(), becket_units::ParseQuantityError>(())
/// ```
pub fn parse_length_mm(text: &str) -> Result<f64, ParseQuantityError> {
    const ACCEPTED: &str = "um, mm, cm, m, in, ft";
    parse(text, ACCEPTED, |unit| match unit {
        "um" | "µm" | "μm" => Some(1e-3),
        "mm" => Some(1.0),
        "cm" => Some(10.0),
        "m" => Some(1000.0),
        "in" => Some(INCH_MM),
        "ft" => Some(12.0 * INCH_MM),
        _ => None,
    })
}

/// Reads a force such as `757 N`, `170.2 lbf` or `79.5 kgf` and returns it in N.
///
/// Units: N, kN, lbf, kgf. Pounds and kilograms are refused, since they are masses here.
///
/// # Errors
/// [`ParseQuantityError`] says what is wrong and which units are accepted; never panics.
///
/// # Examples
/// ```
/// use becket_units::parse_force_n;
/// assert_eq!(parse_force_n("2 kN")?, 2000.0);
/// assert!(parse_force_n("170 lb").is_err());
/// # Ok::<(), becket_units::ParseQuantityError>(())
/// ```
pub fn parse_force_n(text: &str) -> Result<f64, ParseQuantityError> {
    const ACCEPTED: &str = "N, kN, lbf, kgf";
    parse(text, ACCEPTED, |unit| match unit {
        "N" => Some(1.0),
        "kN" => Some(1000.0),
        "lbf" => Some(LBF_N),
        "kgf" => Some(KGF_N),
        _ => None,
    })
}

/// Reads a mass such as `500 g`, `1 kg` or `5 lb` and returns it in g.
///
/// Units: g, kg, lb, oz (avoirdupois).
///
/// # Errors
/// [`ParseQuantityError`] says what is wrong and which units are accepted; never panics.
///
/// # Examples
/// ```
/// use becket_units::parse_mass_g;
/// assert_eq!(parse_mass_g("0.5kg")?, 500.0);
/// assert!(parse_mass_g("half a pound").is_err());
/// # Ok::<(), becket_units::ParseQuantityError>(())
/// ```
pub fn parse_mass_g(text: &str) -> Result<f64, ParseQuantityError> {
    const ACCEPTED: &str = "g, kg, lb, oz";
    parse(text, ACCEPTED, |unit| match unit {
        "g" => Some(1.0),
        "kg" => Some(1000.0),
        "lb" => Some(LB_G),
        "oz" => Some(LB_G / 16.0),
        _ => None,
    })
}

fn parse(
    text: &str,
    accepted: &'static str,
    factor: impl Fn(&str) -> Option<f64>,
) -> Result<f64, ParseQuantityError> {
    let owned = || text.to_owned();
    let trimmed = text.trim();
    let (number, unit) = trimmed.split_at(number_len(trimmed));
    let value: f64 = number.parse().map_err(|_| ParseQuantityError::Number { text: owned() })?;
    let unit = unit.trim_start();
    if unit.is_empty() {
        return Err(ParseQuantityError::NoUnit { text: owned(), accepted });
    }
    // "1,5 mm" and "1/2 in" would otherwise be reported as having the unit ",5 mm".
    if !unit.starts_with(char::is_alphabetic) {
        return Err(ParseQuantityError::Number { text: owned() });
    }
    let factor = factor(unit).ok_or_else(|| ParseQuantityError::UnknownUnit {
        text: owned(),
        unit: unit.to_owned(),
        accepted,
    })?;
    let result = value * factor;
    if result.is_finite() { Ok(result) } else { Err(ParseQuantityError::TooLarge { text: owned() }) }
}

/// Length in bytes of the plain decimal number at the start: sign, digits and point. No exponent, so that the
/// `e` of a unit can never be read as one; and no `inf` or `nan`.
fn number_len(text: &str) -> usize {
    let sign = usize::from(text.starts_with(['+', '-']));
    let digits = text.bytes().skip(sign).take_while(|b| b.is_ascii_digit() || *b == b'.').count();
    sign + digits
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_people_type() {
        let close =
            |text: &str, mm: f64| assert!((parse_length_mm(text).unwrap() - mm).abs() < 1e-9, "{text}");
        close("54 mm", 54.0);
        close("0.031in", 0.7874);
        close(" 14 in ", 355.6);
        close("1.2 m", 1200.0);
        close("-3 cm", -30.0);
        close(".5 ft", 152.4);
        close("787 µm", 0.787);
        assert!((parse_force_n("170.2 lbf").unwrap() - 757.087_318_917).abs() < 1e-6);
        assert!((parse_force_n("1 kgf").unwrap() - 9.806_65).abs() < 1e-12);
        assert!((parse_mass_g("16 oz").unwrap() - 453.592_37).abs() < 1e-9);
    }

    #[test]
    fn refuses_with_a_clear_reason() {
        use ParseQuantityError as E;
        for text in ["", "mm", "1,5 mm", "1/2 in", "1.2.3 mm", "inf mm", "NaN mm", "+", ".", "1 000 mm"] {
            assert!(matches!(parse_length_mm(text), Err(E::Number { .. })), "{text:?}");
        }
        assert!(matches!(parse_length_mm("14"), Err(E::NoUnit { .. })));
        assert!(matches!(parse_length_mm("14 lbf"), Err(E::UnknownUnit { .. })));
        assert!(matches!(parse_mass_g("1 N"), Err(E::UnknownUnit { .. })));
        let huge = format!("{} m", "9".repeat(400));
        assert!(matches!(parse_length_mm(&huge), Err(E::TooLarge { .. })));
        let message = parse_force_n("170 lb").unwrap_err().to_string();
        assert_eq!(message, "\"170 lb\" has the unit \"lb\"; use one of N, kN, lbf, kgf");
    }
}
