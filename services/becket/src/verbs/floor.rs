//! `plan`, `start`, `confirm`, `spoiled`, `run-out`, `replan`, `finish` and `cancel`.

use becket_api::cutting::{
    CancelCutListRequest, ConfirmStepRequest, ConfirmStepResponse, CutList, CutStep, FinishCutListRequest,
    PlanCutListRequest, PlanPolicy, ReplanCutListRequest, ReportRunOutRequest, ReportSpoiledPieceRequest,
    StartCutListRequest, StepKind,
};
use prost::Name;

use super::call;
use crate::{
    cli::{Cancel, Confirm, Finish, Plan, Replan, RunOut, Spoiled, Start},
    context::Context,
    errors::{EXIT_DONE, EXIT_SHORT, Failure},
    output::{self, ListView},
};

/// Plans a list; the exit code tells whether the stock covers all of it.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn plan(context: &Context, args: &Plan) -> Result<u8, Failure> {
    let request = PlanCutListRequest {
        request_id: context.client.request_id(),
        station_id: args.station_id.clone(),
        serial_ids: args.serial_ids.clone(),
        due_by_date: args.due_by.clone().unwrap_or_default(),
        policy: Some(policy(args)),
        validate_only: args.dry_run,
    };
    let answer = call!(context.client.cut_lists(), plan_cut_list, request)?;
    let list = answer.cut_list.as_ref().ok_or(Failure::Answer("the cut list"))?;
    let sheet = |units| output::cut_list_sheet(list, ListView::default(), units);
    context.show(&answer, |units| output::plan_text(list, units), sheet)?;
    Ok(plan_exit_code(list))
}

fn plan_exit_code(list: &CutList) -> u8 {
    if list.shortages.is_empty() { EXIT_DONE } else { EXIT_SHORT }
}

fn policy(args: &Plan) -> PlanPolicy {
    PlanPolicy {
        unison_rule: args.unison.map(|rule| rule.api().into()),
        end_trim_mm: args.end_trim,
        coil_margin_mm: args.coil_margin,
        coil_margin_sds: args.coil_margin_sds,
        piece_order: args.order.map(|order| order.api().into()),
        wound_cores: args.no_cores.then_some(false),
        level_order: args.levels.iter().map(|level| level.api().into()).collect(),
        // Less than a millisecond is refused by the server, as it should be.
        time_budget_ms: args.budget.map(|budget| i32::try_from(budget.as_millis()).unwrap_or(i32::MAX)),
        search_rounds: args.rounds,
        due_window: args.due_window,
        fifo: args.any_coil_first.then_some(false),
    }
}

/// Hands a list to its station.
///
/// # Errors
/// As [`plan`].
pub(super) async fn start(context: &Context, args: &Start) -> Result<(), Failure> {
    let request = StartCutListRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        etag: String::new(),
    };
    let answer = call!(context.client.cut_lists(), start_cut_list, request)?;
    show_list(context, &answer, answer.cut_list.as_ref())
}

/// Books steps as done.
///
/// # Errors
/// As [`plan`].
pub(super) async fn confirm(context: &Context, args: &Confirm) -> Result<(), Failure> {
    let request = ConfirmStepRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        step_number: args.step_number,
        count: args.count,
    };
    let answer = call!(context.client.cut_lists(), confirm_step, request)?;
    let sheet = |units| output::steps_sheet(&answer.confirmed, units);
    context.show(&answer, |units| confirmed_text(&answer, units), sheet)
}

fn confirmed_text(answer: &ConfirmStepResponse, units: becket_units::UnitSystem) -> String {
    let steps = match answer.confirmed.as_slice() {
        [] => "no step".to_owned(),
        [one] => format!("step {}", one.step_number),
        [first, .., last] => format!("steps {} to {}", first.step_number, last.step_number),
    };
    let seen = becket_api::cutting::WatchCutListResponse {
        state: becket_api::cutting::CutListState::Running.into(),
        next: answer.next.clone(),
        pieces_done: answer.pieces_done,
        pieces_pending: answer.pieces_pending,
        ..Default::default()
    };
    format!("Confirmed {steps}.\n{}", output::watch_line(&seen, units))
}

/// Books a piece as lost.
///
/// # Errors
/// As [`plan`].
pub(super) async fn spoiled(context: &Context, args: &Spoiled) -> Result<(), Failure> {
    let request = ReportSpoiledPieceRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        step_number: args.step_number,
        cause: args.cause.api().into(),
        lost_length_mm: args.lost,
    };
    let answer = call!(context.client.cut_lists(), report_spoiled_piece, request)?;
    let list = answer.cut_list.as_ref().ok_or(Failure::Answer("the cut list"))?;
    let recut = list.steps.iter().find(|step| step.step_number == answer.recut_step_number);
    context.show(&answer, |_| recut_text(&list.list_id, recut), |units| output::steps_sheet(recut, units))
}

