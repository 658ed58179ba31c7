//! The floor while a transition is worked out: coils and reel positions as the bookings so far have left them.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::change::{CoilGuard, FloorChange};
use crate::coil::{Booking, BookingKind, CoilState};
use crate::cut_list::{CutList, CutListState};
use crate::error::FloorError;
use crate::ids::CoilId;
use crate::station::{FloorCoil, MountPlace, Station};
use crate::step::{Step, StepKind, TailUse};

pub(crate) struct Work {
    pub(crate) coils: BTreeMap<CoilId, FloorCoil>,
    pub(crate) station: Station,
    pub(crate) change: FloorChange,
    guarded: BTreeSet<CoilId>,
}

impl Work {
    pub(crate) fn on(list: &CutList, coils: &[FloorCoil], station: &Station) -> Self {
        Self {
            coils: coils.iter().map(|c| (c.coil.coil_id.clone(), c.clone())).collect(),
            station: station.clone(),
            change: FloorChange::of(list),
            guarded: BTreeSet::new(),
        }
    }

    /// The coil, guarded: whoever looks at a coil relies on what it reads.
    pub(crate) fn coil(&mut self, coil_id: &CoilId) -> Result<&mut FloorCoil, FloorError> {
        let coil = self
            .coils
            .get_mut(coil_id)
            .ok_or_else(|| FloorError::CoilUnknown { coil_id: coil_id.clone() })?;
        if self.guarded.insert(coil_id.clone()) {
            let guard =
                CoilGuard { coil_id: coil_id.clone(), version: coil.version, reserved_by_others: None };
            self.change.guards.push(guard);
        }
        Ok(coil)
    }

    /// Makes the change rest on what others have reserved on a coil, too.
    pub(crate) fn rely_on_others(&mut self, coil_id: &CoilId) -> Result<Um, FloorError> {
        let reserved = self.coil(coil_id)?.reserved_by_others;
        for guard in self.change.guards.iter_mut().filter(|guard| guard.coil_id == *coil_id) {
            guard.reserved_by_others = Some(reserved);
        }
        Ok(reserved)
    }

    pub(crate) fn book(&mut self, coil_id: &CoilId, kind: BookingKind, amount: Um) -> Result<(), FloorError> {
        if amount == Um::ZERO {
            return Ok(());
        }
        let coil = &mut self.coil(coil_id)?.coil;
        let booking = coil.booking(kind, amount);
        coil.apply(&booking)?;
        self.change.bookings.push(booking);
        Ok(())
    }

    /// Books a correction that rests on a finding, even if its amount is 0: the length is known better after it.
    pub(crate) fn book_finding(&mut self, booking: Booking) -> Result<(), FloorError> {
        self.coil(&booking.coil_id)?.coil.apply(&booking)?;
        self.change.bookings.push(booking);
        Ok(())
    }

    /// Books wire that was in fact taken off a coil. If the coil held less than that by the books, the books were wrong, and
    /// they are corrected first, by what is missing.
    /// Whoever lets a caller state the length bounds it before.
    pub(crate) fn take(&mut self, coil_id: &CoilId, kind: BookingKind, length: Um) -> Result<Um, FloorError> {
        let remaining = self.coil(coil_id)?.coil.remaining;
        let missing = length.checked_sub(remaining);
        let missing = missing.ok_or_else(|| FloorError::TooLong { coil_id: coil_id.clone() })?;
        if missing > Um::ZERO {
            self.book(coil_id, BookingKind::Adjust, missing)?;
        }
        self.book(coil_id, kind, length)?;
        Ok(self.coil(coil_id)?.coil.remaining)
    }

    pub(crate) fn set_state(&mut self, coil_id: &CoilId, state: CoilState) -> Result<(), FloorError> {
        let coil = &mut self.coil(coil_id)?.coil;
        if coil.state != state {
            coil.state = state;
            self.change.coil_states.push((coil_id.clone(), state));
        }
        Ok(())
    }

