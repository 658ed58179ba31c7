//! `plot`.

use std::path::Path;

use becket_api::stringing::{
    ComputeOptions, ComputeStretchRequest, ComputeStringSetRequest, GetStringSetRequest, ScaleReference,
    SetSource, StringSet, Wire, compute_string_set_request::Source, set_source,
};
use becket_plot::Picture;

use super::call;
use crate::{
    cli::Plot,
    context::Context,
    errors::Failure,
    output::{self, Tuning},
};

/// Form of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Svg,
    Png,
}

/// Draws one set, or two over each other, into a file.
///
/// # Errors
/// [`Failure`] of the calls, of a set that cannot be drawn, or of the file.
pub(super) async fn plot(context: &Context, args: &Plot) -> Result<(), Failure> {
    // Asked first, so that nothing is computed for a file that cannot be written.
    let form = form(&args.out)?;
    let first = match (&args.serial_id, &args.model, &args.revision) {
        (Some(serial_id), _, _) => of_serial(context, args, serial_id).await?,
        (None, Some(model_id), Some(revision_id)) => {
            of_revision(context, args, model_id, revision_id).await?
        }
        _ => return Err(Failure::Usage("a picture is of a serial, or of --model and --revision".to_owned())),
    };
    let mut sets = vec![first];
    if let Some(with) = &args.with {
        sets.push(match with.split_once('/') {
            Some((model_id, revision_id)) => of_revision(context, args, model_id, revision_id).await?,
            None => of_serial(context, args, with).await?,
        });
    }
    let mut drawn_sets = Vec::with_capacity(sets.len());
    for set in sets {
        let tuning = tuning(context, &set).await?;
        drawn_sets.push((set, tuning));
    }
    let picture = output::picture(args.title.as_deref(), &drawn_sets)?;
    write(&args.out, &drawn(&picture, form)?)?;
    context.remark(&format!("{} is drawn in {}.", picture.title, args.out.display()))
}

/// The set of a serial; with options of the command line, computed anew from what it was computed from.
async fn of_serial(context: &Context, args: &Plot, serial_id: &str) -> Result<StringSet, Failure> {
    let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
    let answer = call!(context.client.string_sets(), get_string_set, request)?;
    let set = answer.string_set.ok_or(Failure::Answer("the string set"))?;
    let Some(asked) = args.models.options(args.a4) else { return Ok(set) };
    let basis = set.basis.ok_or(Failure::Answer("what the set was computed from"))?;
    let of_job = basis.options.unwrap_or_default();
    let options = ComputeOptions {
        a4_hz: asked.a4_hz.or(of_job.a4_hz),
        pitch_basis: asked.pitch_basis.or(of_job.pitch_basis),
        string_model: asked.string_model.or(of_job.string_model),
        winding_model: asked.winding_model.or(of_job.winding_model),
        partial_count: asked.partial_count.or(of_job.partial_count),
        ..of_job
    };
    let scale = basis.scale.ok_or(Failure::Answer("the scale of the set"))?;
    let computed = computed(context, Source::Scale(scale), basis.wires, Some(options)).await?;
    Ok(StringSet { serial_id: serial_id.to_owned(), ..computed })
}

async fn of_revision(
    context: &Context,
    args: &Plot,
    model_id: &str,
    revision_id: &str,
) -> Result<StringSet, Failure> {
    let reference = ScaleReference { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    computed(context, Source::Stored(reference), Vec::new(), args.models.options(args.a4)).await
}

async fn computed(
    context: &Context,
    source: Source,
    wires: Vec<Wire>,
    options: Option<ComputeOptions>,
) -> Result<StringSet, Failure> {
    let request = ComputeStringSetRequest { source: Some(source), wires, options };
    let answer = call!(context.client.string_sets(), compute_string_set, request)?;
    answer.string_set.ok_or(Failure::Answer("the string set"))
}

/// The stretch of a set's own strings. A scale that has none, such as one of few notes, is drawn without it.
async fn tuning(context: &Context, set: &StringSet) -> Result<Tuning, Failure> {
    let basis = set.basis.as_ref().ok_or(Failure::Answer("what the set was computed from"))?;
    let source = SetSource {
        source: basis.scale.clone().map(set_source::Source::Scale),
        wires: basis.wires.clone(),
        options: basis.options,
        ..SetSource::default()
    };
    let request = ComputeStretchRequest { source: Some(source), ..ComputeStretchRequest::default() };
    match call!(context.client.designs(), compute_stretch, request) {
        Ok(answer) => Ok(Tuning::Computed(Box::new(answer))),
        Err(refusal @ Failure::Refused(_)) => Ok(Tuning::Refused(first_line(&refusal.to_string()))),
        Err(other) => Err(other),
    }
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

/// The form that a file's ending says.
///
/// # Errors
/// [`Failure::File`] for any other ending.
pub(super) fn form(path: &Path) -> Result<Form, Failure> {
    match path.extension().and_then(|ending| ending.to_str()) {
        Some("svg") => Ok(Form::Svg),
        Some("png") => Ok(Form::Png),
        _ => {
            let why = "must end in .svg or .png, which tells the form of the picture".to_owned();
            Err(Failure::File { path: path.to_owned(), why })
        }
    }
}

fn drawn(picture: &Picture, form: Form) -> Result<Vec<u8>, Failure> {
    let drawn = match form {
        Form::Svg => becket_plot::svg(picture).map(String::into_bytes),
        Form::Png => becket_plot::png(picture),
    };
    drawn.map_err(|error| Failure::Picture(error.to_string()))
}

/// Writes a file.
///
/// # Errors
/// [`Failure::File`].
pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    std::fs::write(path, bytes)
        .map_err(|error| Failure::File { path: path.to_owned(), why: error.to_string() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_says_the_form() {
        assert_eq!(form(Path::new("a/b.svg")).unwrap(), Form::Svg);
        assert_eq!(form(Path::new("b.png")).unwrap(), Form::Png);
        for wrong in ["b.pdf", "b", "svg"] {
            assert!(matches!(form(Path::new(wrong)), Err(Failure::File { .. })), "{wrong}");
        }
    }
}
