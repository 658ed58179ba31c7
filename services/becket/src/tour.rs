//! `tour`: a server of its own, the data of an invented shop, and what becket makes of them.

use std::{fs, path::Path};

use becket_api::{
    cutting::{
        ConfirmStepRequest, CutList, EstimateWireRequest, GetCutListRequest, GetSerialRecordRequest,
        GetSerialRecordResponse, PlanCutListRequest, ScheduleLine, StartCutListRequest, StepKind, StepState,
    },
    stringing::{GetStringSetRequest, SizeSeries, StringSet},
};
use becket_units::UnitSystem;

use crate::{
    app::{self, Services},
    cli::{Global, Tour},
    context::{Context, json, print},
    demo::{self, Demo},
    errors::Failure,
    output::{self, ListView},
    verbs::{self, call},
};

/// Lines of the cut list that are shown; the whole is written to a file.
const SHOWN_STEPS: usize = 24;
/// Steps that the tour confirms: a reel is mounted and a piece is cut.
const CONFIRMED_STEPS: i32 = 2;
/// Lines of the record that are shown.
const SHOWN_LINES: usize = 8;

/// Shows what becket does, and leaves its data behind for further looks.
///
/// # Errors
/// [`Failure::Usage`] if the folder is there already; else of the server, the calls or of printing.
pub(crate) async fn run(args: &Tour, global: &Global) -> Result<(), Failure> {
    let demo = Demo::read()?;
    make_folder(&args.data)?;
    let settings = app::quiet_settings()?;
    let listener = app::bind_near(app::DEFAULT_LISTEN).await?;
    let server = app::start(Services::Both, settings, &args.data, listener).await?;
    let url = server.url();
    print(&format!("A server runs on {url}, with its data in {}.\n", args.data.display()))?;
    let context = Context::new(&Global {
        server: url.clone(),
        stringing: None,
        cutting: None,
        actor: Some("tour".to_owned()),
        format: crate::cli::Format::Table,
        request_id: None,
        ..global.clone()
    })?;
    let shown = show(&context, demo, &args.data).await;
    let serving_on = args.keep_serving.then_some(url.as_str());
    let told = shown.and_then(|list| print(&farewell(&args.data, &list, serving_on)));
    if args.keep_serving && told.is_ok() {
        return server.until_told_to_stop().await;
    }
    server.stop().await?;
    told
}

fn make_folder(folder: &Path) -> Result<(), Failure> {
    if folder.exists() {
        let name = folder.display();
        return Err(Failure::Usage(format!(
            "{name} is there already, and the tour overwrites nothing\n  \
             Look at it again:   becket serve --data {name}\n  \
             Tour elsewhere:     becket tour --data another-folder\n  \
             Or remove {name} yourself and tour again."
        )));
    }
    let made = fs::create_dir_all(folder)
        .map_err(|error| Failure::File { path: folder.to_owned(), why: error.to_string() });
    made.and_then(|()| demo::write(&folder.join("demo")))
}

async fn show(context: &Context, demo: Demo, data: &Path) -> Result<CutList, Failure> {
    let station_id = demo.station.station_id.clone();
    let schedule = demo.schedule.clone();
    let serial_id =
        serial_to_show(&demo).ok_or(Failure::Start("the data of the tour hold no job".to_owned()))?;
    load(context, demo).await?;
    string_set(context, &serial_id).await?;
    let list = cut_list(context, &station_id, data).await?;
    estimate(context, schedule, data).await?;
    record(context, first_cut_serial(&list).unwrap_or(&serial_id)).await?;
    print(&format!("\n{}", output::SAFETY_NOTE))?;
    Ok(list)
}

/// The serial to look at: the first due of those that were measured, since its set differs from the scale's.
fn serial_to_show(demo: &Demo) -> Option<String> {
    let job = demo.jobs.iter().min_by_key(|job| (job.as_built.is_empty(), &job.due_date, &job.serial_id));
    job.map(|job| job.serial_id.clone())
}

fn first_cut_serial(list: &CutList) -> Option<&String> {
    list.steps.iter().map(|step| &step.serial_id).find(|serial_id| !serial_id.is_empty())
}

