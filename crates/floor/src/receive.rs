//! How a coil comes into stock.

use becket_units::{Fault, Um};

use crate::coil::{Coil, CoilState};
use crate::date::is_iso_date;
use crate::error::FloorError;
use crate::ids::{CoilId, LotId, WireId};

/// Longest coil: 1000 km. Sums over any stock then fit into 64 bits.
pub const MAX_COIL_LENGTH: Um = Um::new(1_000_000_000_000);

/// How much was received.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// Net mass in g.
    MassG(f64),
    /// Length in mm.
    LengthMm(f64),
}

/// A coil as it is received.
#[derive(Debug, Clone, PartialEq)]
pub struct NewCoil {
    /// Name.
    pub coil_id: CoilId,
    /// Wire on it.
    pub wire_id: WireId,
    /// Lot or heat number.
    pub lot_id: LotId,
    /// Day of receipt, ISO 8601.
    pub received_date: String,
    /// How much was received.
    pub amount: Amount,
    /// What is left in mm, for a coil that was opened before it was booked.
    pub remaining_length_mm: Option<f64>,
    /// Linear density of the wire in g/m, as the catalogue has it.
    pub linear_density_g_m: f64,
}

impl NewCoil {
    /// Books the coil into stock. The length follows from the mass as m/μ, to the nearest micrometre.
    ///
    /// A coil with a remaining length was opened before; the difference to what was received is a correction.
    ///
    /// # Errors
    /// [`FloorError::Invalid`] with all faults, by the names of the API.
    pub fn receive(self) -> Result<Coil, FloorError> {
        let mut faults = Vec::new();
        if !is_iso_date(&self.received_date) {
            faults.push(Fault::new(
                "received_date",
                &self.received_date,
                "a day in ISO 8601, such as 2026-11-30",
            ));
        }
        if !(self.linear_density_g_m.is_finite() && self.linear_density_g_m > 0.0) {
            faults.push(Fault::new("wire_id", &self.wire_id, "a wire with a linear density above 0 g/m"));
        }
        let (field, value, length) = match self.amount {
            Amount::MassG(mass_g) => {
                ("received_mass_g", mass_g, length_of_mass(mass_g, self.linear_density_g_m))
            }
            Amount::LengthMm(mm) => ("received_length_mm", mm, Um::from_mm_f64(mm).ok()),
        };
        let received = length.filter(|l| *l > Um::ZERO && *l <= MAX_COIL_LENGTH);
        if received.is_none() && faults.iter().all(|fault| fault.field != "wire_id") {
            faults.push(Fault::new(field, value, "more than nothing and at most 1000 km of wire"));
        }
        let remaining = self.remaining_length_mm.map(|mm| {
            Um::from_mm_f64(mm).ok().filter(|l| *l >= Um::ZERO && *l <= MAX_COIL_LENGTH).ok_or_else(|| {
                faults.push(Fault::new("remaining_length_mm", mm, "0 to 1000000000 mm"));
            })
        });
        let (Some(received), true) = (received, faults.is_empty()) else {
            return Err(FloorError::Invalid(faults));
        };
        let (remaining, state) = match remaining {
            None | Some(Err(())) => (received, CoilState::Sealed),
            Some(Ok(Um::ZERO)) => (Um::ZERO, CoilState::UsedUp),
            Some(Ok(left)) => (left, CoilState::Opened),
        };
        let adjusted = remaining.checked_sub(received);
        let adjusted = adjusted.ok_or_else(|| FloorError::TooLong { coil_id: self.coil_id.clone() })?;
        Ok(Coil {
            coil_id: self.coil_id,
            wire_id: self.wire_id,
            lot_id: self.lot_id,
            received_date: self.received_date,
            state,
            received,
            remaining,
            cut: Um::ZERO,
            scrapped: Um::ZERO,
            adjusted,
            linear_density_g_m: self.linear_density_g_m,
        })
    }
}

/// Length of wire with a mass in g and a linear density in g/m, to the nearest micrometre; `None` where that is no length.
pub(crate) fn length_of_mass(mass_g: f64, linear_density_g_m: f64) -> Option<Um> {
    const MM_PER_M: f64 = 1000.0;
    if !(linear_density_g_m > 0.0 && mass_g >= 0.0) {
        return None;
    }
    Um::from_mm_f64(mass_g / linear_density_g_m * MM_PER_M).ok()
}
