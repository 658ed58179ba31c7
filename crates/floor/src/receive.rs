//! How a coil comes into stock.

use becket_units::{Fault, Um};

use crate::coil::{Coil, CoilState};
use crate::date::is_iso_date;
use crate::error::FloorError;
use crate::estimate::{LengthEstimate, density_sd};
use crate::ids::{CoilId, LotId, WireId};

/// Longest coil: 1000 km. Sums over any stock then fit into 64 bits.
pub const MAX_COIL_LENGTH: Um = Um::new(1_000_000_000_000);

/// Days in ISO 8601 sort like the days that they name.
const FIRST_RECEIPT: &str = "1950-01-01";
const LAST_RECEIPT: &str = "2200-12-31";

/// Standard deviation of a received length as a part of it, where none is stated: of the mass that a label states, or of the
/// length. Common practice, no source.
const RECEIVED_SD_SHARE: f64 = 0.003;

/// Standard deviation of what is left on an opened coil as a part of what was received, where none is stated. Common practice,
/// no source.
const LEFT_SD_SHARE: f64 = 0.01;

/// Smallest standard deviation of a length that may be stated, in mm: nobody knows a coil better.
const LEAST_SD_MM: f64 = 1.0;

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
    /// Standard deviation in mm of the length that is on the coil: of [`remaining_length_mm`](Self::remaining_length_mm) if that
    /// is stated, else of what was received, the tolerance of the wire included.
    pub length_sd_mm: Option<f64>,
    /// Linear density of the wire in g/m, as the catalogue has it.
    pub linear_density_g_m: f64,
}

impl NewCoil {
    /// Books the coil into stock. The length follows from the mass as m/μ, to the nearest micrometre.
    ///
    /// A coil with a remaining length was opened before; the difference to what was received is a correction.
    ///
    /// How well the length is known follows from `length_sd_mm`, or else from 0.3 % of the mass or length received and, for a
    /// mass, the tolerance of the wire ([`density_sd`]); for what is left on an opened coil from 1 % of what was received.
    ///
    /// # Errors
    /// [`FloorError::Invalid`] with all faults, by the names of the API.
    pub fn receive(self) -> Result<Coil, FloorError> {
        let mut faults = Vec::new();
        faults.extend(received_date_fault(&self.received_date));
        faults.extend(length_sd_fault(self.length_sd_mm));
        if !(self.linear_density_g_m.is_finite() && self.linear_density_g_m > 0.0) {
            faults.push(Fault::new("wire_id", &self.wire_id, "a wire with a linear density above 0 g/m"));
        }
        let received = keep(received_length(self.amount, self.linear_density_g_m), &mut faults).flatten();
        let remaining =
            self.remaining_length_mm.map(|mm| keep(remaining_length(mm, received), &mut faults).ok_or(()));
        let (Some(received), true) = (received, faults.is_empty()) else {
            return Err(FloorError::Invalid(faults));
        };
        let (remaining, state) = match remaining {
            None | Some(Err(())) => (received, CoilState::Sealed),
            Some(Ok(Um::ZERO)) => (Um::ZERO, CoilState::UsedUp),
            Some(Ok(left)) => (left, CoilState::Opened),
        };
        let estimate = self.estimate(received, remaining);
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
            estimate,
        })
    }

    /// How well the length on the coil is known.
    fn estimate(&self, received: Um, remaining: Um) -> LengthEstimate {
        let density_sd = density_sd(self.linear_density_g_m);
        if self.remaining_length_mm.is_some() {
            let sd_mm = self.length_sd_mm.unwrap_or(received.as_mm() * LEFT_SD_SHARE);
            return LengthEstimate::of_length(if remaining == Um::ZERO { 0.0 } else { sd_mm }, density_sd);
        }
        let length_mm = received.as_mm();
        let own_sd_mm = length_mm * RECEIVED_SD_SHARE;
        match (self.amount, self.length_sd_mm) {
            (Amount::LengthMm(_), sd_mm) => LengthEstimate::of_length(sd_mm.unwrap_or(own_sd_mm), density_sd),
            (Amount::MassG(_), None) => LengthEstimate::of_mass(received, own_sd_mm, density_sd),
            (Amount::MassG(_), Some(sd_mm)) => {
                // Whoever states less than the tolerance of the wire knows its linear density so well; what is stated beyond it
                // is due to the mass.
                let of_wire = density_sd.min(sd_mm / length_mm);
                let own = (sd_mm * sd_mm - of_wire * of_wire * length_mm * length_mm).max(0.0).sqrt();
                LengthEstimate::of_mass(received, own.max(LEAST_SD_MM), of_wire)
            }
        }
    }
}

