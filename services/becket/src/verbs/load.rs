//! `load`.

use becket_api::{
    cutting::{
        GetStationRequest, ReceiveCoilsRequest, SaveStationRequest, SaveStationResponse, SetStockRuleRequest,
        Station,
    },
    document::CoilsDocument,
    stringing::{
        CreateScaleRequest, ImportWiresRequest, ImportWiresResponse, Job, OpenJobRequest,
        ReleaseScaleRequest, Scale, SizeSeries, Wire,
    },
};
use tonic::Code;

use super::call;
use crate::{
    cli::{Load, LoadCoils, LoadJobs, LoadScale, LoadStation, LoadWires},
    context::Context,
    errors::Failure,
    files, output, progress,
};

/// Loads what is asked for.
///
/// # Errors
/// [`Failure`] of the file, the call or of printing.
pub(super) async fn run(context: &Context, what: &Load) -> Result<(), Failure> {
    match what {
        Load::Wires(args) => wires(context, args).await,
        Load::Scale(args) => scale(context, args).await,
        Load::Jobs(args) => jobs(context, args).await,
        Load::Coils(args) => coils(context, args).await,
        Load::Station(args) => station(context, args).await,
    }
}

async fn wires(context: &Context, args: &LoadWires) -> Result<(), Failure> {
    let wires = args.file.as_deref().map(files::wires).transpose()?.unwrap_or_default();
    let series: Vec<SizeSeries> = args.standard.iter().map(|series| series.api()).collect();
    let answer = load_wires(context, wires, &series, args.check).await?;
    let text = format!(
        "{} {}, {} there already with the same content.",
        answer.added_wire_ids.len(),
        if args.check { "wires would be added" } else { "wires added" },
        answer.unchanged_wire_ids.len()
    );
    let sheet = |_| {
        let row = |id: &String, what: &str| vec![id.clone(), what.to_owned()];
        let added = answer.added_wire_ids.iter().map(|id| row(id, "added"));
        let unchanged = answer.unchanged_wire_ids.iter().map(|id| row(id, "unchanged"));
        output::Sheet::of([output::left("wire"), output::left("result")], added.chain(unchanged))
    };
    context.show(&answer, |_| text, sheet)
}

/// Imports wires.
///
/// # Errors
/// [`Failure`] of the call.
pub(crate) async fn load_wires(
    context: &Context,
    wires: Vec<Wire>,
    series: &[SizeSeries],
    validate_only: bool,
) -> Result<ImportWiresResponse, Failure> {
    let request = ImportWiresRequest {
        request_id: context.client.request_id(),
        wires,
        standard_series: series.iter().map(|series| i32::from(*series)).collect(),
        validate_only,
    };
    call!(context.client.wires(), import_wires, request)
}

async fn scale(context: &Context, args: &LoadScale) -> Result<(), Failure> {
    let scale = load_scale(context, files::scale(&args.file)?, args.release, args.check).await?;
    if args.check {
        context.remark("The scale has no faults; nothing is stored.")?;
    }
    context.show_sheet(&scale, |units| output::scale_sheet(std::slice::from_ref(&scale), units))
}

/// Stores a scale as a draft and releases it if that is asked for.
///
/// # Errors
/// [`Failure`] of the calls.
pub(crate) async fn load_scale(
    context: &Context,
    scale: Scale,
    release: bool,
    validate_only: bool,
) -> Result<Scale, Failure> {
    let service = context.client.scales();
    let request =
        CreateScaleRequest { request_id: context.client.request_id(), scale: Some(scale), validate_only };
    let draft = call!(service, create_scale, request)?.scale.ok_or(Failure::Answer("the scale"))?;
    if !release {
        return Ok(draft);
    }
    let request = ReleaseScaleRequest {
        request_id: context.client.request_id(),
        model_id: draft.model_id,
        revision_id: draft.revision_id,
        etag: draft.etag,
    };
    call!(service, release_scale, request)?.scale.ok_or(Failure::Answer("the scale"))
}

