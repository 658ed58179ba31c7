//! Stations.

use std::collections::BTreeMap;

use becket_floor::StationId;
use becket_units::Fault;

use super::{Stamps, count};
use crate::cutting::{MountedReel, Station};
use crate::document::shortened;

/// Takes a station's own data; what is mounted is output only and left out.
///
/// # Errors
/// All faults, those of [`becket_floor::Station::faults`] included.
pub fn read_station(station: &Station) -> Result<becket_floor::Station, Vec<Fault>> {
    let Station {
        station_id,
        title,
        reel_positions,
        trays,
        mounted: _,
        etag: _,
        create_time: _,
        update_time: _,
    } = station;
    let mut faults = Vec::new();
    let id = StationId::new(station_id.as_str()).or_else(|_| {
        faults.push(Fault::new("station_id", shortened(station_id), StationId::ALLOWED));
        // All faults are told at once, so the rest is checked even under a name that is none.
        StationId::new("unnamed")
    });
    let Ok(station_id) = id else { return Err(faults) };
    // A negative number is as far below every range as 0 is; only the fault must show what was given.
    let number = |value: i32| u32::try_from(value).unwrap_or(0);
    let station = becket_floor::Station {
        station_id,
        title: title.clone(),
        reel_positions: number(*reel_positions),
        trays: number(*trays),
        mounted: BTreeMap::new(),
    };
    faults.extend(station.faults());
    for fault in &mut faults {
        match fault.field.as_str() {
            "reel_positions" => fault.value = reel_positions.to_string(),
            "trays" => fault.value = trays.to_string(),
            _ => {}
        }
    }
    if faults.is_empty() { Ok(station) } else { Err(faults) }
}

/// Shows a station with what is mounted.
#[must_use]
pub fn station(station: &becket_floor::Station, stamps: &Stamps) -> Station {
    let becket_floor::Station { station_id, title, reel_positions, trays, mounted } = station;
    let reel = |(position, coil_id): (&u32, &becket_floor::CoilId)| MountedReel {
        reel_position: count(*position),
        coil_id: coil_id.to_string(),
    };
    Station {
        station_id: station_id.to_string(),
        title: title.clone(),
        reel_positions: count(*reel_positions),
        trays: count(*trays),
        mounted: mounted.iter().map(reel).collect(),
        etag: stamps.etag(),
        create_time: Some(stamps.create_time()),
        update_time: Some(stamps.update_time()),
    }
}