fn recut_text(list_id: &str, recut: Option<&CutStep>) -> String {
    match recut {
        Some(step) if step.kind == i32::from(StepKind::Cut) => format!(
            "The piece {} is cut again in step {}, from coil {} on reel {}.\n\n{}",
            step.piece_id,
            step.step_number,
            step.coil_id,
            step.reel_position,
            output::SAFETY_NOTE
        ),
        _ => format!(
            "The stock has no wire to cut the piece again; see the shortages with: becket show cut-list {list_id}\n"
        ),
    }
}

/// Says that a coil ran out.
///
/// # Errors
/// As [`plan`].
pub(super) async fn run_out(context: &Context, args: &RunOut) -> Result<(), Failure> {
    let request = ReportRunOutRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        step_number: args.step_number,
        remaining_length_mm: args.left,
    };
    let answer = call!(context.client.cut_lists(), report_run_out, request)?;
    show_list(context, &answer, answer.cut_list.as_ref())?;
    let (adjusted, sds) = (answer.adjusted_by_um, answer.deviation_sds);
    context.remark(&output::run_out_text(&answer.coil_id, adjusted, sds, context.units))?;
    context
        .remark(&format!("{} steps kept, {} new or on another coil.", answer.steps_kept, answer.steps_moved))
}

/// Plans what is pending anew.
///
/// # Errors
/// As [`plan`].
pub(super) async fn replan(context: &Context, args: &Replan) -> Result<(), Failure> {
    let request = ReplanCutListRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        etag: String::new(),
        add_serial_ids: args.add.clone(),
    };
    let answer = call!(context.client.cut_lists(), replan_cut_list, request)?;
    show_list(context, &answer, answer.cut_list.as_ref())?;
    let list_id = answer.cut_list.as_ref().map_or("", |list| list.list_id.as_str());
    context.remark(&output::replan_text(list_id, &answer))
}

/// Ends a list.
///
/// # Errors
/// As [`plan`].
pub(super) async fn finish(context: &Context, args: &Finish) -> Result<(), Failure> {
    let request = FinishCutListRequest {
        request_id: context.client.request_id(),
        list_id: args.list_id.clone(),
        give_up_pending: args.give_up_pending,
    };
    let answer = call!(context.client.cut_lists(), finish_cut_list, request)?;
    show_list(context, &answer, answer.cut_list.as_ref())
}

/// Withdraws a list.
///
/// # Errors
/// As [`plan`].
pub(super) async fn cancel(context: &Context, args: &Cancel) -> Result<(), Failure> {
    let request =
        CancelCutListRequest { request_id: context.client.request_id(), list_id: args.list_id.clone() };
    let answer = call!(context.client.cut_lists(), cancel_cut_list, request)?;
    show_list(context, &answer, answer.cut_list.as_ref())
}

fn show_list<M: Name>(context: &Context, answer: &M, list: Option<&CutList>) -> Result<(), Failure> {
    let list = list.ok_or(Failure::Answer("the cut list"))?;
    context.show_sheet(answer, |units| output::lists_sheet(std::slice::from_ref(list), units))
}

#[cfg(test)]
mod tests {
    use becket_api::cutting::{Shortage, UnisonRule};
    use clap::Parser as _;

    use super::*;
    use crate::cli::{Cli, Verb};

    #[test]
    fn a_plan_that_is_short_has_its_own_exit_code() {
        assert_eq!(plan_exit_code(&CutList::default()), EXIT_DONE);
        let short = CutList { shortages: vec![Shortage::default()], ..CutList::default() };
        assert_eq!(plan_exit_code(&short), EXIT_SHORT);
    }

    #[test]
    fn a_policy_holds_only_what_was_said() {
        let policy_of = |words: &[&str]| {
            let cli = Cli::try_parse_from(["becket", "plan", "bench-1"].iter().chain(words)).unwrap();
            let Verb::Plan(args) = cli.verb else { panic!("{:?}", cli.verb) };
            policy(&args)
        };
        assert_eq!(policy_of(&[]), PlanPolicy::default());
        let said = policy_of(&["--unison", "hard", "--no-cores", "--end-trim", "1in"]);
        assert_eq!(said.unison_rule, Some(UnisonRule::Hard.into()));
        assert_eq!((said.wound_cores, said.end_trim_mm), (Some(false), Some(25.4)));
    }
}
