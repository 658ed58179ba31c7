//! `weigh`, `decide`, `set-aside`, `return`, `scrap`, `unmount` and `set-rule`.

use becket_api::cutting::{
    Coil, CoilEvidence, DecideCoilEvidenceRequest, ListReplan, ReturnCoilRequest, ScrapCoilRequest,
    SetAsideCoilRequest, SetStockRuleRequest, StockRule, UnmountCoilRequest, WeighCoilRequest,
};
use prost::Name;

use super::call;
use crate::{
    cli::{Decide, ReturnCoil, Scrap, SetAside, SetRule, Unmount, Verdict, Weigh},
    context::Context,
    errors::Failure,
    output,
};

/// Corrects what is left of a coil.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn weigh(context: &Context, args: &Weigh) -> Result<(), Failure> {
    let request = WeighCoilRequest {
        request_id: context.client.request_id(),
        coil_id: args.coil_id.clone(),
        gross_g: args.gross,
        tare_g: args.tare,
        resolution_g: args.resolution,
        tare_sd_g: args.tare_sd,
        accept: args.accept,
        keep_lists: args.keep_lists,
    };
    let answer = call!(context.client.coils(), weigh_coil, request)?;
    show(context, &answer, answer.coil.as_ref())?;
    learnt(context, answer.coil.as_ref(), answer.evidence.as_ref(), answer.adjusted_by_um)?;
    planned_anew(context, &answer.replanned)?;
    affected(context, "count on more wire than is left", &answer.short_list_ids)
}

/// Decides upon a weighing that disagreed.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn decide(context: &Context, args: &Decide) -> Result<(), Failure> {
    let request = DecideCoilEvidenceRequest {
        request_id: context.client.request_id(),
        coil_id: args.coil_id.clone(),
        evidence_number: args.evidence_number,
        accept: args.verdict == Verdict::Accept,
        note: args.note.clone(),
        keep_lists: args.keep_lists,
    };
    let answer = call!(context.client.coils(), decide_coil_evidence, request)?;
    show(context, &answer, answer.coil.as_ref())?;
    match args.verdict {
        Verdict::Accept => {
            learnt(context, answer.coil.as_ref(), answer.evidence.as_ref(), answer.adjusted_by_um)?;
        }
        Verdict::Reject => context.remark("Rejected; what was believed stays.")?,
    }
    planned_anew(context, &answer.replanned)?;
    affected(context, "count on more wire than is left", &answer.short_list_ids)
}

/// Tells what evidence made of a coil.
fn learnt(
    context: &Context,
    coil: Option<&Coil>,
    evidence: Option<&CoilEvidence>,
    adjusted_by_um: i64,
) -> Result<(), Failure> {
    let coil = coil.ok_or(Failure::Answer("the coil"))?;
    let line = evidence.ok_or(Failure::Answer("the evidence"))?;
    context.remark(&output::weighing_text(coil, line, adjusted_by_um, context.units))
}

/// Takes a coil out of planning.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn set_aside(context: &Context, args: &SetAside) -> Result<(), Failure> {
    let request = SetAsideCoilRequest {
        request_id: context.client.request_id(),
        coil_id: args.coil_id.clone(),
        note: args.note.clone(),
        keep_lists: args.keep_lists,
    };
    let answer = call!(context.client.coils(), set_aside_coil, request)?;
    show(context, &answer, answer.coil.as_ref())?;
    planned_anew(context, &answer.replanned)?;
    affected(context, "count on this coil", &answer.affected_list_ids)
}

/// Puts a coil back into planning.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn return_coil(context: &Context, args: &ReturnCoil) -> Result<(), Failure> {
    let request =
        ReturnCoilRequest { request_id: context.client.request_id(), coil_id: args.coil_id.clone() };
    let answer = call!(context.client.coils(), return_coil, request)?;
    show(context, &answer, answer.coil.as_ref())
}

/// Books what is left of a coil as scrap.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn scrap(context: &Context, args: &Scrap) -> Result<(), Failure> {
    let request = ScrapCoilRequest {
        request_id: context.client.request_id(),
        coil_id: args.coil_id.clone(),
        note: args.note.clone(),
        keep_lists: args.keep_lists,
    };
    let answer = call!(context.client.coils(), scrap_coil, request)?;
    show(context, &answer, answer.coil.as_ref())?;
    planned_anew(context, &answer.replanned)
}

/// Takes a coil off a reel position outside of a list.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn unmount(context: &Context, args: &Unmount) -> Result<(), Failure> {
    let request = UnmountCoilRequest {
        request_id: context.client.request_id(),
        station_id: args.station_id.clone(),
        reel_position: args.reel_position,
    };
    let answer = call!(context.client.stations(), unmount_coil, request)?;
    let station = answer.station.as_ref().ok_or(Failure::Answer("the station"))?;
    let sheet = |units| output::station_sheet(std::slice::from_ref(station), units);
    context.show(&answer, |units| output::station_text(station, units), sheet)?;
    context.remark(&format!("Took off coil {}.", answer.coil_id))?;
    affected(context, "expect it on its reel", &answer.affected_list_ids)
}

/// Sets the rule of a wire.
///
/// # Errors
/// As [`weigh`].
pub(super) async fn set_rule(context: &Context, args: &SetRule) -> Result<(), Failure> {
    let rule = StockRule { wire_id: args.wire_id.clone(), smallest_remnant_mm: args.length_mm };
    let request = SetStockRuleRequest { request_id: context.client.request_id(), rule: Some(rule) };
    let answer = call!(context.client.coils(), set_stock_rule, request)?;
    let rule = answer.rule.as_ref().ok_or(Failure::Answer("the rule"))?;
    context.show_sheet(&answer, |units| output::rule_sheet(std::slice::from_ref(rule), units))
}

fn show<M: Name>(context: &Context, answer: &M, coil: Option<&Coil>) -> Result<(), Failure> {
    let coil = coil.ok_or(Failure::Answer("the coil"))?;
    let sheet = |units| output::coil_sheet(std::slice::from_ref(coil), units);
    context.show(answer, |units| output::coil_text(coil, units), sheet)
}

/// Tells what became of lists that counted on a coil.
fn planned_anew(context: &Context, lists: &[ListReplan]) -> Result<(), Failure> {
    lists.iter().try_for_each(|list| context.remark(&output::list_replan_text(list)))
}

fn affected(context: &Context, how: &str, list_ids: &[String]) -> Result<(), Failure> {
    if list_ids.is_empty() {
        return Ok(());
    }
    let commands: Vec<_> = list_ids.iter().map(|id| format!("\n  becket replan {id}")).collect();
    context.remark(&format!("Lists that {how}; plan them anew:{}", commands.concat()))
}
