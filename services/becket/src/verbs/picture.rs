//! `picture`, `plan-file` and `show work-sheet`.

use std::io::IsTerminal as _;

use becket_api::cutting::{GetCutListRequest, GetStationRequest, GetWorkSheetRequest, PlanCutsRequest};
use becket_plot::CutPicture;

use super::{call, plot, show::wire_names};
use crate::{
    cli::{Format, Picture, PlanFile, WorkSheet},
    context::{Context, print},
    errors::{EXIT_DONE, EXIT_SHORT, Failure},
    files,
    output::{self, Look, WireNames},
};

/// Shows a list as bars and reels, or draws them into a file.
///
/// # Errors
/// [`Failure`] of the call, of the file or of printing.
pub(super) async fn picture(context: &Context, args: &Picture) -> Result<(), Failure> {
    // Asked first, so that nothing is asked for a file that cannot be written.
    let form = args.out.as_deref().map(plot::form).transpose()?;
    let request = GetCutListRequest { list_id: args.list_id.clone() };
    let answer = call!(context.client.cut_lists(), get_cut_list, request)?;
    let list = answer.cut_list.as_ref().ok_or(Failure::Answer("the cut list"))?;
    let wires = wire_names(context, context.units).await;
    let reels = reel_positions(context, &list.station_id).await;
    let picture = output::list_picture(list, &wires, reels);
    match (&args.out, form) {
        (Some(path), Some(form)) => {
            plot::write(path, &drawn(&picture, form)?)?;
            context.remark(&format!("{} is drawn in {}.", picture.title, path.display()))
        }
        _ => print(&output::picture_text(&picture, look(), context.units)),
    }
}

/// Plans what a file states; the exit code tells whether its coils cover all of it.
///
/// # Errors
/// As [`picture`].
pub(super) async fn plan_file(context: &Context, args: &PlanFile) -> Result<u8, Failure> {
    let form = args.out.as_deref().map(plot::form).transpose()?;
    let request: PlanCutsRequest = files::question(&args.file)?;
    let answer = call!(context.client.plans(), plan_cuts, request.clone())?;
    let text = |units| output::plan_cuts_text(&answer, args.steps, units);
    context.show(&answer, text, |units| output::plan_steps_sheet(&answer.steps, units))?;
    if let (Some(path), Some(form)) = (&args.out, form) {
        plot::write(path, &drawn(&output::plan_picture(&request, &answer), form)?)?;
        context.remark(&format!("The plan is drawn in {}.", path.display()))?;
    }
    if args.picture {
        let picture = output::plan_picture(&request, &answer);
        context.remark(&output::picture_text(&picture, look(), context.units))?;
    }
    Ok(if answer.uncut.is_empty() { EXIT_DONE } else { EXIT_SHORT })
}

/// Shows a list as a person works through it.
///
/// # Errors
/// As [`picture`].
pub(super) async fn work_sheet(context: &Context, args: &WorkSheet) -> Result<(), Failure> {
    let request = GetWorkSheetRequest { list_id: args.list_id.clone(), pending_only: args.pending };
    let answer = call!(context.client.cut_lists(), get_work_sheet, request)?;
    let wires = match context.format {
        Format::Table => wire_names(context, context.units).await,
        Format::Json | Format::Csv => WireNames::default(),
    };
    let text = |units| output::work_sheet_text(&answer, &wires, units);
    context.show(&answer, text, |units| output::work_items_sheet(&answer.items, units))
}

/// How many reel positions a station has, if it can be asked.
async fn reel_positions(context: &Context, station_id: &str) -> Option<u32> {
    let request = GetStationRequest { station_id: station_id.to_owned() };
    let answer = call!(context.client.stations(), get_station, request).ok()?;
    u32::try_from(answer.station?.reel_positions).ok()
}

/// Colours only where a person looks at a terminal and has not said that there should be none (the convention of NO_COLOR).
fn look() -> Look {
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if std::io::stdout().is_terminal() && !unwanted { Look::Colour } else { Look::Ascii }
}

fn drawn(picture: &CutPicture, form: plot::Form) -> Result<Vec<u8>, Failure> {
    let drawn = match form {
        plot::Form::Svg => becket_plot::cuts_svg(picture).map(String::into_bytes),
        plot::Form::Png => becket_plot::cuts_png(picture),
    };
    drawn.map_err(|error| Failure::Picture(error.to_string()))
}
