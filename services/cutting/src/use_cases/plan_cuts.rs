//! Planning what a request states, without the store.

use std::time::Instant;

use becket_api::convert::{plan_cuts_response, read_plan_cuts};
use becket_api::cutting::{PlanCutsRequest, PlanCutsResponse};
use becket_planner::PlanError;
use becket_service_kit::CallContext;

use crate::app::App;
use crate::error::UseCaseError;
use crate::planning::{Budget, solve};

impl App {
    /// Plans the pieces of the request on its coils. Nothing is read from the store and nothing is written.
    pub(crate) async fn plan_cuts(
        &self,
        call: &CallContext,
        request: PlanCutsRequest,
    ) -> Result<PlanCutsResponse, UseCaseError> {
        let deadline = call.deadline;
        // A request may be large, so it is read where it is planned.
        let planned = self.pool.run(move |flag| {
            let question = read_plan_cuts(request)?;
            let budget = Budget::begin(deadline, question.policy());
            let begin = Instant::now();
            let best = match solve(question.problem(), question.policy(), &budget, flag) {
                Err(UseCaseError::Plan(PlanError::UnsoundProblem(faults))) => {
                    return Err(question.faults(&faults).into());
                }
                solved => solved?,
            };
            let search_us = i64::try_from(begin.elapsed().as_micros()).unwrap_or(i64::MAX);
            Ok(plan_cuts_response(&question, &best, search_us))
        });
        planned.await?
    }
}
