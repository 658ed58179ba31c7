//! Coils, cut lists and what happens to them at the wire station, as pure state transitions.
//!
//! # What is here
//!
//! A [`Coil`] keeps an exact balance in whole micrometres, at every moment:
//!
//! ```text
//! remaining = received − cut − scrapped + adjusted,   remaining ≥ 0
//! ```
//!
//! It changes by a [`Booking`] and in no other way. What remains is an estimate, since nobody has measured the wire: the mean of
//! what is known, with a [`LengthEstimate`] that says how well. Each piece of [`Evidence`] is a line of the coil's ledger. A [`CutList`] is a row of numbered [`Step`]s for one [`Station`]: what
//! is done is a prefix that keeps its numbers for good, what is pending follows and may be planned anew. A transition
//! ([`start`], [`confirm`], [`spoil`], [`run_out`], [`replace_pending`], [`plan_around`], [`finish`], [`cancel`]) reads list, coils and station and
//! returns a [`FloorChange`]: all that has to be stored, in one step or not at all. [`PlanFrame`] translates between the
//! floor's names and the planner's indices.
//!
//! # What is not here
//!
//! No input or output, no clock, no random numbers: the time is an argument, and nothing can fail for such reasons.
//! The crate knows nothing of protobuf, JSON or SQL. It computes no string sets: pieces come with their names, lengths and
//! the notes that they serve.
//!
//! # Concurrency
//!
//! A change is computed from what was read. It carries a [`CoilGuard`] for each coil that it relies on and the version of
//! its list; the store refuses it if one of them is no longer current, and the caller reads and decides again.

mod change;
mod coil;
mod confirm;
mod cut_list;
mod date;
mod error;
mod estimate;
mod evidence;
mod figures;
mod ids;
mod lifecycle;
mod lost_coil;
mod moves;
mod plan_frame;
mod predict;
mod receive;
mod replan_frame;
mod run_out;
mod section;
mod spoil;
mod station;
mod step;
mod union_find;
mod weigh;
mod work;
mod work_sheet;

pub use becket_planner::{Effort, Level, LevelOrder, LevelReport, Quality, Unison};
pub use change::{CoilGuard, FloorChange};
pub use coil::{Booking, BookingKind, Coil, CoilState};
pub use confirm::{MAX_CONFIRM, confirm};
pub use cut_list::{
    CutList, CutListHeader, CutListState, NewCutList, PlanPolicy, SerialDigest, Shortage, reservations,
};
pub use date::is_iso_date;
pub use error::FloorError;
pub use estimate::{CUT_SD_MM, Combined, DISAGREES_FROM_SDS, LengthEstimate, SCRAP_SD_MM, Sds, density_sd};
pub use evidence::{Belief, Evidence, EvidenceKind, EvidenceState, Finding};
pub use figures::PlanFigures;
pub use ids::{CoilId, IdError, ListId, LotId, PieceId, SectionId, SerialId, StationId, WireId};
pub use lifecycle::{cancel, finish, replace_pending, start};
pub use lost_coil::{counts_on, forget_coil, plan_around};
pub use moves::PlanMoves;
pub use plan_frame::{PieceNeed, PlanFrame, PlannedSteps, SerialNeed, pending_needs};
pub use predict::{predict, predict_next};
pub use receive::{Amount, MAX_COIL_LENGTH, NewCoil, receipt_faults};
pub use replan_frame::{EarlierCut, ReplanFrame};
pub use run_out::{RunOut, run_out, run_out_with_replan};
pub use section::{PieceOrder, Section};
pub use spoil::{NeedsReplan, Spoilage, spoil, spoil_with_replan};
pub use station::{FloorCoil, MountPlace, Station};
pub use step::{PieceKind, SpoilCause, Step, StepKind, StepPiece, StepState, TailUse};
pub use weigh::{
    DEFAULT_RESOLUTION_G, DEFAULT_TARE_SD_SHARE, Scales, WEIGHING_LENGTH_OVER, WEIGHING_SHARE_OVER, Weighing,
};
pub use work_sheet::{SheetCoil, WorkAction, WorkItem, trays, work_sheet};
