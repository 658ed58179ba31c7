//! Units of the stringing trade: exact lengths in micrometres, conversions, parsing and formatting.
//!
//! This crate does not know wires, strings or pianos, performs no input or output and holds no state. It also
//! owns two small things that every validating crate needs: [`Fault`], the report of one wrong value, and
//! [`check_identifier`], the one rule for identifiers.

mod fault;
mod identifier;
mod parse;
mod system;
mod um;

pub use fault::Fault;
pub use identifier::{IdentifierError, check_identifier};
pub use parse::{ParseQuantityError, parse_force_n, parse_length_mm, parse_mass_g};
pub use system::{ParseUnitSystemError, UnitSystem};
pub use um::{LengthError, Um};

/// Millimetres in an inch; exact (international yard and pound agreement, 1959).
pub const INCH_MM: f64 = 25.4;
/// Newtons in a pound-force; exact (0.453 592 37 kg × 9.806 65 m/s²).
pub const LBF_N: f64 = 4.448_221_615_260_5;
/// Newtons in a kilogram-force; exact (standard gravity, 3rd CGPM, 1901).
pub const KGF_N: f64 = 9.806_65;
/// Grams in an avoirdupois pound; exact (international yard and pound agreement, 1959).
pub const LB_G: f64 = 453.592_37;
