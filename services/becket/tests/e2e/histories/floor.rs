//! What all clients share, and what they record.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use becket_api::cutting::{Coil, CutList, CutStep, ListReplan, StepKind, StepState};
use becket_e2e::history::{CoilEvent, ListEvent, Timed};
use becket_e2e::invariants::is;
use becket_e2e::reason;
use tonic::{Code, Status};

/// What a list counts on, coil by coil.
pub(super) type Counted = BTreeMap<String, i64>;

/// A call that changes coils and plans of lists, all at once.
#[derive(Debug, Clone, Default)]
pub(super) struct Change {
    /// What it did to coils besides.
    pub(super) coils: Vec<(String, CoilEvent)>,
    /// Lists that count on this from then on.
    pub(super) plans: Vec<(String, Counted)>,
    /// Lists that the service planned anew by itself; the journal tells, under this request id, what they count on.
    pub(super) by_itself: Vec<String>,
    pub(super) request_id: String,
}

/// What all clients recorded.
#[derive(Default)]
pub(super) struct Recorded {
    pub(super) lists: BTreeMap<String, Vec<Timed<ListEvent>>>,
    pub(super) changes: Vec<Timed<Change>>,
    /// Confirmations of which nobody knows what became: list, step, and when they were sent.
    pub(super) open: Vec<(String, i32, u64)>,
    /// Writes that were answered, by request id.
    pub(super) writes: BTreeMap<String, (u64, u64)>,
    pub(super) new_coils: Vec<Coil>,
    /// Calls that were done, by what they were, and those that were refused, by reason.
    pub(super) done: BTreeMap<&'static str, usize>,
    refused: BTreeMap<String, usize>,
    pub(super) calls: usize,
    /// Attempts that broke and were sent again.
    pub(super) again: usize,
    given_up: usize,
    /// Lists that the service planned anew by itself.
    pub(super) replanned: usize,
}

/// Kinds of writes without which a history tells too little.
const KINDS: [&str; 9] =
    ["confirm", "broken", "miscut", "run out", "replan", "rush", "set aside", "scrap", "empty"];

impl Recorded {
    /// What was not done: kinds of writes, and lists planned anew by the service itself.
    pub(super) fn missing(&self) -> Vec<&'static str> {
        let missing = KINDS.into_iter().filter(|kind| !self.done.contains_key(kind));
        missing.chain((self.replanned == 0).then_some("lists planned anew by the service")).collect()
    }
}

impl fmt::Display for Recorded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} calls, {} sent again after a break, {} given up; done: {:?}; lists planned anew by the service: {}; refused: {:?}",
            self.calls, self.again, self.given_up, self.done, self.replanned, self.refused
        )
    }
}

/// What all clients share.
pub(super) struct Floor {
    recorded: Mutex<Recorded>,
    coil_ids: Mutex<Vec<String>>,
    begun: Instant,
    longest: Duration,
    calls: usize,
    stopped: AtomicBool,
    next: AtomicUsize,
}

/// The list that is cut at a station.
#[derive(Default)]
pub(super) struct Bench {
    pub(super) list: Mutex<Option<String>>,
    pub(super) next: AtomicI32,
}

impl Bench {
    pub(super) fn list_id(&self) -> Option<String> {
        self.list.lock().unwrap().clone()
    }

    pub(super) fn begin(&self, list_id: String) {
        self.next.store(1, Ordering::SeqCst);
        *self.list.lock().unwrap() = Some(list_id);
    }

    /// The list has ended.
    pub(super) fn clear(&self, list_id: &str) {
        let mut list = self.list.lock().unwrap();
        if list.as_deref() == Some(list_id) {
            *list = None;
        }
    }
}

impl Floor {
    pub(super) fn new(longest: Duration, calls: usize, coil_ids: Vec<String>) -> Self {
        Self {
            recorded: Mutex::default(),
            coil_ids: Mutex::new(coil_ids),
            begun: Instant::now(),
            longest,
            calls,
            stopped: AtomicBool::new(false),
            next: AtomicUsize::new(0),
        }
    }

    pub(super) fn recorded(&self) -> MutexGuard<'_, Recorded> {
        self.recorded.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether the clients go on: until there are enough calls or the time is over, and until each kind of write was done, for which a
    /// busy machine may take twice the time.
    pub(super) fn working(&self) -> bool {
        let worked = self.begun.elapsed();
        let recorded = self.recorded();
        let all = recorded.missing().is_empty();
        let enough = all && (recorded.calls >= self.calls || worked >= self.longest);
        !self.stopped.load(Ordering::SeqCst) && !enough && worked < self.longest * 2
    }

