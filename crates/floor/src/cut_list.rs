//! The cut list.

use std::collections::BTreeMap;

use becket_planner::{Effort, LevelOrder, Quality, Unison};
use becket_units::{Fault, Um};

use crate::estimate::{LengthEstimate, Sds};
use crate::figures::PlanFigures;
use crate::ids::{CoilId, ListId, PieceId, SerialId, StationId, WireId};
use crate::section::PieceOrder;
use crate::step::{Step, StepKind};

/// Where a list is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CutListState {
    /// Planned, wire reserved.
    Planned,
    /// At the station.
    Running,
    /// Ended.
    Finished,
    /// Withdrawn before anything was cut.
    Cancelled,
}

impl CutListState {
    /// Whether the list may still cut wire.
    #[must_use]
    pub fn is_active(self) -> bool {
        matches!(self, Self::Planned | Self::Running)
    }
}

/// How the shop wants its lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanPolicy {
    /// How strictly all pieces that serve one note come from one coil.
    pub unison_rule: Unison,
    /// Wire cut off squarely whenever a coil is mounted, 0 to 1000 mm.
    pub end_trim: Um,
    /// Wire left unplanned on every coil because its length is not known exactly, 0 to 10000 mm.
    pub coil_margin: Um,
    /// Wire left unplanned besides, in standard deviations of what remains on the coil ([`LengthEstimate`]), 0 to 10: coils
    /// whose length is known well are cut up to their end, others are not.
    pub coil_margin_sds: Sds,
    /// In which order the pieces of a serial are cut from a coil.
    pub piece_order: PieceOrder,
    /// Whether cores of wound strings are cut too.
    pub wound_cores: bool,
    /// How many places a serial may be cut ahead of due order, up to [`WIDEST_WINDOW`](Self::WIDEST_WINDOW). `None`: as many as
    /// there are trays less one, so that what is due first is done first.
    pub due_window: Option<u32>,
    /// Whether equal sealed coils are opened in their order of receipt.
    pub fifo: bool,
    /// Order of the levels that the shop may order.
    pub level_order: LevelOrder,
    /// How much is searched.
    pub effort: Effort,
    /// How long may be searched in ms, 1 to [`LONGEST_BUDGET_MS`](Self::LONGEST_BUDGET_MS); `None` sets no limit.
    pub time_budget_ms: Option<u32>,
}

impl Default for PlanPolicy {
    /// Preferred unisons, 10 mm trim, no margins, up the scale, with cores, due order as far as the trays
    /// allow, first in first out: common practice, no source. The planner's own order
    /// of levels and effort, and no limit of time.
    fn default() -> Self {
        Self {
            unison_rule: Unison::Preferred,
            end_trim: Um::new(10_000),
            coil_margin: Um::ZERO,
            coil_margin_sds: Sds::ZERO,
            piece_order: PieceOrder::UpTheScale,
            wound_cores: true,
            due_window: None,
            fifo: true,
            level_order: LevelOrder::default(),
            effort: Effort::default(),
            time_budget_ms: None,
        }
    }
}

impl PlanPolicy {
    /// Most rounds of the search per coil that a policy may ask for.
    pub const MOST_ROUNDS: u32 = 1_000_000;
    /// Widest window of due order: that of the largest problem.
    pub const WIDEST_WINDOW: u32 = becket_planner::MAX_SERIALS;
    /// Longest time in ms that a policy may grant: an hour.
    pub const LONGEST_BUDGET_MS: u32 = 3_600_000;

    /// What of it the planner's problem holds, at a station with so many trays; the rest is about which pieces are planned and
    /// how long.
    #[must_use]
    pub fn rules(&self, trays: u32) -> becket_planner::Policy {
        becket_planner::Policy {
            unison: self.unison_rule,
            end_trim: self.end_trim,
            margin: self.coil_margin,
            piece_order: self.piece_order.rule(),
            due_window: Some(self.due_window.unwrap_or(trays.saturating_sub(1))),
            fifo: self.fifo,
        }
    }

    /// What stays on a coil besides [`coil_margin`](Self::coil_margin), by how well its length is known.
    #[must_use]
    pub fn own_margin(&self, estimate: &LengthEstimate) -> Um {
        estimate.margin(self.coil_margin_sds)
    }

    /// All faults, by the names of the API.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let range = |name: &str, value: Um, high: f64| Fault::outside(name, value.as_mm(), 0.0, high, "mm");
        let trim = range("end_trim_mm", self.end_trim, 1000.0);
        let margin = range("coil_margin_mm", self.coil_margin, 10_000.0);
        trim.into_iter().chain(margin).collect()
    }
}

/// Ties a serial to the string set that was planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialDigest {
    /// Serial.
    pub serial_id: SerialId,
    /// Digest of its string set, in hexadecimal.
    pub set_digest: String,
    /// Day by which it is due, ISO 8601.
    pub due_date: String,
}

