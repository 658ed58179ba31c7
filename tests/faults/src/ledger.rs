//! What the stations know: everything that was acknowledged.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use becket_api::cutting::{ConfirmStepRequest, ConfirmStepResponse, CutStep};

/// Repeats of first answers are drawn from this many of the latest.
const KEPT_ANSWERS: usize = 40;

/// Shared by all stations of a crew.
#[derive(Debug)]
pub(crate) struct Ledger(Mutex<Known>);

/// What is known.
#[derive(Debug, Default, Clone)]
pub(crate) struct Known {
    /// Request ids that were answered.
    pub(crate) requests: BTreeSet<String>,
    /// Steps that were confirmed, by list and number.
    pub(crate) steps: BTreeMap<(String, i32), CutStep>,
    /// Steps that were reported as spoiled.
    pub(crate) spoiled: BTreeSet<(String, i32)>,
    /// Latest confirmations with their first answers.
    pub(crate) answers: Vec<(ConfirmStepRequest, ConfirmStepResponse)>,
    /// What should not have been: steps acknowledged twice, refusals, calls that took longer than they may.
    pub(crate) wrong: Vec<String>,
    /// Attempts that ended without an answer.
    pub(crate) unanswered: usize,
    /// When each station was last answered.
    last: Vec<Instant>,
    /// The call that took longest.
    pub(crate) slowest: Duration,
}

impl Ledger {
    pub(crate) fn new(stations: usize) -> Self {
        Self(Mutex::new(Known { last: vec![Instant::now(); stations], ..Known::default() }))
    }

    pub(crate) fn known(&self) -> MutexGuard<'_, Known> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Known {
    pub(crate) fn acknowledge(&mut self, station: usize, request_id: String, took: Duration) {
        self.requests.insert(request_id);
        self.last[station] = Instant::now();
        self.slowest = self.slowest.max(took);
    }

    pub(crate) fn confirm(&mut self, request: ConfirmStepRequest, answer: ConfirmStepResponse) {
        for step in &answer.confirmed {
            let place = (request.list_id.clone(), step.step_number);
            if self.steps.insert(place, step.clone()).is_some() {
                self.wrong
                    .push(format!("step {} of {} was acknowledged twice", step.step_number, request.list_id));
            }
        }
        if self.answers.len() >= KEPT_ANSWERS {
            self.answers.remove(0);
        }
        self.answers.push((request, answer));
    }

    /// A copy, to compare with.
    pub(crate) fn copy(&self) -> Self {
        self.clone()
    }

    /// Whether every station was answered after a moment.
    pub(crate) fn all_after(&self, moment: Instant) -> bool {
        self.last.iter().all(|last| *last > moment)
    }
}