async fn jobs(context: &Context, args: &LoadJobs) -> Result<(), Failure> {
    let jobs = load_jobs(context, files::jobs(&args.file)?, args.check).await?;
    if args.check {
        context.remark("The jobs have no faults; none is opened.")?;
    }
    let answer = becket_api::stringing::ListJobsResponse { jobs, ..Default::default() };
    context.show_sheet(&answer, |units| output::job_sheet(&answer.jobs, units))
}

/// Opens jobs one after the other.
///
/// # Errors
/// [`Failure`] of the first that is refused.
pub(crate) async fn load_jobs(
    context: &Context,
    jobs: Vec<Job>,
    validate_only: bool,
) -> Result<Vec<Job>, Failure> {
    let service = context.client.jobs();
    let bar = progress::bar("Opening jobs", jobs.len());
    let mut opened = Vec::with_capacity(jobs.len());
    for (index, job) in jobs.into_iter().enumerate() {
        let request = OpenJobRequest {
            request_id: context.client.request_id_of(index + 1),
            job: Some(job),
            validate_only,
        };
        opened.push(call!(service, open_job, request)?.job.ok_or(Failure::Answer("the job"))?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(opened)
}

async fn coils(context: &Context, args: &LoadCoils) -> Result<(), Failure> {
    let document = files::coils(&args.file)?;
    let rules = document.stock_rules.len();
    let coils = load_coils(context, document, args.check).await?;
    let answer = becket_api::cutting::ReceiveCoilsResponse { coils };
    context.show_sheet(&answer, |units| output::coil_sheet(&answer.coils, units))?;
    match (args.check, rules) {
        (true, _) => context
            .remark("\nThe coils have no faults; nothing is stored. Stock rules are not checked beforehand."),
        (false, 0) => Ok(()),
        (false, rules) => context.remark(&format!("\n{rules} stock rules set.")),
    }
}

/// Books coils and then sets stock rules; without coils only the rules.
///
/// # Errors
/// [`Failure`] of the calls.
pub(crate) async fn load_coils(
    context: &Context,
    document: CoilsDocument,
    validate_only: bool,
) -> Result<Vec<becket_api::cutting::Coil>, Failure> {
    let service = context.client.coils();
    let CoilsDocument { coils, stock_rules } = document;
    let booked = if coils.is_empty() {
        Vec::new()
    } else {
        let request = ReceiveCoilsRequest { request_id: context.client.request_id(), coils, validate_only };
        call!(service, receive_coils, request)?.coils
    };
    if validate_only {
        return Ok(booked);
    }
    let bar = progress::bar("Setting stock rules", stock_rules.len());
    for (index, rule) in stock_rules.into_iter().enumerate() {
        let request =
            SetStockRuleRequest { request_id: context.client.request_id_of(index + 1), rule: Some(rule) };
        call!(service, set_stock_rule, request)?;
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(booked)
}

async fn station(context: &Context, args: &LoadStation) -> Result<(), Failure> {
    let answer = load_station(context, files::station(&args.file)?).await?;
    let station = answer.station.as_ref().ok_or(Failure::Answer("the station"))?;
    context.show_sheet(&answer, |units| output::station_sheet(std::slice::from_ref(station), units))
}

/// Creates a station, or changes the one that is there.
///
/// # Errors
/// [`Failure`] of the calls.
pub(crate) async fn load_station(
    context: &Context,
    station: Station,
) -> Result<SaveStationResponse, Failure> {
    let service = context.client.stations();
    let request = GetStationRequest { station_id: station.station_id.clone() };
    let etag = match call!(service, get_station, request) {
        Ok(answer) => answer.station.map(|station| station.etag).unwrap_or_default(),
        Err(Failure::Refused(status)) if status.code() == Code::NotFound => String::new(),
        Err(failure) => return Err(failure),
    };
    let station = Station { etag, ..station };
    let request = SaveStationRequest { request_id: context.client.request_id(), station: Some(station) };
    call!(service, save_station, request)
}
