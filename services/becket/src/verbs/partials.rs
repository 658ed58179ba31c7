//! `show partials`.

use becket_api::stringing::{
    ComputeOptions, ComputePartialsRequest, PitchBasis, ScaleReference, StringModel, WindingModel,
    compute_partials_request::Source,
};

use super::call;
use crate::{cli::Partials, context::Context, errors::Failure, output};

/// Shows the partials of notes.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn run(context: &Context, args: &Partials) -> Result<(), Failure> {
    let request = match (&args.serial_id, &args.model, &args.revision) {
        (Some(serial_id), _, _) => ComputePartialsRequest {
            source: Some(Source::SerialId(serial_id.clone())),
            options: of_serial(context, serial_id, args).await?,
            notes: args.notes.clone(),
            wires: Vec::new(),
        },
        (None, Some(model_id), Some(revision_id)) => ComputePartialsRequest {
            source: Some(Source::Stored(ScaleReference {
                model_id: model_id.clone(),
                revision_id: revision_id.clone(),
            })),
            options: Some(options(args)),
            notes: args.note.clone(),
            wires: Vec::new(),
        },
        _ => return Err(Failure::Usage("partials are of a serial, or of --model and --revision".to_owned())),
    };
    let answer = call!(context.client.string_sets(), compute_partials, request)?;
    context.show(
        &answer,
        |units| output::partials_text(&answer, units),
        |units| output::partials_sheet(&answer.notes, units),
    )
}

/// None, which means those of the job, unless another number of partials is asked for: then those of the job with it.
async fn of_serial(
    context: &Context,
    serial_id: &str,
    args: &Partials,
) -> Result<Option<ComputeOptions>, Failure> {
    let Some(count) = args.count else { return Ok(None) };
    let request = becket_api::stringing::GetJobRequest { serial_id: serial_id.to_owned() };
    let job = call!(context.client.jobs(), get_job, request)?.job.ok_or(Failure::Answer("the job"))?;
    let string_model = Some(StringModel::Stepped.into());
    let of_job = job.options.unwrap_or_default();
    Ok(Some(ComputeOptions { partial_count: Some(count), string_model, ..of_job }))
}

fn options(args: &Partials) -> ComputeOptions {
    ComputeOptions {
        a4_hz: args.a4,
        pitch_basis: args.first_partial.then_some(PitchBasis::FirstPartial.into()),
        string_model: args.closed_form.then_some(StringModel::ClosedForm.into()),
        winding_model: args.helix.then_some(WindingModel::Helix.into()),
        partial_count: args.count,
        ..ComputeOptions::default()
    }
}
