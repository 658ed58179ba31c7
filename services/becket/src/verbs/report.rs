//! `estimate` and `trace`.

use becket_api::cutting::{EstimateWireRequest, ListLotSerialsRequest, ListLotSerialsResponse, PlanPolicy};

use super::{call, pages};
use crate::{
    cli::{Estimate, Limit, Trace},
    context::Context,
    errors::Failure,
    files, output,
};

/// Lays a schedule on the stock.
///
/// # Errors
/// [`Failure`] of the file, the call or of printing.
pub(super) async fn estimate(context: &Context, args: &Estimate) -> Result<(), Failure> {
    let request = EstimateWireRequest {
        lines: files::schedule(&args.file)?,
        options: None,
        policy: Some(PlanPolicy {
            unison_rule: args.unison.map(|rule| rule.api().into()),
            ..PlanPolicy::default()
        }),
        surplus_share: args.surplus,
        include_open_jobs: Some(!args.without_open_jobs),
    };
    let answer = call!(context.client.purchasing(), estimate_wire, request)?;
    if args.weeks {
        return context.show_sheet(&answer, |units| output::estimate_weeks_sheet(&answer.needs, units));
    }
    let sheet = |units| output::estimate_sheet(&answer.needs, units);
    context.show(&answer, |units| output::estimate_text(&answer, units), sheet)
}

/// Tells which serials hold wire of a lot.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn trace(context: &Context, args: &Trace) -> Result<(), Failure> {
    let service = context.client.records();
    let service = &service;
    let all = pages::all(Limit { limit: None }, |page_size, page_token| async move {
        let request = ListLotSerialsRequest { page_size, page_token, lot_id: args.lot_id.clone() };
        let answer = call!(service, list_lot_serials, request)?;
        Ok((answer.serials, answer.next_page_token))
    })
    .await?;
    let answer = ListLotSerialsResponse { serials: all.items, next_page_token: all.next_page_token };
    context.show_sheet(&answer, |units| output::trace_sheet(&answer.serials, units))
}
