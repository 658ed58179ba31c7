//! The plan: what is done at the wire station, step by step, and what it comes to.

use std::collections::BTreeMap;
use std::fmt;

use becket_units::Um;

use crate::fault::ProblemFault;
use crate::model::{CoilIndex, PieceIndex, Problem, SerialIndex, WireIndex};

/// What is left on a coil when it is taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tail {
    /// Nothing.
    Empty,
    /// Shorter than the wire's smallest remnant, in µm.
    Scrap(Um),
    /// Long enough to go back into stock, in µm.
    Remnant(Um),
}

/// One thing that is done at the wire station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Put a coil on a free reel position and cut off its end squarely.
    Mount {
        /// Coil.
        coil: CoilIndex,
        /// Reel position, from 0.
        position: u32,
        /// What is on the coil after the end trim, in µm.
        remaining_after: Um,
    },
    /// Cut a piece from a mounted coil and lay it in its serial's tray.
    Cut {
        /// Coil.
        coil: CoilIndex,
        /// Piece.
        piece: PieceIndex,
        /// What is on the coil after the cut, in µm.
        remaining_after: Um,
    },
    /// Take a coil off its reel position.
    Unmount {
        /// Coil.
        coil: CoilIndex,
        /// Reel position, from 0.
        position: u32,
        /// What is left on it.
        tail: Tail,
    },
}

/// What a plan comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Figures {
    /// Pieces that are cut.
    pub pieces_cut: u64,
    /// Length of the pieces that are cut, in µm.
    pub cut_length: Um,
    /// End trims and scrap tails together, in µm.
    pub scrap: Um,
    /// Tails that go back into stock, in µm; of a coil that is taken off several times, the last one.
    pub remnant_length: Um,
    /// Coils from which at least one piece is cut.
    pub coils_used: u64,
    /// Coils that the plan mounts and that were sealed: neither opened before nor mounted at the start.
    pub coils_opened: u64,
    /// Mountings.
    pub reel_changes: u64,
    /// Groups whose pieces come from more than one coil.
    pub groups_split: u64,
}

/// A plan for a [`Problem`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plan {
    /// What is done, in order.
    pub steps: Vec<Step>,
    /// Pieces for which there is not enough wire, by rising index.
    pub uncut: Vec<PieceIndex>,
    /// What it comes to.
    pub figures: Figures,
}

/// What a serial lacks of a wire under a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shortfall {
    /// Serial that lacks wire.
    pub serial: SerialIndex,
    /// Wire that is short.
    pub wire: WireIndex,
    /// Number of pieces left uncut.
    pub pieces: u64,
    /// Their length together, in µm.
    pub length: Um,
}

impl Plan {
    /// Sums up the uncut pieces by serial and wire, in that order. Pieces that the problem does not have are passed over.
    #[must_use]
    pub fn shortfalls(&self, problem: &Problem) -> Vec<Shortfall> {
        let mut sums: BTreeMap<(SerialIndex, WireIndex), (u64, i64)> = BTreeMap::new();
        for piece in self.uncut.iter().filter_map(|p| problem.pieces.get(p.index())) {
            let sum = sums.entry((piece.serial, piece.wire)).or_default();
            sum.0 += 1;
            sum.1 = sum.1.saturating_add(piece.length.get());
        }
        sums.into_iter()
            .map(|((serial, wire), (pieces, length))| Shortfall {
                serial,
                wire,
                pieces,
                length: Um::new(length),
            })
            .collect()
    }
}

/// Why there is no plan. Too little wire is not a reason: it gives a plan with uncut pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PlanError {
    /// The problem is not sound; see [`Problem::check`].
    UnsoundProblem(Vec<ProblemFault>),
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnsoundProblem(faults) => {
                write!(f, "the problem cannot be planned")?;
                for (i, fault) in faults.iter().enumerate() {
                    write!(f, "{} {fault}", if i == 0 { ":" } else { ";" })?;
                }
                Ok(())
            }
        }
    }
}

impl std::error::Error for PlanError {}

/// A method of planning.
pub trait Planner {
    /// Plans a problem. The same problem always gives the same plan, and the plan passes
    /// [`check_plan`](crate::check_plan).
    ///
    /// # Errors
    ///
    /// [`PlanError::UnsoundProblem`] with all faults if the problem does not pass [`Problem::check`].
    fn plan(&self, problem: &Problem) -> Result<Plan, PlanError>;
}