    pub(crate) fn put_on(&mut self, coil_id: &CoilId, reel_position: u32) -> Result<(), FloorError> {
        if !(1..=self.station.reel_positions).contains(&reel_position) {
            return Err(FloorError::PositionMissing { reel_position });
        }
        if let Some(other) = self.station.mounted.get(&reel_position) {
            return Err(FloorError::PositionTaken { reel_position, coil_id: other.clone() });
        }
        let station_id = self.station.station_id.clone();
        let coil = self.coil(coil_id)?;
        if let Some(MountPlace { station_id, reel_position }) = coil.mounted.clone() {
            return Err(FloorError::CoilMountedElsewhere {
                coil_id: coil_id.clone(),
                station_id,
                reel_position,
            });
        }
        coil.mounted = Some(MountPlace { station_id, reel_position });
        self.station.mounted.insert(reel_position, coil_id.clone());
        self.change.mounted.push((reel_position, Some(coil_id.clone())));
        Ok(())
    }

    pub(crate) fn take_off(&mut self, coil_id: &CoilId, reel_position: u32) -> Result<(), FloorError> {
        self.coil(coil_id)?.mounted = None;
        self.station.mounted.remove(&reel_position);
        self.change.mounted.push((reel_position, None));
        Ok(())
    }

    pub(crate) fn require_mounted(&self, step: &Step) -> Result<(), FloorError> {
        if self.station.mounted.get(&step.reel_position) == Some(&step.coil_id) {
            return Ok(());
        }
        Err(FloorError::CoilNotMounted {
            step_number: step.step_number,
            coil_id: step.coil_id.clone(),
            reel_position: step.reel_position,
        })
    }

    pub(crate) fn require_usable(&mut self, coil_id: &CoilId) -> Result<(), FloorError> {
        let state = self.coil(coil_id)?.coil.state;
        if state.is_usable() {
            return Ok(());
        }
        Err(FloorError::CoilStateForbids { coil_id: coil_id.clone(), state })
    }

    /// Reckons anew, from the balances as they are now, what pending steps leave on their coils and what becomes of the tails.
    pub(crate) fn rebase(&mut self, pending: &mut [Step]) -> Result<(), FloorError> {
        let mut left: BTreeMap<CoilId, Um> = BTreeMap::new();
        for step in pending {
            let coil = self.coil(&step.coil_id)?;
            let (others, smallest) = (coil.reserved_by_others, coil.smallest_remnant);
            let before = *left.entry(step.coil_id.clone()).or_insert(coil.coil.remaining);
            if step.kind == StepKind::Unmount {
                let own = before.checked_sub(others).unwrap_or(Um::ZERO);
                let scrap = others == Um::ZERO && own > Um::ZERO && own < smallest;
                step.tail_use = Some(if scrap { TailUse::Scrap } else { TailUse::Keep });
                step.length = if scrap { own } else { Um::ZERO };
            }
            step.remaining_after = before.checked_sub(step.length).unwrap_or(Um::ZERO).max(Um::ZERO);
            left.insert(step.coil_id.clone(), step.remaining_after);
        }
        Ok(())
    }

    pub(crate) fn finished(mut self, list: &CutList) -> (FloorChange, Vec<FloorCoil>) {
        self.change.recount(list);
        (self.change, self.coils.into_values().collect())
    }
}

pub(crate) fn require_state(list: &CutList, allowed: &[CutListState]) -> Result<(), FloorError> {
    if allowed.contains(&list.header.state) {
        return Ok(());
    }
    Err(FloorError::ListStateForbids { list_id: list.header.list_id.clone(), state: list.header.state })
}

/// Numbers steps from `first` on.
pub(crate) fn renumber(steps: &mut [Step], first: u32) {
    for (number, step) in (first..).zip(steps) {
        step.step_number = number;
    }
}
