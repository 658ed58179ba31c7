//! `release`, `amend` and `close`.

use becket_api::stringing::{
    AmendJobRequest, CloseJobRequest, GetJobRequest, GetScaleRequest, GetWireRequest, Job, ListJobsResponse,
    ListWiresResponse, ReleaseScaleRequest, Scale, UpdateScaleRequest, UpdateWireRequest, Wire,
};

use super::call;
use crate::{
    cli::{Amend, Close, Release},
    context::Context,
    errors::Failure,
    files, output, progress,
};

/// Releases the draft of a scale as it is now.
///
/// # Errors
/// [`Failure`] of the calls or of printing.
pub(super) async fn release(context: &Context, args: &Release) -> Result<(), Failure> {
    let service = context.client.scales();
    let draft = stored_scale(context, &args.model_id, &args.revision_id).await?;
    let request = ReleaseScaleRequest {
        request_id: context.client.request_id(),
        model_id: args.model_id.clone(),
        revision_id: args.revision_id.clone(),
        etag: draft.etag,
    };
    let answer = call!(service, release_scale, request)?;
    let scale = answer.scale.as_ref().ok_or(Failure::Answer("the scale"))?;
    context.show_sheet(&answer, |units| output::scale_sheet(std::slice::from_ref(scale), units))
}

async fn stored_scale(context: &Context, model_id: &str, revision_id: &str) -> Result<Scale, Failure> {
    let request = GetScaleRequest { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    call!(context.client.scales(), get_scale, request)?.scale.ok_or(Failure::Answer("the scale"))
}

/// Replaces what is stored by what a file says.
///
/// # Errors
/// [`Failure`] of the file, the calls or of printing.
pub(super) async fn amend(context: &Context, what: &Amend) -> Result<(), Failure> {
    let check = match what {
        Amend::Job(args) => {
            amend_jobs(context, files::jobs(&args.file)?, args.check).await?;
            args.check
        }
        Amend::Scale(args) => {
            amend_scale(context, files::scale(&args.file)?, args.check).await?;
            args.check
        }
        Amend::Wire(args) => {
            amend_wires(context, files::wires(&args.file)?, args.check).await?;
            args.check
        }
    };
    if check { context.remark("\nThere are no faults; nothing is changed.") } else { Ok(()) }
}

async fn amend_jobs(context: &Context, jobs: Vec<Job>, validate_only: bool) -> Result<(), Failure> {
    let service = context.client.jobs();
    let bar = progress::bar("Amending jobs", jobs.len());
    let mut answer = ListJobsResponse::default();
    for (index, job) in jobs.into_iter().enumerate() {
        let request = GetJobRequest { serial_id: job.serial_id.clone() };
        let etag = call!(service, get_job, request)?.job.ok_or(Failure::Answer("the job"))?.etag;
        let request = AmendJobRequest {
            request_id: context.client.request_id_of(index + 1),
            job: Some(Job { etag, ..job }),
            validate_only,
        };
        answer.jobs.extend(call!(service, amend_job, request)?.job);
        bar.inc(1);
    }
    bar.finish_and_clear();
    context.show_sheet(&answer, |units| output::job_sheet(&answer.jobs, units))
}

async fn amend_scale(context: &Context, scale: Scale, validate_only: bool) -> Result<(), Failure> {
    let etag = stored_scale(context, &scale.model_id, &scale.revision_id).await?.etag;
    let request = UpdateScaleRequest {
        request_id: context.client.request_id(),
        scale: Some(Scale { etag, ..scale }),
        validate_only,
    };
    let answer = call!(context.client.scales(), update_scale, request)?;
    let scale = answer.scale.as_ref().ok_or(Failure::Answer("the scale"))?;
    context.show_sheet(&answer, |units| output::scale_sheet(std::slice::from_ref(scale), units))
}

async fn amend_wires(context: &Context, wires: Vec<Wire>, validate_only: bool) -> Result<(), Failure> {
    let service = context.client.wires();
    let bar = progress::bar("Amending wires", wires.len());
    let mut answer = ListWiresResponse::default();
    for (index, wire) in wires.into_iter().enumerate() {
        let request = GetWireRequest { wire_id: wire.wire_id.clone() };
        let etag = call!(service, get_wire, request)?.wire.ok_or(Failure::Answer("the wire"))?.etag;
        let request = UpdateWireRequest {
            request_id: context.client.request_id_of(index + 1),
            wire: Some(Wire { etag, ..wire }),
            validate_only,
        };
        answer.wires.extend(call!(service, update_wire, request)?.wire);
        bar.inc(1);
    }
    bar.finish_and_clear();
    context.show_sheet(&answer, |units| output::wire_sheet(&answer.wires, units))
}

/// Ends a job as it is now.
///
/// # Errors
/// [`Failure`] of the calls or of printing.
pub(super) async fn close(context: &Context, args: &Close) -> Result<(), Failure> {
    let service = context.client.jobs();
    let request = GetJobRequest { serial_id: args.serial_id.clone() };
    let etag = call!(service, get_job, request)?.job.ok_or(Failure::Answer("the job"))?.etag;
    let request = CloseJobRequest {
        request_id: context.client.request_id(),
        serial_id: args.serial_id.clone(),
        etag,
        final_state: args.ending.api().into(),
    };
    let answer = call!(service, close_job, request)?;
    let job = answer.job.as_ref().ok_or(Failure::Answer("the job"))?;
    context.show_sheet(&answer, |units| output::job_sheet(std::slice::from_ref(job), units))
}
