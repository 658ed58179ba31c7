//! The wire station, and a coil as the floor sees it.

use std::collections::BTreeMap;

use becket_units::{Fault, Um};

use crate::coil::Coil;
use crate::ids::{CoilId, StationId};

/// A wire station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    /// Name of the station.
    pub station_id: StationId,
    /// Name for people, up to 120 characters.
    pub title: String,
    /// How many coils can be mounted at once, 1 to 64.
    pub reel_positions: u32,
    /// How many serials can have a tray in the rack at once, 1 to 1000.
    pub trays: u32,
    /// Coils by the reel position (from 1) on which they are mounted.
    pub mounted: BTreeMap<u32, CoilId>,
}

impl Station {
    /// All faults of the station's own data, by the names of the API.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        if self.title.chars().count() > 120 || self.title.chars().any(char::is_control) {
            faults.push(Fault::new(
                "title",
                &self.title,
                "up to 120 characters, none of them a control character",
            ));
        }
        if !(1..=64).contains(&self.reel_positions) {
            faults.push(Fault::new("reel_positions", self.reel_positions, "1 to 64"));
        }
        if !(1..=1000).contains(&self.trays) {
            faults.push(Fault::new("trays", self.trays, "1 to 1000"));
        }
        faults
    }

    /// Reel position of a coil, if it is mounted here.
    #[must_use]
    pub fn position_of(&self, coil_id: &CoilId) -> Option<u32> {
        self.mounted.iter().find_map(|(position, coil)| (coil == coil_id).then_some(*position))
    }
}

/// Where a coil is mounted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MountPlace {
    /// Station.
    pub station_id: StationId,
    /// Reel position, from 1.
    pub reel_position: u32,
}

/// A coil with all that a decision about it needs, seen from one cut list.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorCoil {
    /// The coil.
    pub coil: Coil,
    /// Version of the coil in the store; see [`CoilGuard`](crate::CoilGuard).
    pub version: i64,
    /// Length that other lists count on and have not cut yet.
    pub reserved_by_others: Um,
    /// A remnant of this wire shorter than this is scrap.
    pub smallest_remnant: Um,
    /// Where it is mounted.
    pub mounted: Option<MountPlace>,
}

impl FloorCoil {
    /// What remains less what others count on, never negative.
    #[must_use]
    pub fn free_of_others(&self) -> Um {
        self.coil.remaining.checked_sub(self.reserved_by_others).unwrap_or(Um::ZERO).max(Um::ZERO)
    }
}
