//! What pending steps will leave on their coils, reckoned from the floor as it is now.
//!
//! A list is planned once and cut later. Until then others cut from the same coils, and coils are weighed. So what will be
//! left after a step is not kept from the plan but reckoned whenever the list is shown.

use std::collections::BTreeMap;

use becket_units::Um;

use crate::change::FloorChange;
use crate::cut_list::CutList;
use crate::figures::PlanFigures;
use crate::ids::CoilId;
use crate::station::FloorCoil;
use crate::step::{Step, StepKind, TailUse};

/// The list with what its pending steps will leave, what becomes of the tails, and the figures that follow, if no more
/// happens to its coils than these steps and what is `ahead`. What is done does not change.
///
/// `coils` are the coils of the pending steps as the list sees them; a step of a coil that is not among them stays as it
/// was planned. `ahead` is wire that lists which come before this one count on, by coil: it will be gone by then. The
/// rules are those by which steps are confirmed: a coil that holds less than a step takes is empty after it, and a tail that
/// was to be scrapped is kept if it is of use by now, or somebody else counts on it.
#[must_use]
pub fn predict(list: &CutList, coils: &[FloorCoil], ahead: &BTreeMap<CoilId, Um>) -> CutList {
    let mut ledger: BTreeMap<&CoilId, Entry> =
        coils.iter().map(|coil| (&coil.coil.coil_id, Entry::of(coil, ahead))).collect();
    let mut predicted = list.clone();
    for step in predicted.steps.iter_mut().filter(|step| step.is_pending()) {
        if let Some(entry) = ledger.get_mut(&step.coil_id) {
            entry.pass(step);
        }
    }
    predicted.header.figures = PlanFigures::of(&predicted.steps);
    predicted
}

impl FloorChange {
    /// The list after the change, as [`predict`] tells it. `coils` are the coils of its pending steps as they were before.
    #[must_use]
    pub fn predicted(
        &self,
        before: &CutList,
        mut coils: Vec<FloorCoil>,
        ahead: &BTreeMap<CoilId, Um>,
    ) -> CutList {
        self.book_on(&mut coils);
        predict(&self.applied_to(before), &coils, ahead)
    }

    /// Books the change on coils.
    pub fn book_on(&self, coils: &mut [FloorCoil]) {
        for FloorCoil { coil, .. } in coils {
            let coil_id = coil.coil_id.clone();
            for booking in self.bookings.iter().filter(|booking| booking.coil_id == coil_id) {
                // A booking that does not fit is refused when the change is stored; nobody sees a prediction then.
                let _ = coil.apply(booking);
            }
            let state = self.coil_states.iter().rev().find(|(changed, _)| *changed == coil_id);
            coil.state = state.map_or(coil.state, |(_, state)| *state);
        }
    }
}

/// The step that comes next on a list, with what it will leave as [`predict`] tells it. Of `coils` and `ahead` only the coil of
/// the step counts.
#[must_use]
pub fn predict_next(list: &CutList, coils: &[FloorCoil], ahead: &BTreeMap<CoilId, Um>) -> Option<Step> {
    let mut next = list.next()?.clone();
    if let Some(coil) = coils.iter().find(|coil| coil.coil.coil_id == next.coil_id) {
        Entry::of(coil, ahead).pass(&mut next);
    }
    Some(next)
}

/// A coil as the steps so far will leave it.
struct Entry {
    left: Um,
    /// Whether lists that come later count on wire of it.
    awaited: bool,
    usable: bool,
    smallest_remnant: Um,
}

impl Entry {
    fn of(coil: &FloorCoil, ahead: &BTreeMap<CoilId, Um>) -> Self {
        let ahead = ahead.get(&coil.coil.coil_id).copied().unwrap_or_default();
        Self {
            left: less(coil.coil.remaining, ahead),
            awaited: less(coil.reserved_by_others, ahead) > Um::ZERO,
            usable: coil.coil.state.is_usable(),
            smallest_remnant: coil.smallest_remnant,
        }
    }

    fn pass(&mut self, step: &mut Step) {
        if step.kind == StepKind::Unmount {
            let too_short = self.left <= step.length || self.left < self.smallest_remnant;
            let scrap = step.tail_use == Some(TailUse::Scrap) && self.usable && !self.awaited && too_short;
            step.tail_use = Some(if scrap { TailUse::Scrap } else { TailUse::Keep });
            step.length = if scrap { self.left } else { Um::ZERO };
        }
        self.left = less(self.left, step.length);
        step.remaining_after = self.left;
    }
}

/// The difference, or nothing if there is less than that.
fn less(held: Um, taken: Um) -> Um {
    held.checked_sub(taken).unwrap_or(Um::ZERO).max(Um::ZERO)
}
