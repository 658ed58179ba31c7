//! One step of a cut list.

use becket_units::Um;

use crate::ids::{CoilId, LotId, PieceId, SerialId, WireId};
use crate::section::Section;

/// What a step asks of the stringer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StepKind {
    /// Put a coil on a reel position and cut its end square.
    Mount,
    /// Cut one piece and lay it in the serial's tray.
    Cut,
    /// Take a coil off, and keep what is left or scrap it.
    Unmount,
}

/// Where a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StepState {
    /// To be done.
    Pending,
    /// Done.
    Done,
    /// Done, but the piece was spoiled.
    Spoiled,
}

/// What becomes of the wire that is left when a coil is taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TailUse {
    /// It stays on the coil.
    Keep,
    /// It is too short to be of use and is scrapped.
    Scrap,
}

/// How a piece was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SpoilCause {
    /// Cut to a wrong length, kinked or scratched at the station.
    Miscut,
    /// Broke when it was pulled up.
    Broken,
}

/// What a piece of wire becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PieceKind {
    /// A plain piece that is looped back at the hitch pin and makes two strings.
    LoopedPair,
    /// A plain piece with an eye that makes one string.
    TiedSingle,
    /// The core of a wound string.
    WoundCore,
}

/// One step of a cut list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Number within the list, from 1 without gaps, in the order of execution.
    pub step_number: u32,
    /// What to do.
    pub kind: StepKind,
    /// Whether it is done.
    pub state: StepState,
    /// Coil concerned.
    pub coil_id: CoilId,
    /// Lot of the coil.
    pub lot_id: LotId,
    /// Wire of the coil.
    pub wire_id: WireId,
    /// Reel position, from 1.
    pub reel_position: u32,
    /// The piece, on a [`StepKind::Cut`]; `None` on other steps.
    pub piece: Option<StepPiece>,
    /// Wire that the step takes off the coil: the piece, the trim, or the scrapped tail; of a spoiled step the wire that
    /// was lost. 0 where a coil is taken off with its tail.
    pub length: Um,
    /// What should be left on the coil after the step; of a done step, what was.
    pub remaining_after: Um,
    /// What becomes of the rest, on a [`StepKind::Unmount`]; `None` on other steps.
    pub tail_use: Option<TailUse>,
    /// Whether a [`StepKind::Mount`] opens a sealed coil.
    pub opens_coil: bool,
    /// How the piece was lost, on a spoiled step.
    pub spoil_cause: Option<SpoilCause>,
    /// When the step was confirmed or reported spoiled, in µs since 1970 (UTC).
    pub done_us: Option<i64>,
    /// Who confirmed it; empty while it is pending.
    pub done_by: String,
}

/// The piece that a step cuts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepPiece {
    /// Serial for which it is cut.
    pub serial_id: SerialId,
    /// Piece of the serial's string set.
    pub piece_id: PieceId,
    /// What it becomes.
    pub kind: PieceKind,
    /// Numbers of the notes that it serves, rising.
    pub notes: Vec<i32>,
    /// Section of the scale; `None` on lists of a time when it was not kept.
    pub section: Option<Section>,
    /// Length to which it must be cut. It differs from [`Step::length`] only on a spoiled step.
    pub length: Um,
    /// Whether it is cut again because an earlier one was spoiled.
    pub recut: bool,
}

impl Step {
    /// Whether the step is still to be done.
    #[must_use]
    pub fn is_pending(&self) -> bool {
        self.state == StepState::Pending
    }

    /// Whether the step cut a piece that is good.
    #[must_use]
    pub fn is_good_cut(&self) -> bool {
        self.kind == StepKind::Cut && self.state == StepState::Done
    }

    /// Wire that the list counts on for this step: trim or piece of a pending step, else nothing.
    #[must_use]
    pub fn reserves(&self) -> Um {
        match (self.state, self.kind) {
            (StepState::Pending, StepKind::Mount | StepKind::Cut) => self.length,
            _ => Um::ZERO,
        }
    }
}
