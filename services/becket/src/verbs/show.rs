//! `show`.

use becket_api::{
    cutting::{
        GetCoilRequest, GetCutListRequest, GetSerialRecordRequest, GetStationRequest, ListCoilEvidenceRequest,
    },
    stringing::{
        ComputeOptions, ComputeStringSetRequest, ComputeStringSetResponse, GetJobRequest, GetScaleRequest,
        GetStringSetRequest, GetStringSetResponse, GetWireRequest, ListWiresRequest, PitchBasis,
        ScaleReference, StringModel, StringSet, WindingModel, compute_string_set_request::Source,
    },
};
use becket_units::UnitSystem;
use prost::Name;

use super::{call, pages, partials, picture, sets, winding};
use crate::{
    cli::{Format, Limit, Set, Show},
    context::Context,
    errors::Failure,
    output::{self, ListView, WireNames},
};

/// Lines of a coil's ledger that are shown with it.
const SHOWN_EVIDENCE: i32 = 12;

/// Shows what is asked for.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn run(context: &Context, what: &Show) -> Result<(), Failure> {
    match what {
        Show::Wire(args) => wire(context, &args.wire_id).await,
        Show::Scale(args) => scale(context, &args.model_id, &args.revision_id).await,
        Show::Job(args) => job(context, &args.serial_id).await,
        Show::Set(args) => set(context, args).await,
        Show::Sets(args) => sets::run(context, args).await,
        Show::Partials(args) => partials::run(context, args).await,
        Show::Coil(args) => coil(context, &args.coil_id).await,
        Show::Station(args) => station(context, &args.station_id).await,
        Show::CutList(args) => {
            let view = ListView { pending: args.pending, summary: args.summary };
            cut_list(context, &args.list_id, view).await
        }
        Show::WorkSheet(args) => picture::work_sheet(context, args).await,
        Show::Record(args) => record(context, &args.serial_id).await,
        Show::WindingOrder(args) => winding::show(context, args).await,
    }
}

async fn wire(context: &Context, wire_id: &str) -> Result<(), Failure> {
    let answer = call!(context.client.wires(), get_wire, GetWireRequest { wire_id: wire_id.to_owned() })?;
    let wire = answer.wire.as_ref().ok_or(Failure::Answer("the wire"))?;
    let sheet = |units| output::wire_sheet(std::slice::from_ref(wire), units);
    context.show(&answer, |units| output::wire_text(wire, units), sheet)
}

