//! The report of one wrong value.

use std::fmt;

/// One thing that is wrong with a piece of input: where, what was given and what is allowed.
///
/// A validation returns all faults it finds, so that a caller can mend them in one pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Path of the field as the API names it, such as `diameter_mm` or
    /// `strength.table.points[3].diameter_mm`.
    pub field: String,
    /// The value as it was given.
    pub value: String,
    /// What is allowed, in words or as a range.
    pub allowed: String,
}

impl Fault {
    /// Builds a fault from the path of a field, the value given and a statement of what is allowed.
    pub fn new(field: impl Into<String>, value: impl fmt::Display, allowed: impl Into<String>) -> Self {
        Self { field: field.into(), value: value.to_string(), allowed: allowed.into() }
    }

    /// Returns a fault if `value` is not a finite number in `low..=high`, both in the unit that `unit` names.
    ///
    /// NaN and the infinities lie outside every range.
    pub fn outside(field: impl Into<String>, value: f64, low: f64, high: f64, unit: &str) -> Option<Self> {
        if (low..=high).contains(&value) {
            return None;
        }
        let space = if unit.is_empty() { "" } else { " " };
        Some(Self::new(field, value, format!("{low} to {high}{space}{unit}")))
    }

    /// Puts `prefix` before the path of the field: `wires[2]` and `diameter_mm` give `wires[2].diameter_mm`.
    #[must_use]
    pub fn within(mut self, prefix: &str) -> Self {
        self.field = format!("{prefix}.{}", self.field);
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {:?} is not allowed; allowed: {}", self.field, self.value, self.allowed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn range_ends_are_allowed_and_no_number_is_not() {
        assert_eq!(Fault::outside("x", 1.0, 1.0, 2.0, "mm"), None);
        assert_eq!(Fault::outside("x", 2.0, 1.0, 2.0, "mm"), None);
        for bad in [0.999, 2.001, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let fault = Fault::outside("x", bad, 1.0, 2.0, "mm").unwrap();
            assert_eq!(fault.value, bad.to_string());
            assert_eq!(fault.allowed, "1 to 2 mm");
        }
    }

    #[test]
    fn prefix_and_text() {
        let fault = Fault::new("diameter_mm", 9, "0.05 to 6 mm").within("wires[2]");
        assert_eq!(fault.to_string(), "wires[2].diameter_mm: \"9\" is not allowed; allowed: 0.05 to 6 mm");
    }
}
