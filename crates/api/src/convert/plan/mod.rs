//! Plans that are stated whole in a request: its names on one side, the planner's indices on the other.

mod faults;
mod pictures;
mod read;
mod show;
mod steps;
#[cfg(test)]
mod tests;

use becket_floor::{CoilId, LotId, PieceId, PlanPolicy, SerialId, WireId};
use becket_planner::{CoilIndex, PieceIndex, Problem, ProblemFault};
use becket_units::Fault;

pub use read::read_plan_cuts;
pub use show::{level_report, plan_cuts_response};

/// A request to plan, read.
#[derive(Debug, Clone)]
pub struct PlanQuestion {
    problem: Problem,
    policy: PlanPolicy,
    names: Names,
    with_steps: bool,
    with_pictures: bool,
}

/// The names behind the indices of a problem. `None` stands for one that is faulty.
#[derive(Debug, Clone, Default)]
struct Names {
    serials: Vec<Option<SerialId>>,
    wires: Vec<Option<WireId>>,
    coils: Vec<CoilName>,
    batches: Vec<Batch>,
}

#[derive(Debug, Clone)]
struct CoilName {
    coil_id: Option<CoilId>,
    lot_id: Option<LotId>,
}

/// Pieces that are alike: those from `first` on to the first one of the next batch.
#[derive(Debug, Clone)]
struct Batch {
    piece_id: Option<PieceId>,
    serial: u32,
    /// Place in its serial.
    place: u32,
    first: u32,
}

impl PlanQuestion {
    /// The problem, for a planner.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        &self.problem
    }

    /// The policy, with all defaults filled in.
    #[must_use]
    pub fn policy(&self) -> &PlanPolicy {
        &self.policy
    }

    /// The planner's faults by the paths of the request's fields; those that hang on a name that is faulty itself are left out.
    #[must_use]
    pub fn faults(&self, faults: &[ProblemFault]) -> Vec<Fault> {
        faults::by_path(&self.names, faults)
    }
}

impl Names {
    /// The batch of a piece, with its number.
    fn batch_of(&self, piece: PieceIndex) -> Option<(usize, &Batch)> {
        let number = self.batches.partition_point(|batch| batch.first <= piece.0).checked_sub(1)?;
        Some((number, self.batches.get(number)?))
    }

    fn serial(&self, number: u32) -> String {
        text(self.serials.get(number as usize).and_then(Option::as_ref))
    }

    fn coil(&self, coil: CoilIndex) -> String {
        text(self.coils.get(coil.index()).and_then(|name| name.coil_id.as_ref()))
    }
}

fn text(name: Option<&impl ToString>) -> String {
    name.map(ToString::to_string).unwrap_or_default()
}