    pub(super) fn stop(&self) {
        self.stopped.store(true, Ordering::SeqCst);
    }

    /// A number that nobody else has.
    pub(super) fn number(&self) -> usize {
        self.next.fetch_add(1, Ordering::SeqCst)
    }

    pub(super) fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_nanos()).unwrap()
    }

    pub(super) fn coil_ids(&self) -> Vec<String> {
        self.coil_ids.lock().unwrap().clone()
    }

    pub(super) fn add_coils(&self, coils: Vec<Coil>) {
        self.coil_ids.lock().unwrap().extend(coils.iter().map(|coil| coil.coil_id.clone()));
        self.recorded().new_coils.extend(coils);
    }

    pub(super) fn forget_coil(&self, coil_id: &str) {
        self.coil_ids.lock().unwrap().retain(|known| known != coil_id);
    }

    pub(super) fn again(&self) {
        self.recorded().again += 1;
    }

    pub(super) fn given_up(&self) {
        self.recorded().given_up += 1;
    }

    /// Notes a write that was answered just now.
    pub(super) fn done(&self, what: &'static str, request_id: &str, called: u64) {
        let answered = self.now();
        let mut recorded = self.recorded();
        recorded.calls += 1;
        *recorded.done.entry(what).or_default() += 1;
        recorded.writes.insert(request_id.to_owned(), (called, answered));
    }

    /// Notes a call that only looked.
    pub(super) fn looked(&self) {
        self.recorded().calls += 1;
    }

    pub(super) fn change(&self, called: u64, change: Change) {
        let answered = Some(self.now());
        let mut recorded = self.recorded();
        recorded.replanned += change.by_itself.len();
        recorded.changes.push(Timed { called, answered, operation: change });
    }

    /// Notes what a list counts on now, as an answer shows it.
    pub(super) fn planned(&self, called: u64, list: &CutList, coils: Vec<(String, CoilEvent)>) {
        let plans = vec![(list.list_id.clone(), counted(list))];
        self.change(called, Change { coils, plans, ..Change::default() });
    }

    pub(super) fn list(&self, called: u64, list_id: &str, operation: ListEvent) {
        let answered = Some(self.now());
        let event = Timed { called, answered, operation };
        self.recorded().lists.entry(list_id.to_owned()).or_default().push(event);
    }

    /// A confirmation of which nobody knows what became.
    pub(super) fn open(&self, called: u64, list_id: &str, step: i32) {
        let event = Timed { called, answered: None, operation: ListEvent::Confirmed(step) };
        let mut recorded = self.recorded();
        recorded.calls += 1;
        recorded.open.push((list_id.to_owned(), step, called));
        recorded.lists.entry(list_id.to_owned()).or_default().push(event);
    }

    /// A refusal changes nothing; it must be one of becket's. Returns its reason.
    pub(super) fn refused(&self, status: &Status) -> String {
        let told = reason(status).unwrap_or_else(|| panic!("{status:?}"));
        assert!(!matches!(status.code(), Code::Internal | Code::Unknown), "{status:?}");
        let mut recorded = self.recorded();
        recorded.calls += 1;
        *recorded.refused.entry(told.clone()).or_default() += 1;
        told
    }
}

/// What a list counts on, coil by coil.
pub(super) fn counted(list: &CutList) -> Counted {
    let mut sums = Counted::new();
    for step in &list.steps {
        if is(step, StepState::Pending) && step.kind != i32::from(StepKind::Unmount) {
            *sums.entry(step.coil_id.clone()).or_default() += step.length_um;
        }
    }
    sums
}

/// Steps of a list that lie behind.
pub(super) fn behind(list: &CutList) -> i32 {
    let done = list.steps.iter().filter(|step| !is(step, StepState::Pending)).count();
    i32::try_from(done).unwrap()
}

pub(super) fn done(list_id: &str, step: &CutStep) -> (String, CoilEvent) {
    let event = CoilEvent::Done {
        list: list_id.to_owned(),
        um: step.length_um,
        counted: step.kind != i32::from(StepKind::Unmount),
        left_um: step.remaining_after_um,
    };
    (step.coil_id.clone(), event)
}

pub(super) fn names(replanned: &[ListReplan]) -> Vec<String> {
    replanned.iter().map(|list| list.list_id.clone()).collect()
}