/// What is faulty about a receipt besides its ids and its wire, whose linear density is not known; by the names of the API.
#[must_use]
pub fn receipt_faults(
    received_date: &str,
    amount: Option<Amount>,
    remaining_length_mm: Option<f64>,
    length_sd_mm: Option<f64>,
) -> Vec<Fault> {
    let mut faults: Vec<Fault> = received_date_fault(received_date).into_iter().collect();
    faults.extend(length_sd_fault(length_sd_mm));
    let received = amount.and_then(|amount| keep(received_length(amount, f64::NAN), &mut faults)).flatten();
    if let Some(mm) = remaining_length_mm {
        keep(remaining_length(mm, received), &mut faults);
    }
    faults
}

/// A day of the years in which a coil that is still in stock can have been received; others are mistyped.
fn received_date_fault(received_date: &str) -> Option<Fault> {
    let years = FIRST_RECEIPT..=LAST_RECEIPT;
    if is_iso_date(received_date) && years.contains(&received_date) {
        return None;
    }
    let shown: String = received_date.chars().take(63).collect();
    let allowed = "a day in ISO 8601, such as 2026-11-30, of the years 1950 to 2200";
    Some(Fault::new("received_date", shown, allowed))
}

/// From a millimetre to the longest coil.
fn length_sd_fault(length_sd_mm: Option<f64>) -> Option<Fault> {
    Fault::outside("length_sd_mm", length_sd_mm?, LEAST_SD_MM, MAX_COIL_LENGTH.as_mm(), "mm")
}

/// The length received; `None` for a good mass of wire whose linear density is not known.
fn received_length(amount: Amount, linear_density_g_m: f64) -> Result<Option<Um>, Fault> {
    let (field, value, length) = match amount {
        Amount::MassG(mass_g) if linear_density_g_m.is_finite() && linear_density_g_m > 0.0 => {
            ("received_mass_g", mass_g, length_of_mass(mass_g, linear_density_g_m))
        }
        Amount::MassG(mass_g) if mass_g.is_finite() && mass_g > 0.0 => return Ok(None),
        Amount::MassG(mass_g) => ("received_mass_g", mass_g, None),
        Amount::LengthMm(mm) => ("received_length_mm", mm, Um::from_mm_f64(mm).ok()),
    };
    match length.filter(|length| *length > Um::ZERO && *length <= MAX_COIL_LENGTH) {
        Some(length) => Ok(Some(length)),
        None => Err(Fault::new(field, value, "more than nothing and at most 1000 km of wire")),
    }
}

/// The length left on a coil, no more than was received, as far as that is known.
fn remaining_length(mm: f64, received: Option<Um>) -> Result<Um, Fault> {
    let most = received.unwrap_or(MAX_COIL_LENGTH);
    let length = Um::from_mm_f64(mm).ok().filter(|length| *length >= Um::ZERO && *length <= most);
    length.ok_or_else(|| {
        let what = if received.is_some() { ", which is what was received" } else { "" };
        Fault::new("remaining_length_mm", mm, format!("0 to {} mm{what}", most.as_mm()))
    })
}

fn keep<T>(result: Result<T, Fault>, faults: &mut Vec<Fault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}

/// Length of wire with a mass in g and a linear density in g/m, to the nearest micrometre; `None` where that is no length.
pub(crate) fn length_of_mass(mass_g: f64, linear_density_g_m: f64) -> Option<Um> {
    const MM_PER_M: f64 = 1000.0;
    if !(linear_density_g_m > 0.0 && mass_g >= 0.0) {
        return None;
    }
    Um::from_mm_f64(mass_g / linear_density_g_m * MM_PER_M).ok()
}
