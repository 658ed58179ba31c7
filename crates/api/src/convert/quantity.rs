//! Numbers with their units, for programs that read units from data.
//!
//! Source of the codes: UN/ECE Recommendation 20, "Codes for Units of Measure Used in International Trade".

use becket_units::Um;

use crate::cutting::Quantity;

fn quantity(value: f64, unit_code: &str) -> Quantity {
    Quantity { value, unit_code: unit_code.to_owned() }
}

/// A length in metres. The double nearest to the exact length, which has six decimals.
#[must_use]
pub fn metres(length: Um) -> Quantity {
    // One division of two exact numbers rounds once; by way of millimetres it would round twice. Lengths above 2^53 µm,
    // nine million kilometres, do not occur.
    #[expect(clippy::cast_precision_loss, reason = "no length of wire is above 2^53 µm")]
    quantity(length.get() as f64 / 1e6, "MTR")
}

/// A mass in kilograms, given in grams.
#[must_use]
pub fn kilograms(mass_g: f64) -> Quantity {
    quantity(mass_g / 1e3, "KGM")
}

/// A number of pieces.
#[must_use]
pub fn pieces(count: u32) -> Quantity {
    quantity(count.into(), "C62")
}