/// What one serial lacks of one wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortage {
    /// Wire.
    pub wire_id: WireId,
    /// Serial.
    pub serial_id: SerialId,
    /// Pieces that are not on the list.
    pub piece_ids: Vec<PieceId>,
    /// Their total length.
    pub length: Um,
}

/// A cut list without its steps and shortages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutListHeader {
    /// Name, given by the store.
    pub list_id: ListId,
    /// Station.
    pub station_id: StationId,
    /// State.
    pub state: CutListState,
    /// Serials in due order.
    pub serials: Vec<SerialDigest>,
    /// Policy.
    pub policy: PlanPolicy,
    /// Figures of the plan as it stands.
    pub figures: PlanFigures,
    /// How good the plan was known to be when the list was planned as a whole the last time; without levels if that was before
    /// there were reports.
    pub quality: Quality,
    /// Pieces cut and good.
    pub pieces_done: u32,
    /// Pieces still to be cut.
    pub pieces_pending: u32,
    /// Rises by one whenever the list changes; 1 for a new list.
    pub version: i64,
    /// When it was started, in µs since 1970 (UTC).
    pub start_us: Option<i64>,
    /// When it was finished or cancelled, in µs since 1970 (UTC).
    pub end_us: Option<i64>,
}

/// A cut list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutList {
    /// All but steps and shortages.
    pub header: CutListHeader,
    /// Steps by number. Those that are done come first.
    pub steps: Vec<Step>,
    /// What the stock did not cover.
    pub shortages: Vec<Shortage>,
}

/// A list that has no name yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewCutList {
    /// Station.
    pub station_id: StationId,
    /// Serials in due order.
    pub serials: Vec<SerialDigest>,
    /// Policy.
    pub policy: PlanPolicy,
    /// Steps by number from 1, all pending.
    pub steps: Vec<Step>,
    /// What the stock did not cover.
    pub shortages: Vec<Shortage>,
    /// How good the plan is known to be.
    pub quality: Quality,
}

impl NewCutList {
    /// The list under its name, planned, version 1.
    #[must_use]
    pub fn named(self, list_id: ListId) -> CutList {
        let Self { station_id, serials, policy, steps, shortages, quality } = self;
        let (pieces_done, pieces_pending) = count_pieces(&steps);
        let header = CutListHeader {
            list_id,
            station_id,
            state: CutListState::Planned,
            serials,
            policy,
            figures: PlanFigures::of(&steps),
            quality,
            pieces_done,
            pieces_pending,
            version: 1,
            start_us: None,
            end_us: None,
        };
        CutList { header, steps, shortages }
    }
}

impl CutList {
    /// The next step to do.
    #[must_use]
    pub fn next(&self) -> Option<&Step> {
        self.pending().first()
    }

    /// The steps that are done, good or spoiled.
    #[must_use]
    pub fn done(&self) -> &[Step] {
        self.steps.split_at(self.done_len()).0
    }

    /// The steps that are still to be done.
    #[must_use]
    pub fn pending(&self) -> &[Step] {
        self.steps.split_at(self.done_len()).1
    }

    /// Coils that the list names, each once, in order.
    #[must_use]
    pub fn coil_ids(&self) -> Vec<CoilId> {
        let ids: std::collections::BTreeSet<&CoilId> = self.steps.iter().map(|step| &step.coil_id).collect();
        ids.into_iter().cloned().collect()
    }

    /// Digest of the string set that was planned for a serial.
    #[must_use]
    pub fn set_digest(&self, serial_id: &SerialId) -> Option<&str> {
        self.header.serials.iter().find(|s| s.serial_id == *serial_id).map(|s| s.set_digest.as_str())
    }

    fn done_len(&self) -> usize {
        self.steps.partition_point(|step| !step.is_pending())
    }
}

/// Good and pending pieces among steps.
pub(crate) fn count_pieces<'a>(steps: impl IntoIterator<Item = &'a Step>) -> (u32, u32) {
    let (mut good, mut pending) = (0_u32, 0_u32);
    for step in steps.into_iter().filter(|step| step.kind == StepKind::Cut) {
        good = good.saturating_add(u32::from(step.is_good_cut()));
        pending = pending.saturating_add(u32::from(step.is_pending()));
    }
    (good, pending)
}

/// Wire that a list counts on and has not cut yet, by coil: trims and pieces of its pending steps.
///
/// A coil with no such step is not in the answer. Sums that do not fit are cut off at the largest length, which no coil has.
#[must_use]
pub fn reservations(list: &CutList) -> BTreeMap<CoilId, Um> {
    let mut sums: BTreeMap<CoilId, Um> = BTreeMap::new();
    for step in list.pending().iter().filter(|step| step.reserves() > Um::ZERO) {
        let sum = sums.entry(step.coil_id.clone()).or_default();
        *sum = sum.checked_add(step.reserves()).unwrap_or(Um::new(i64::MAX));
    }
    sums
}
