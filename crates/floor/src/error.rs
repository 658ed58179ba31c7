//! Why a transition is refused.

use becket_units::{Fault, Um};

use crate::coil::CoilState;
use crate::cut_list::CutListState;
use crate::ids::{CoilId, ListId, StationId};

/// Why something is not possible on the floor, and what can be done about it. Nothing has changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FloorError {
    /// Fields are faulty. Correct them.
    #[error("{} faulty field(s)", .0.len())]
    Invalid(Vec<Fault>),
    /// A booking would leave less than nothing on the coil. Weigh the coil, or book less.
    #[error("coil {coil_id} holds {held}, {taken} cannot be taken from it")]
    BalanceNegative {
        /// Coil.
        coil_id: CoilId,
        /// Length from which the booking takes: what remains or, of a cut that becomes scrap, what is cut.
        held: Um,
        /// Length to take.
        taken: Um,
    },
    /// A booking other than a correction has a negative length, or names another coil.
    #[error("the booking of {amount} does not apply to coil {coil_id}")]
    BookingFaulty {
        /// Coil.
        coil_id: CoilId,
        /// Length booked.
        amount: Um,
    },
    /// A length does not fit into 64 bits. No real coil is so long: correct the input.
    #[error("a length on coil {coil_id} is too large to be represented")]
    TooLong {
        /// Coil.
        coil_id: CoilId,
    },
    /// The coil's state forbids it: return it to stock if it is set aside, else plan the list anew.
    #[error("coil {coil_id} is {state:?}, which forbids this")]
    CoilStateForbids {
        /// Coil.
        coil_id: CoilId,
        /// Its state.
        state: CoilState,
    },
    /// The list's state forbids it.
    #[error("cut list {list_id} is {state:?}, which forbids this")]
    ListStateForbids {
        /// List.
        list_id: ListId,
        /// Its state.
        state: CutListState,
    },
    /// Another step is next. Confirm that one.
    #[error("step {step_number} is not next")]
    StepNotNext {
        /// Step that was named.
        step_number: u32,
        /// The next pending step; `None` if none is pending.
        next: Option<u32>,
    },
    /// More steps are to be confirmed than are pending, or none, or too many at once.
    #[error(
        "{count} steps cannot be confirmed at once: {pending} are pending and at most {max} may be confirmed"
    )]
    CountOutOfRange {
        /// Steps to confirm.
        count: u32,
        /// Steps that are pending.
        pending: u32,
        /// Most that may be confirmed at once.
        max: u32,
    },
    /// The coil of a step is not on the reel position on which the step expects it. Plan the list anew.
    #[error("step {step_number} expects coil {coil_id} on reel position {reel_position}")]
    CoilNotMounted {
        /// Step.
        step_number: u32,
        /// Coil.
        coil_id: CoilId,
        /// Position, from 1.
        reel_position: u32,
    },
    /// Another coil is on the reel position. Confirm the step that takes it off, unmount it if no list will, or plan this list anew.
    #[error("reel position {reel_position} holds coil {coil_id}")]
    PositionTaken {
        /// Position, from 1.
        reel_position: u32,
        /// Coil that is on it.
        coil_id: CoilId,
    },
    /// The station does not have the reel position. Plan the list anew.
    #[error("the station has no reel position {reel_position}")]
    PositionMissing {
        /// Position, from 1.
        reel_position: u32,
    },
    /// The coil is mounted already. Take it off there first, or plan the list anew.
    #[error("coil {coil_id} is on reel position {reel_position} of station {station_id}")]
    CoilMountedElsewhere {
        /// Coil.
        coil_id: CoilId,
        /// Station on which it is mounted.
        station_id: StationId,
        /// Position, from 1.
        reel_position: u32,
    },
    /// The step has no piece that could be lost: it is no cut, is spoiled already, or is pending but not next.
    #[error("step {step_number} has no piece that can be reported as spoiled")]
    NotSpoilable {
        /// Step.
        step_number: u32,
    },
    /// The list has no such step.
    #[error("the cut list has no step {step_number}")]
    StepMissing {
        /// Step.
        step_number: u32,
    },
    /// Steps are still pending. Confirm them or give them up.
    #[error("{pending} steps are still pending")]
    StepsPending {
        /// How many.
        pending: u32,
    },
    /// Pieces are cut already. Finish the list instead.
    #[error("{cut} pieces of the list are cut already")]
    PiecesCut {
        /// How many, spoiled ones included.
        cut: u32,
    },
    /// A coil on which the decision rests was not given.
    #[error("coil {coil_id} was not looked up")]
    CoilUnknown {
        /// Coil.
        coil_id: CoilId,
    },
    /// The step is not one at which a coil can run out: it is no cut, or not next. Confirm what comes before it.
    #[error("at step {step_number} no coil can run out: it is not the next step, or no cut")]
    NoRunOut {
        /// Step.
        step_number: u32,
    },
    /// The evidence cannot be decided upon. Weigh the coil again.
    #[error("evidence {number} of coil {coil_id} cannot be accepted or rejected: {why}")]
    EvidenceClosed {
        /// Coil.
        coil_id: CoilId,
        /// Number of the evidence.
        number: u32,
        /// Why not.
        why: &'static str,
    },
    /// A plan and its problem do not fit together.
    #[error("the plan names something that its problem does not have")]
    PlanForeign,
}
