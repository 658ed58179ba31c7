//! Jobs and what was measured on a serial.

use becket_floor::{SerialId, StationId, is_iso_date};
use becket_scale::ComputeOptionsDraft;
use becket_units::{Fault, IdentifierError, check_identifier};

use super::within;
use crate::document::shortened;
use crate::stringing::{AsBuilt, Job};

impl From<&AsBuilt> for becket_scale::AsBuilt {
    fn from(as_built: &AsBuilt) -> Self {
        let AsBuilt { note, speaking_mm, front_mm, back_mm, tuning_pin_diameter_mm, wire_id } = as_built;
        Self {
            note: *note,
            speaking_mm: *speaking_mm,
            front_mm: *front_mm,
            back_mm: *back_mm,
            tuning_pin_diameter_mm: *tuning_pin_diameter_mm,
            wire_id: wire_id.clone(),
        }
    }
}

impl From<&becket_scale::AsBuilt> for AsBuilt {
    fn from(as_built: &becket_scale::AsBuilt) -> Self {
        let becket_scale::AsBuilt { note, speaking_mm, front_mm, back_mm, tuning_pin_diameter_mm, wire_id } =
            as_built;
        Self {
            note: *note,
            speaking_mm: *speaking_mm,
            front_mm: *front_mm,
            back_mm: *back_mm,
            tuning_pin_diameter_mm: *tuning_pin_diameter_mm,
            wire_id: wire_id.clone(),
        }
    }
}

/// All faults of a job that can be seen without its scale: ids, due date, options. Whether its measurements are sound
/// says [`becket_scale::Scale::with_as_built`].
#[must_use]
pub fn job_faults(job: &Job) -> Vec<Fault> {
    let Job {
        serial_id,
        model_id,
        revision_id,
        options,
        due_date,
        station_id,
        as_built: _,
        state: _,
        etag: _,
        create_time: _,
        update_time: _,
        freeze_time: _,
    } = job;
    let mut faults = Vec::new();
    let mut check = |field: &str, value: &str, sound: bool, allowed: &str| {
        if !sound {
            faults.push(Fault::new(field, shortened(value), allowed));
        }
    };
    check("serial_id", serial_id, SerialId::new(serial_id.as_str()).is_ok(), SerialId::ALLOWED);
    check("model_id", model_id, check_identifier(model_id).is_ok(), IdentifierError::ALLOWED);
    check("revision_id", revision_id, check_identifier(revision_id).is_ok(), IdentifierError::ALLOWED);
    check("due_date", due_date, is_iso_date(due_date), "a day in ISO 8601, such as 2026-11-30");
    check("station_id", station_id, StationId::new(station_id.as_str()).is_ok(), StationId::ALLOWED);
    let options = options.as_ref().map(ComputeOptionsDraft::from).unwrap_or_default();
    if let Err(found) = options.validate() {
        faults.extend(within(found, "options"));
    }
    faults
}
