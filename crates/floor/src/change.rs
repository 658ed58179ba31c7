//! What a transition changes.

use std::collections::BTreeMap;

use crate::coil::{Booking, CoilState};
use crate::cut_list::{CutList, CutListHeader, Shortage, count_pieces};
use crate::figures::PlanFigures;
use crate::ids::CoilId;
use crate::step::Step;
use becket_units::Um;

/// What a change relies on about a coil. The store refuses the change if it no longer holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoilGuard {
    /// Coil.
    pub coil_id: CoilId,
    /// Version that was read. It changes with balance, state and mounting of the coil.
    pub version: i64,
    /// What other lists count on, where the decision rests on it.
    pub reserved_by_others: Option<Um>,
}

/// All that one transition changes, to be stored in one step or not at all.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorChange {
    /// The header after the change; its version is one above the version that the change relies on.
    pub header: CutListHeader,
    /// Steps, by their numbers, that are no longer pending or become spoiled.
    pub changed_steps: Vec<Step>,
    /// Steps that were not planned and are done: a coil that ran out was taken off. Their numbers follow on those that are
    /// done; the pending steps are then replaced, too.
    pub added_steps: Vec<Step>,
    /// The pending steps after the change, if they are others than before; their numbers follow on those that are done.
    pub replace_pending: Option<Vec<Step>>,
    /// The shortages after the change, if they are others than before.
    pub shortages: Option<Vec<Shortage>>,
    /// Bookings on coils, in order.
    pub bookings: Vec<Booking>,
    /// New states of coils.
    pub coil_states: Vec<(CoilId, CoilState)>,
    /// Reel positions (from 1) of the list's station and what is mounted on them after the change, in order.
    pub mounted: Vec<(u32, Option<CoilId>)>,
    /// What the change relies on.
    pub guards: Vec<CoilGuard>,
}

impl FloorChange {
    /// A change of nothing but the version.
    pub(crate) fn of(list: &CutList) -> Self {
        let mut header = list.header.clone();
        header.version = header.version.saturating_add(1);
        Self::nothing_but(header)
    }

    /// A change that leaves all but the header as it is.
    #[must_use]
    pub fn nothing_but(header: CutListHeader) -> Self {
        Self {
            header,
            changed_steps: Vec::new(),
            added_steps: Vec::new(),
            replace_pending: None,
            shortages: None,
            bookings: Vec::new(),
            coil_states: Vec::new(),
            mounted: Vec::new(),
            guards: Vec::new(),
        }
    }

    /// The list after the change.
    #[must_use]
    pub fn applied_to(&self, list: &CutList) -> CutList {
        CutList {
            header: self.header.clone(),
            steps: self.steps_after(&list.steps).cloned().collect(),
            shortages: self.shortages.clone().unwrap_or_else(|| list.shortages.clone()),
        }
    }

    /// Changes the list.
    pub fn apply_to(&self, list: &mut CutList) {
        if self.replace_pending.is_some() {
            *list = self.applied_to(list);
            return;
        }
        list.header.clone_from(&self.header);
        for changed in &self.changed_steps {
            if let Some(step) = list.steps.iter_mut().find(|step| step.step_number == changed.step_number) {
                step.clone_from(changed);
            }
        }
        if let Some(shortages) = &self.shortages {
            list.shortages.clone_from(shortages);
        }
    }

    fn steps_after<'a>(&'a self, before: &'a [Step]) -> impl Iterator<Item = &'a Step> + Clone {
        let changed: BTreeMap<u32, &Step> =
            self.changed_steps.iter().map(|step| (step.step_number, step)).collect();
        let replaced = self.replace_pending.as_deref();
        let stay = before.iter().map(move |step| changed.get(&step.step_number).copied().unwrap_or(step));
        let stay = stay.filter(move |step| replaced.is_none() || !step.is_pending());
        let added = replaced.map(|_| self.added_steps.as_slice());
        stay.chain(added.unwrap_or_default()).chain(replaced.unwrap_or_default())
    }

    /// Brings the counts and figures of the header in line with the steps.
    pub(crate) fn recount(&mut self, list: &CutList) {
        let steps = self.steps_after(&list.steps);
        let counts = count_pieces(steps.clone());
        let figures = PlanFigures::of(steps);
        (self.header.pieces_done, self.header.pieces_pending) = counts;
        self.header.figures = figures;
    }
}
