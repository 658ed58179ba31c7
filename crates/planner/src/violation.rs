//! What the checker can find wrong with a plan.

use std::fmt;

use becket_units::Um;

use crate::fault::ProblemFault;
use crate::model::{CoilIndex, GroupIndex, PieceIndex, SerialIndex};
use crate::plan::Tail;

/// One of the [`Figures`](crate::Figures) of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// [`Figures::pieces_cut`](crate::Figures::pieces_cut).
    PiecesCut,
    /// [`Figures::cut_length`](crate::Figures::cut_length), in µm.
    CutLength,
    /// [`Figures::scrap`](crate::Figures::scrap), in µm.
    Scrap,
    /// [`Figures::remnant_length`](crate::Figures::remnant_length), in µm.
    RemnantLength,
    /// [`Figures::coils_used`](crate::Figures::coils_used).
    CoilsUsed,
    /// [`Figures::coils_opened`](crate::Figures::coils_opened).
    CoilsOpened,
    /// [`Figures::reel_changes`](crate::Figures::reel_changes).
    ReelChanges,
    /// [`Figures::groups_split`](crate::Figures::groups_split).
    GroupsSplit,
}

/// One breach of the model by a plan. `step` is a position in [`Plan::steps`](crate::Plan::steps), from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the fields are what their names say, and each variant says the rest")]
pub enum Violation {
    /// The problem itself is not sound; no plan can be checked against it.
    UnsoundProblem(ProblemFault),
    /// A step names a coil that the problem does not have.
    UnknownCoil { step: usize, coil: CoilIndex },
    /// A step names a piece that the problem does not have.
    UnknownPiece { step: usize, piece: PieceIndex },
    /// The list of uncut pieces names one that the problem does not have.
    UnknownUncutPiece { piece: PieceIndex },
    /// A piece is cut a second time.
    CutTwice { step: usize, piece: PieceIndex },
    /// A piece is listed as uncut more than once.
    UncutTwice { piece: PieceIndex },
    /// A piece is cut and is listed as uncut as well.
    CutAndUncut { piece: PieceIndex },
    /// A piece is neither cut nor listed as uncut.
    Forgotten { piece: PieceIndex },
    /// A piece is cut from a coil of another wire.
    WrongWire { step: usize, coil: CoilIndex, piece: PieceIndex },
    /// A piece is cut from a coil that is not mounted.
    CutFromUnmounted { step: usize, coil: CoilIndex },
    /// A coil has given more than it had; `remaining` is below 0.
    Overdrawn { step: usize, coil: CoilIndex, remaining: Um },
    /// A cut leaves less than the margin on the coil.
    MarginCut { step: usize, coil: CoilIndex, remaining: Um },
    /// What a step states to remain is not what remains.
    RemainingWrong { step: usize, stated: Um, actual: Um },
    /// What a step states of a tail is not what the tail is.
    TailWrong { step: usize, stated: Tail, actual: Tail },
    /// A coil is mounted that is mounted already.
    MountedTwice { step: usize, coil: CoilIndex },
    /// A coil is mounted whose tail was scrap or empty.
    FinishedCoilMounted { step: usize, coil: CoilIndex },
    /// A coil is mounted on a position that the station does not have.
    UnknownPosition { step: usize, position: u32 },
    /// A coil is mounted on a position that another one holds.
    PositionTaken { step: usize, position: u32, holder: CoilIndex },
    /// A coil is taken off a position on which it is not.
    NotOnPosition { step: usize, coil: CoilIndex, position: u32 },
    /// A coil that the plan mounted or cut is still mounted at the end, so its tail is undecided.
    StillMounted { coil: CoilIndex },
    /// More serials are open at a time than there are trays.
    TraysExceeded { step: usize, open: u64 },
    /// Under hard unison, a group is cut from more than one coil.
    GroupSplit { group: GroupIndex },
    /// Under hard unison, a group is cut in part.
    GroupCutInPart { group: GroupIndex },
    /// A piece comes before one of its serial that should precede it on the coil.
    OutOfOrder { step: usize, piece: PieceIndex },
    /// A serial is begun before one is done that is due more than the due window before it.
    AheadOfDueOrder { step: usize, serial: SerialIndex, open: SerialIndex },
    /// A sealed coil is opened while an equal one that was received earlier is not.
    NotFirstIn { step: usize, coil: CoilIndex, older: CoilIndex },
    /// A figure is not what the steps come to.
    FigureWrong { figure: Figure, stated: i128, actual: i128 },
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnsoundProblem(fault) => write!(f, "the problem is not sound: {fault}"),
            Self::UnknownCoil { step, coil } => write!(f, "step {step}: there is no coil {}", coil.0),
            Self::UnknownPiece { step, piece } => write!(f, "step {step}: there is no piece {}", piece.0),
            Self::UnknownUncutPiece { piece } => write!(f, "uncut piece {} is not there", piece.0),
            Self::CutTwice { step, piece } => write!(f, "step {step}: piece {} is cut again", piece.0),
            Self::UncutTwice { piece } => write!(f, "piece {} is listed as uncut twice", piece.0),
            Self::CutAndUncut { piece } => write!(f, "piece {} is cut and listed as uncut", piece.0),
            Self::Forgotten { piece } => write!(f, "piece {} is neither cut nor listed as uncut", piece.0),
            Self::WrongWire { step, coil, piece } => {
                write!(f, "step {step}: piece {} is not of the wire of coil {}", piece.0, coil.0)
            }
            Self::CutFromUnmounted { step, coil } => write!(f, "step {step}: coil {} is not mounted", coil.0),
            Self::Overdrawn { step, coil, remaining } => {
                write!(f, "step {step}: coil {} is overdrawn to {remaining}", coil.0)
            }
            Self::MarginCut { step, coil, remaining } => {
                write!(f, "step {step}: coil {} is cut into its margin, {remaining} are left", coil.0)
            }
            Self::RemainingWrong { step, stated, actual } => {
                write!(f, "step {step}: states that {stated} remain, but it is {actual}")
            }
            Self::TailWrong { step, stated, actual } => {
                write!(f, "step {step}: states the tail {stated:?}, but it is {actual:?}")
            }
            Self::MountedTwice { step, coil } => write!(f, "step {step}: coil {} is mounted already", coil.0),
            Self::FinishedCoilMounted { step, coil } => {
                write!(f, "step {step}: coil {} was used up or scrapped before", coil.0)
            }
            Self::UnknownPosition { step, position } => {
                write!(f, "step {step}: the station has no position {position}")
            }
            Self::PositionTaken { step, position, holder } => {
                write!(f, "step {step}: position {position} is held by coil {}", holder.0)
            }
            Self::NotOnPosition { step, coil, position } => {
                write!(f, "step {step}: coil {} is not on position {position}", coil.0)
            }
            Self::StillMounted { coil } => write!(f, "coil {} is still mounted at the end", coil.0),
            Self::TraysExceeded { step, open } => write!(f, "step {step}: {open} serials are open"),
            Self::GroupSplit { group } => write!(f, "group {} comes from more than one coil", group.0),
            Self::GroupCutInPart { group } => write!(f, "group {} is cut only in part", group.0),
            Self::OutOfOrder { step, piece } => {
                write!(f, "step {step}: piece {} is out of the wanted order", piece.0)
            }
            Self::AheadOfDueOrder { step, serial, open } => {
                write!(f, "step {step}: serial {} is begun before serial {} is done", serial.0, open.0)
            }
            Self::NotFirstIn { step, coil, older } => {
                write!(f, "step {step}: coil {} is opened before the older coil {}", coil.0, older.0)
            }
            Self::FigureWrong { figure, stated, actual } => {
                write!(f, "figure {figure:?} is stated as {stated}, but comes to {actual}")
            }
        }
    }
}
