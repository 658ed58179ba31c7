//! `list`.

use becket_api::{
    cutting::{
        ListCoilEvidenceRequest, ListCoilEvidenceResponse, ListCoilsRequest, ListCoilsResponse,
        ListCutListsRequest, ListCutListsResponse, ListStationsRequest, ListStationsResponse,
        ListStockRulesRequest, ListStockRulesResponse,
    },
    journal::{ListEntriesRequest, ListEntriesResponse},
    stringing::{
        ListJobsRequest, ListJobsResponse, ListScalesRequest, ListScalesResponse, ListWiresRequest,
        ListWiresResponse,
    },
};

use super::{call, pages, winding};
use crate::{
    cli::{
        List, ListCoils, ListCutLists, ListEvidence, ListJobs, ListJournal, ListScales, ListStations,
        ListStockRules, ListWires,
    },
    context::Context,
    errors::Failure,
    output,
};

/// Lists what is asked for.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn run(context: &Context, what: List) -> Result<(), Failure> {
    match what {
        List::Wires(args) => wires(context, args).await,
        List::Scales(args) => scales(context, args).await,
        List::Jobs(args) => jobs(context, args).await,
        List::Coils(args) => coils(context, args).await,
        List::Evidence(args) => evidence(context, args).await,
        List::Stations(args) => stations(context, args).await,
        List::CutLists(args) => cut_lists(context, args).await,
        List::StockRules(args) => stock_rules(context, args).await,
        List::WindingOrders(args) => winding::list(context, args).await,
        List::Journal(args) => journal(context, args).await,
    }
}

/// Fetches every page of a method and prints the items as one answer of that method.
macro_rules! list {
    ($context:expr, $limit:expr, $service:ident.$method:ident, $response:ident.$items:ident, $sheet:expr, $request:expr) => {{
        let service = $context.client.$service();
        let service = &service;
        let request = $request;
        let request = &request;
        let all = pages::all($limit, |page_size, page_token| async move {
            let mut page = request.clone();
            page.page_size = page_size;
            page.page_token = page_token;
            let answer = call!(service, $method, page)?;
            Ok((answer.$items, answer.next_page_token))
        })
        .await?;
        let answer = $response { $items: all.items, next_page_token: all.next_page_token };
        $context.show_sheet(&answer, |units| $sheet(&answer.$items, units))
    }};
}

async fn wires(context: &Context, args: ListWires) -> Result<(), Failure> {
    let request = ListWiresRequest {
        material: args.material.map(|material| material.api().into()),
        ..Default::default()
    };
    list!(context, args.limit, wires.list_wires, ListWiresResponse.wires, output::wire_sheet, request)
}

async fn scales(context: &Context, args: ListScales) -> Result<(), Failure> {
    let request = ListScalesRequest { model_id: args.model.unwrap_or_default(), ..Default::default() };
    list!(context, args.limit, scales.list_scales, ListScalesResponse.scales, output::scale_sheet, request)
}

async fn jobs(context: &Context, args: ListJobs) -> Result<(), Failure> {
    let request = ListJobsRequest {
        state: args.state.map(|state| state.api().into()),
        station_id: args.station.unwrap_or_default(),
        due_by_date: args.due_by.unwrap_or_default(),
        ..Default::default()
    };
    list!(context, args.limit, jobs.list_jobs, ListJobsResponse.jobs, output::job_sheet, request)
}

async fn coils(context: &Context, args: ListCoils) -> Result<(), Failure> {
    let request = ListCoilsRequest {
        wire_id: args.wire.unwrap_or_default(),
        lot_id: args.lot.unwrap_or_default(),
        state: args.state.map(|state| state.api().into()),
        ..Default::default()
    };
    list!(context, args.limit, coils.list_coils, ListCoilsResponse.coils, output::coil_sheet, request)
}

async fn evidence(context: &Context, args: ListEvidence) -> Result<(), Failure> {
    let request = ListCoilEvidenceRequest { coil_id: args.coil_id, ..Default::default() };
    list!(
        context,
        args.limit,
        coils.list_coil_evidence,
        ListCoilEvidenceResponse.evidence,
        output::evidence_sheet,
        request
    )
}

async fn stations(context: &Context, args: ListStations) -> Result<(), Failure> {
    let request = ListStationsRequest::default();
    list!(
        context,
        args.limit,
        stations.list_stations,
        ListStationsResponse.stations,
        output::station_sheet,
        request
    )
}

async fn cut_lists(context: &Context, args: ListCutLists) -> Result<(), Failure> {
    let request = ListCutListsRequest {
        station_id: args.station.unwrap_or_default(),
        state: args.state.map(|state| state.api().into()),
        ..Default::default()
    };
    list!(
        context,
        args.limit,
        cut_lists.list_cut_lists,
        ListCutListsResponse.cut_lists,
        output::lists_sheet,
        request
    )
}

async fn stock_rules(context: &Context, args: ListStockRules) -> Result<(), Failure> {
    let request = ListStockRulesRequest::default();
    list!(
        context,
        args.limit,
        coils.list_stock_rules,
        ListStockRulesResponse.rules,
        output::rule_sheet,
        request
    )
}

async fn journal(context: &Context, args: ListJournal) -> Result<(), Failure> {
    let subject = args.subject.unwrap_or_default();
    let request = ListEntriesRequest { subject, show_changes: args.changes, ..Default::default() };
    let sheet = if args.changes { output::changes_sheet } else { output::journal_sheet };
    list!(context, args.limit, journal.list_entries, ListEntriesResponse.entries, sheet, request)
}
