//! Refusal of arguments.

/// An argument lies outside the range of a formula.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{argument} = {value} is outside the range of the formula: {allowed}")]
pub struct DomainError {
    /// Name of the argument, as the function spells it, or `result`.
    pub argument: &'static str,
    /// Its value.
    pub value: f64,
    /// What is allowed.
    pub allowed: &'static str,
}

/// Passes a finite number above 0.
pub(crate) fn positive(argument: &'static str, value: f64) -> Result<f64, DomainError> {
    check(argument, value, value > 0.0, "a finite number above 0")
}

/// Passes a finite number of 0 or above.
pub(crate) fn not_negative(argument: &'static str, value: f64) -> Result<f64, DomainError> {
    check(argument, value, value >= 0.0, "a finite number of 0 or above")
}

/// Passes a finite number.
pub(crate) fn finite(argument: &'static str, value: f64) -> Result<f64, DomainError> {
    check(argument, value, true, "a finite number")
}

/// Passes a result that did not overflow: finite arguments can still be absurd together.
pub(crate) fn result(value: f64) -> Result<f64, DomainError> {
    finite("result", value)
}

/// Passes a finite number for which `inside` holds.
pub(crate) fn check(
    argument: &'static str,
    value: f64,
    inside: bool,
    allowed: &'static str,
) -> Result<f64, DomainError> {
    if value.is_finite() && inside { Ok(value) } else { Err(DomainError { argument, value, allowed }) }
}
