//! The search for a plan: the one place where a planner is called, how long it may take, and the check of what it made.

use std::time::Duration;

use becket_floor::{PlanPolicy, ReplanFrame};
use becket_planner::{BestPlan, BestPlanner, Problem, Replanned, Replanner, check_plan, check_quality};
use becket_service_kit::{CancelFlag, Deadline};

use crate::error::UseCaseError;

/// The search for a plan leaves one part in so many of the call's time for checking, storing and sending it.
const SHARE_FOR_THE_REST: u32 = 4;

/// Until when a plan may be searched for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Budget {
    end: Option<Deadline>,
}

impl Budget {
    /// A budget that begins now: what the policy grants, but never more than most of the time left to the call.
    pub(crate) fn begin(deadline: Option<Deadline>, policy: &PlanPolicy) -> Self {
        let left = deadline.map(|deadline| {
            let left = deadline.remaining();
            left.saturating_sub(left / SHARE_FOR_THE_REST)
        });
        let granted = policy.time_budget_ms.map(|ms| Duration::from_millis(ms.into()));
        Self { end: left.into_iter().chain(granted).min().map(Deadline::after) }
    }

    fn is_over(self) -> bool {
        self.end.is_some_and(|end| end.remaining().is_zero())
    }
}

/// Plans a problem. The plan is checked by other code than made it, and so is the report on it.
///
/// The same problem and policy have the same plan, unless the budget ends or the flag is set before the search is done.
///
/// # Errors
/// [`UseCaseError::Plan`] for a problem that is not sound, [`UseCaseError::Internal`] for a fault of the planner.
pub(crate) fn solve(
    problem: &Problem,
    policy: &PlanPolicy,
    budget: &Budget,
    flag: &CancelFlag,
) -> Result<BestPlan, UseCaseError> {
    let planner = BestPlanner { effort: policy.effort, order: policy.level_order };
    let best = planner.plan_until(problem, &|| flag.is_cancelled() || budget.is_over())?;
    wanted(flag)?;
    check_plan(problem, &best.plan).map_err(|violations| unsound("plan", &violations))?;
    check_quality(problem, &best.plan, &policy.level_order, &best.quality)
        .map_err(|faults| unsound("report", &faults))?;
    Ok(best)
}

/// Plans anew what a list still has to cut, with as few changes as the objective allows; checked like any plan.
///
/// # Errors
/// As [`solve`].
pub(crate) fn solve_again(
    frame: &ReplanFrame,
    policy: &PlanPolicy,
    budget: &Budget,
    flag: &CancelFlag,
) -> Result<BestPlan, UseCaseError> {
    let best = BestPlanner { effort: policy.effort, order: policy.level_order };
    let replanner = Replanner { best, ..Replanner::default() };
    let problem = frame.frame().problem();
    let stop = || flag.is_cancelled() || budget.is_over();
    let Replanned { plan, quality, .. } = replanner.replan(&frame.disturbed(), &stop)?;
    wanted(flag)?;
    check_plan(problem, &plan).map_err(|violations| unsound("plan", &violations))?;
    check_quality(problem, &plan, &policy.level_order, &quality)
        .map_err(|faults| unsound("report", &faults))?;
    Ok(BestPlan { plan, quality })
}

/// Ends the work of a call that nobody waits for any more: its plan need not be checked nor shown.
fn wanted(flag: &CancelFlag) -> Result<(), UseCaseError> {
    if flag.is_cancelled() { Err(UseCaseError::Stopping) } else { Ok(()) }
}

fn unsound(what: &str, found: &[impl std::fmt::Debug]) -> UseCaseError {
    // A few tell what is wrong; a plan has a million steps.
    let shown = found.get(..found.len().min(5)).unwrap_or_default();
    UseCaseError::Internal(format!("the planner made an unsound {what}: {shown:?}"))
}