async fn load(context: &Context, demo: Demo) -> Result<(), Failure> {
    let wires = verbs::load_wires(context, demo.wires, &[SizeSeries::Inch], false).await?;
    let mut notes = 0;
    for scale in demo.scales {
        notes += verbs::load_scale(context, scale, true, false).await?.notes.len();
    }
    verbs::load_station(context, demo.station).await?;
    let rules = demo.coils.stock_rules.len();
    let coils = verbs::load_coils(context, demo.coils, false).await?;
    let jobs = verbs::load_jobs(context, demo.jobs, false).await?;
    print(&format!(
        "Loaded over the API: {} wires, 2 scales with {notes} notes, a wire station, {} coils, {rules} stock rules, {} jobs.\n",
        wires.added_wire_ids.len(),
        coils.len(),
        jobs.len()
    ))
}

async fn string_set(context: &Context, serial_id: &str) -> Result<(), Failure> {
    let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
    let answer = call!(context.client.string_sets(), get_string_set, request)?;
    let set = answer.string_set.ok_or(Failure::Answer("the string set"))?;
    print(&heading("1", &format!("The string set of {serial_id}, from its scale, its pitch and its wire")))?;
    print(&set_excerpt(&set, context.units))?;
    print(&format!("\nAll of it: becket show set {serial_id} --strings   (or --pieces, or --format csv)"))
}

fn set_excerpt(set: &StringSet, units: UnitSystem) -> String {
    let strings = output::strings_sheet(output::strings_of_kinds(set), units).table();
    format!("{}\nA few strings of each kind:\n{strings}", output::set_overview(set, units))
}

async fn cut_list(context: &Context, station_id: &str, data: &Path) -> Result<CutList, Failure> {
    let service = context.client.cut_lists();
    let request = PlanCutListRequest {
        request_id: context.client.request_id(),
        station_id: station_id.to_owned(),
        ..PlanCutListRequest::default()
    };
    let planned = call!(service, plan_cut_list, request)?.cut_list.ok_or(Failure::Answer("the cut list"))?;
    let list_id = planned.list_id;
    let request = StartCutListRequest {
        request_id: context.client.request_id(),
        list_id: list_id.clone(),
        etag: String::new(),
    };
    call!(service, start_cut_list, request)?;
    let request = ConfirmStepRequest {
        request_id: context.client.request_id(),
        list_id: list_id.clone(),
        step_number: 1,
        count: CONFIRMED_STEPS,
    };
    call!(service, confirm_step, request)?;
    let request = GetCutListRequest { list_id: list_id.clone() };
    let list = call!(service, get_cut_list, request)?.cut_list.ok_or(Failure::Answer("the cut list"))?;
    print(&heading(
        "2",
        &format!(
            "The cut list {list_id} of {station_id}, started; its first {CONFIRMED_STEPS} steps are confirmed"
        ),
    ))?;
    print_list(context, &list, data).await?;
    Ok(list)
}

async fn print_list(context: &Context, list: &CutList, data: &Path) -> Result<(), Failure> {
    let wires = verbs::wire_names(context, context.units).await;
    let view = ListView::default();
    let path = data.join(format!("cut-list-{}.txt", list.list_id));
    let whole = output::cut_list_text(list, &wires, view, context.units);
    fs::write(&path, whole).map_err(|error| Failure::File { path: path.clone(), why: error.to_string() })?;
    let mut first = list.clone();
    first.steps.truncate(SHOWN_STEPS);
    print(&output::cut_list_body(&first, &wires, view, context.units))?;
    print(&format!(
        "\n… and {} more steps. All of them are in {}; or: becket show cut-list {} --summary",
        list.steps.len().saturating_sub(SHOWN_STEPS),
        path.display(),
        list.list_id
    ))
}

async fn estimate(context: &Context, lines: Vec<ScheduleLine>, data: &Path) -> Result<(), Failure> {
    let instruments: i32 = lines.iter().map(|line| line.count).sum();
    let request = EstimateWireRequest { lines, ..EstimateWireRequest::default() };
    let answer = call!(context.client.purchasing(), estimate_wire, request)?;
    print(&heading(
        "3",
        &format!(
            "Wire for the {instruments} instruments of the schedule and {} open jobs, against the stock that is still free",
            answer.open_job_count
        ),
    ))?;
    print(&format!("They need {} wires.\n", answer.needs.len()))?;
    print(&output::shortfall_text(&answer, context.units))?;
    print(&format!("\nAll of it: becket estimate {}/demo/schedule.toml   (or --weeks)", data.display()))
}