async fn scale(context: &Context, model_id: &str, revision_id: &str) -> Result<(), Failure> {
    let request = GetScaleRequest { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    let answer = call!(context.client.scales(), get_scale, request)?;
    let scale = answer.scale.as_ref().ok_or(Failure::Answer("the scale"))?;
    context.show(&answer, |units| output::scale_text(scale, units), |units| output::notes_sheet(scale, units))
}

async fn job(context: &Context, serial_id: &str) -> Result<(), Failure> {
    let answer = call!(context.client.jobs(), get_job, GetJobRequest { serial_id: serial_id.to_owned() })?;
    let job = answer.job.as_ref().ok_or(Failure::Answer("the job"))?;
    let sheet = |units| output::job_sheet(std::slice::from_ref(job), units);
    context.show(&answer, |units| output::job_text(job, units), sheet)
}

async fn coil(context: &Context, coil_id: &str) -> Result<(), Failure> {
    let answer = call!(context.client.coils(), get_coil, GetCoilRequest { coil_id: coil_id.to_owned() })?;
    let coil = answer.coil.as_ref().ok_or(Failure::Answer("the coil"))?;
    let sheet = |units| output::coil_sheet(std::slice::from_ref(coil), units);
    context.show(&answer, |units| output::coil_text(coil, units), sheet)?;
    if context.format != Format::Table {
        return Ok(());
    }
    let request = ListCoilEvidenceRequest {
        page_size: SHOWN_EVIDENCE,
        coil_id: coil_id.to_owned(),
        ..Default::default()
    };
    let answer = call!(context.client.coils(), list_coil_evidence, request)?;
    let ledger = output::evidence_sheet(&answer.evidence, context.units).table();
    let more = if answer.next_page_token.is_empty() {
        String::new()
    } else {
        format!("Earlier lines: becket list evidence {coil_id}\n")
    };
    context.remark(&format!("\n{ledger}{more}"))
}

async fn station(context: &Context, station_id: &str) -> Result<(), Failure> {
    let request = GetStationRequest { station_id: station_id.to_owned() };
    let answer = call!(context.client.stations(), get_station, request)?;
    let station = answer.station.as_ref().ok_or(Failure::Answer("the station"))?;
    let sheet = |units| output::station_sheet(std::slice::from_ref(station), units);
    context.show(&answer, |units| output::station_text(station, units), sheet)
}

async fn record(context: &Context, serial_id: &str) -> Result<(), Failure> {
    let request = GetSerialRecordRequest { serial_id: serial_id.to_owned() };
    let answer = call!(context.client.records(), get_serial_record, request)?;
    let sheet = |units| output::record_sheet(&answer.lines, units);
    context.show(&answer, |units| output::record_text(&answer, units), sheet)
}

async fn set(context: &Context, args: &Set) -> Result<(), Failure> {
    match (&args.serial_id, &args.model, &args.revision) {
        (Some(serial_id), _, _) => {
            let request = GetStringSetRequest { serial_id: serial_id.clone() };
            let answer: GetStringSetResponse = call!(context.client.string_sets(), get_string_set, request)?;
            show_set(context, args, &answer, answer.string_set.as_ref())
        }
        (None, Some(model_id), Some(revision_id)) => {
            let request = ComputeStringSetRequest {
                source: Some(Source::Stored(ScaleReference {
                    model_id: model_id.clone(),
                    revision_id: revision_id.clone(),
                })),
                options: Some(options(args)),
                ..ComputeStringSetRequest::default()
            };
            let answer: ComputeStringSetResponse =
                call!(context.client.string_sets(), compute_string_set, request)?;
            show_set(context, args, &answer, answer.string_set.as_ref())
        }
        _ => Err(Failure::Usage("a set is of a serial, or of --model and --revision".to_owned())),
    }
}

fn options(args: &Set) -> ComputeOptions {
    ComputeOptions {
        a4_hz: args.a4,
        pitch_basis: args.first_partial.then_some(PitchBasis::FirstPartial.into()),
        string_model: args.stepped.then_some(StringModel::Stepped.into()),
        winding_model: args.helix.then_some(WindingModel::Helix.into()),
        partial_count: args.partials,
        include_partials: args.partials.map(|_| true),
        ..ComputeOptions::default()
    }
}

fn show_set<M: Name>(
    context: &Context,
    args: &Set,
    answer: &M,
    set: Option<&StringSet>,
) -> Result<(), Failure> {
    let set = set.ok_or(Failure::Answer("the string set"))?;
    let strings = |units| output::strings_sheet(&set.strings, units);
    let pieces = |units| output::pieces_sheet(&set.pieces, units);
    let windings = |units| output::windings_sheet(&set.strings, units);
    let with_note = |sheet: output::Sheet| format!("{}\n{}", sheet.table(), output::SAFETY_NOTE);
    if args.pieces {
        context.show(answer, |units| with_note(pieces(units)), pieces)
    } else if args.windings {
        let text = |units| format!("{}{}", output::WINDINGS_NOTE, with_note(windings(units)));
        context.show(answer, text, windings)
    } else if args.strings {
        context.show(answer, |units| with_note(strings(units)), strings)
    } else if args.summary {
        let totals = |units| output::wire_totals_sheet(&set.wire_totals, units);
        context.show(answer, |units| output::set_text(set, units), totals)
    } else {
        context.show(answer, |units| output::set_text(set, units), strings)
    }
}

async fn cut_list(context: &Context, list_id: &str, view: ListView) -> Result<(), Failure> {
    let answer =
        call!(context.client.cut_lists(), get_cut_list, GetCutListRequest { list_id: list_id.to_owned() })?;
    let list = answer.cut_list.as_ref().ok_or(Failure::Answer("the cut list"))?;
    // Only the table names wires by their numbers.
    let wires = match context.format {
        Format::Table => wire_names(context, context.units).await,
        Format::Json | Format::Csv => WireNames::default(),
    };
    let text = |units| output::cut_list_text(list, &wires, view, units);
    context.show(&answer, text, |units| output::cut_list_sheet(list, view, units))
}

/// Names of all wires. A list is shown with bare ids rather than not at all if the catalogue cannot be read.
pub(crate) async fn wire_names(context: &Context, units: UnitSystem) -> WireNames {
    let service = context.client.wires();
    let service = &service;
    let all = pages::all(Limit { limit: None }, |page_size, page_token| async move {
        let request = ListWiresRequest { page_size, page_token, material: None };
        let answer = call!(service, list_wires, request)?;
        Ok((answer.wires, answer.next_page_token))
    });
    all.await.map(|all| WireNames::new(&all.items, units)).unwrap_or_default()
}
