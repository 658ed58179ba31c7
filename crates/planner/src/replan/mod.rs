//! Planning anew what is not cut yet, with few changes.

mod candidates;
mod choose;
mod exchange;
mod moves;
mod place;
mod sequence;
mod shelf;
mod whole;
mod write;

use becket_units::Um;

use crate::best::{BestPlanner, assess_alone};
use crate::model::{CoilIndex, Problem, SerialIndex};
use crate::objective::Quality;
use crate::plan::{Plan, PlanError, Step};

pub use moves::Moves;

/// Where the pieces of a note that are cut already came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Kin {
    /// Coil of most of them, if the problem still has it.
    pub coil: Option<CoilIndex>,
    /// Lot of that coil, if the problem has a coil of it.
    pub lot: Option<u32>,
}

/// A floor that no longer agrees with its plan.
#[derive(Debug, Clone, Copy)]
pub struct Disturbed<'a> {
    /// What is still to be cut, lost and added pieces included, and the coils as they are now.
    pub problem: &'a Problem,
    /// Steps of the former plan that were still to be done, in the indices of `problem`. Steps of pieces or coils that
    /// the problem no longer has are left out; what the others say of lengths does not matter.
    pub former: &'a [Step],
    /// Serials of which a piece lies in a tray already: each holds its tray from the start, if it has pieces to cut. Where the
    /// shop sets a due window, the problem must have these before all others, since what is begun is not taken back.
    pub open: &'a [SerialIndex],
    /// For each piece, where the pieces of its note that are cut already came from; `None` where none is. May be shorter than
    /// the list of pieces.
    pub kin: &'a [Option<Kin>],
}

/// Where the number of moved pieces stands in the objective.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Calm {
    /// After pieces, unison rule and scrap, before coils opened and reel changes.
    #[default]
    AfterScrap,
    /// After all levels of the objective.
    Last,
}

/// What the shop wants of a new plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReplanPolicy {
    /// A tail of a coil that is no longer than this, in µm, is as good as none, and so is this much more scrap for each coil
    /// in use: for less, nothing is moved.
    pub scrap_tolerance: Um,
    /// A remnant shorter than this, in µm, is left where none was planned only if avoiding it costs more than two moves.
    pub short_remnant: Um,
    /// Where the number of moved pieces stands in the objective.
    pub calm: Calm,
}

impl Default for ReplanPolicy {
    /// 10 mm, 1 m, after scrap: no source.
    fn default() -> Self {
        Self { scrap_tolerance: Um::new(10_000), short_remnant: Um::new(1_000_000), calm: Calm::AfterScrap }
    }
}

/// How a new plan was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Only the coils concerned were changed, and the order of the former plan was kept.
    Repair,
    /// Only the coils concerned were changed; the steps are in a new order.
    RepairReordered,
    /// The wires concerned were planned anew, pieces of equal length left where they were; the former order was kept.
    Anew,
    /// The wires concerned were planned anew, and the steps are in a new order.
    AnewReordered,
    /// Everything was planned anew.
    Whole,
}

/// A new plan, and what became of the former one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replanned {
    /// Plan. It passes [`check_plan`](crate::check_plan), and counts trays of serials that are open at the start.
    pub plan: Plan,
    /// Value and bound of every level of the objective, among all plans of the problem. Fewer moves may be worth more than the
    /// later levels, so these need not be met.
    pub quality: Quality,
    /// What was kept and what was moved.
    pub moves: Moves,
    /// How it was found.
    pub method: Method,
}

/// Plans anew what is not cut yet, changing as few of the remaining steps as the objective allows.
///
/// Candidates, in this order: the former plan repaired on the coils concerned; if that leaves pieces uncut, notes torn, or a
/// tail that is scrap, the wires concerned planned anew by [`BestPlanner`]; the whole planned anew. Among them these decide,
/// in strict order:
///
/// 1. pieces uncut, serial by serial in due order;
/// 2. notes torn: cut from more than one coil, those that are cut already included; then notes that are torn between lots;
/// 3. scrap, where [`ReplanPolicy::scrap_tolerance`] for each coil in use makes no difference;
/// 4. pieces moved to another coil ([`Moves::moved`] and [`Moves::forced`]), unless [`Calm::Last`] puts them after 5;
/// 5. the levels of the objective in the shop's order, with scrap to the µm;
/// 6. steps out of their former order ([`Moves::reordered`]).
///
/// Under [`Unison::Hard`](crate::Unison::Hard) a piece whose unisons are cut already may come from another coil all the same:
/// what is cut cannot be brought back, and a note that lacks a string is of no use. Its coil is preferred, then its lot, and it
/// counts as torn. What is still to be cut of such a note comes from one coil as a whole, as rule 6 of the model wants: it does
/// not follow the cut pieces in part.
#[derive(Debug, Clone, Copy, Default)]
pub struct Replanner {
    /// What the shop wants of a new plan.
    pub policy: ReplanPolicy,
    /// The planner for wires that must be planned anew, with the shop's order of levels.
    pub best: BestPlanner,
}

impl Replanner {
    /// Makes a new plan. `stop` is asked now and then; once it says true, the best plan found till then is returned.
    ///
    /// # Errors
    ///
    /// [`PlanError::UnsoundProblem`] with all faults if the problem does not pass [`Problem::check`].
    pub fn replan(
        &self,
        floor: &Disturbed<'_>,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Result<Replanned, PlanError> {
        floor.problem.check().map_err(PlanError::UnsoundProblem)?;
        let mut replanned = candidates::best_of(self, floor, stop)?;
        replanned.quality = assess_alone(floor.problem, &replanned.plan, &self.best.order, stop());
        Ok(replanned)
    }
}
