//! `plot`.

use std::path::Path;

use becket_api::stringing::{
    ComputeStringSetRequest, GetStringSetRequest, ScaleReference, StringSet,
    compute_string_set_request::Source,
};
use becket_plot::Picture;

use super::call;
use crate::{cli::Plot, context::Context, errors::Failure, output};

/// Form of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
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
        (Some(serial_id), _, _) => of_serial(context, serial_id).await?,
        (None, Some(model_id), Some(revision_id)) => of_revision(context, model_id, revision_id).await?,
        _ => return Err(Failure::Usage("a picture is of a serial, or of --model and --revision".to_owned())),
    };
    let mut sets = vec![first];
    if let Some(with) = &args.with {
        sets.push(match with.split_once('/') {
            Some((model_id, revision_id)) => of_revision(context, model_id, revision_id).await?,
            None => of_serial(context, with).await?,
        });
    }
    let picture = output::picture(args.title.as_deref(), &sets)?;
    write(&args.out, &drawn(&picture, form)?)?;
    context.remark(&format!("{} is drawn in {}.", picture.title, args.out.display()))
}

async fn of_serial(context: &Context, serial_id: &str) -> Result<StringSet, Failure> {
    let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
    let answer = call!(context.client.string_sets(), get_string_set, request)?;
    answer.string_set.ok_or(Failure::Answer("the string set"))
}

async fn of_revision(context: &Context, model_id: &str, revision_id: &str) -> Result<StringSet, Failure> {
    let reference = ScaleReference { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    let request = ComputeStringSetRequest {
        source: Some(Source::Stored(reference)),
        ..ComputeStringSetRequest::default()
    };
    let answer = call!(context.client.string_sets(), compute_string_set, request)?;
    answer.string_set.ok_or(Failure::Answer("the string set"))
}

fn form(path: &Path) -> Result<Form, Failure> {
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

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
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