async fn record(context: &Context, serial_id: &str) -> Result<(), Failure> {
    let request = GetSerialRecordRequest { serial_id: serial_id.to_owned() };
    let mut record = call!(context.client.records(), get_serial_record, request)?;
    // What is cut comes first, so that the excerpt shows coils and lots.
    record.lines.sort_by_key(|line| line.cut.is_none());
    print(&heading("4", &format!("The record of {serial_id}, as an ERP fetches it")))?;
    let shown = record.lines.iter().take(SHOWN_LINES);
    print(&output::record_sheet(shown, context.units).table())?;
    print(&format!(
        "… {} lines in all. One of them in protobuf JSON, with units by UN/ECE Recommendation 20:\n",
        record.lines.len()
    ))?;
    print(&json(&json_excerpt(record))?)
}

fn json_excerpt(record: GetSerialRecordResponse) -> GetSerialRecordResponse {
    let lines = record.lines.into_iter().take(1).collect();
    GetSerialRecordResponse { lines, totals: Vec::new(), ..record }
}

fn heading(number: &str, text: &str) -> String {
    format!("\n── {number} ── {text}\n\n")
}

/// The next step of a list, and the next piece that is cut.
fn next_steps(list: &CutList) -> Option<(i32, i32)> {
    let mut pending = list.steps.iter().filter(|step| step.state == i32::from(StepState::Pending)).peekable();
    let next = pending.peek()?.step_number;
    let cut = pending.find(|step| step.kind == i32::from(StepKind::Cut))?.step_number;
    Some((next, cut))
}

fn farewell(data: &Path, list: &CutList, serving_on: Option<&str>) -> String {
    let (data, list_id) = (data.display(), &list.list_id);
    let (next, cut) = next_steps(list).unwrap_or_default();
    let serve = match serving_on {
        Some(url) => format!("The server on {url} goes on until it is interrupted. In another terminal:"),
        None => format!("What to try next:\n  becket serve --data {data}\nand, in another terminal:"),
    };
    let server = match serving_on {
        Some(url) if url != app::default_url() => format!(" --server {url}"),
        _ => String::new(),
    };
    format!(
        "\n{serve}\n  \
         becket{server} show cut-list {list_id} --pending --summary\n  \
         becket{server} confirm {list_id} {next} --count 10\n  \
         becket{server} spoiled {list_id} {cut} --cause broken\n  \
         becket{server} show set --model small-160 --revision a --a4 442\n  \
         becket{server} estimate {data}/demo/schedule.toml --weeks\n  \
         becket{server} --format csv list coils\n\
         The files that were loaded are in {data}/demo."
    )
}

#[cfg(test)]
mod tests {
    use becket_api::cutting::CutStep;

    use super::*;
    use crate::errors::EXIT_USAGE;

    #[test]
    fn a_folder_that_is_there_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let failure = make_folder(folder.path()).unwrap_err();
        assert_eq!(failure.exit_code(), EXIT_USAGE);
        assert!(failure.to_string().contains("overwrites nothing"), "{failure}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn the_farewell_names_the_server_only_where_that_is_needed() {
        let step = |step_number, kind: StepKind, state: StepState| CutStep {
            step_number,
            kind: kind.into(),
            state: state.into(),
            ..CutStep::default()
        };
        let steps = vec![
            step(1, StepKind::Mount, StepState::Done),
            step(2, StepKind::Mount, StepState::Pending),
            step(3, StepKind::Cut, StepState::Pending),
        ];
        let list = CutList { list_id: "L-0001".into(), steps, ..CutList::default() };
        let elsewhere = farewell(Path::new("becket-tour"), &list, Some("http://127.0.0.1:4000"));
        assert!(elsewhere.contains("becket --server http://127.0.0.1:4000 confirm L-0001 2 "), "{elsewhere}");
        assert!(elsewhere.contains("spoiled L-0001 3 "), "{elsewhere}");
        let stopped = farewell(Path::new("becket-tour"), &list, None);
        assert!(
            stopped.contains("becket serve --data becket-tour") && !stopped.contains("--server"),
            "{stopped}"
        );
    }
}
