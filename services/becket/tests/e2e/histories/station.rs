//! Who works at a station: a planner, two stringers, a dispatcher with rush jobs for all stations, and one who looks at lists.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use becket_api::cutting::{
    ConfirmStepRequest, CutList, FinishCutListRequest, GetCutListRequest, PlanCutListRequest, PlanPolicy,
    ReplanCutListRequest, ReportRunOutRequest, ReportSpoiledPieceRequest, SpoilCause, StartCutListRequest,
    StepKind,
};
use becket_api::stringing::OpenJobRequest;
use becket_e2e::history::{CoilEvent, ListEvent};
use becket_e2e::invariants::is_cut;
use tonic::Status;
use tonic_types::StatusExt as _;

use super::client::{Client, Told, ask};
use super::floor::{Bench, Change, Counted, Floor, behind, done};
use super::instrument;
use super::stock::LOOKS_EVERY;

/// Refusals in a row after which a list is given up: its coil hangs at another station that waits for one of this station.
const PATIENCE: usize = 12;
/// Wire that a miscut costs: less than any piece, so that what others count on stays there.
const MISCUT_MM: f64 = 150.0;

async fn open_job(floor: &Floor, client: &mut Client, station: &str, due: &str) -> Option<String> {
    let serial = format!("H-{station}-{}", floor.number());
    let request_id = client.request_id();
    let job = Some(instrument::job(serial.clone(), station, due));
    let request = OpenJobRequest { request_id: request_id.clone(), job, validate_only: false };
    let called = floor.now();
    match ask!(floor, client, jobs.open_job(request)) {
        Told::Answer(_) => floor.done("open", &request_id, called),
        Told::Refused(status) => panic!("{status:?}"),
        Told::Unknown => return None,
    }
    Some(serial)
}

/// Plans lists for a station and starts them, whenever the one before is finished.
pub(super) async fn planner(floor: Arc<Floor>, bench: Arc<Bench>, mut client: Client, station: String) {
    while floor.working() {
        if bench.list_id().is_some() {
            tokio::time::sleep(Duration::from_millis(10)).await;
            continue;
        }
        let Some(serial) = open_job(&floor, &mut client, &station, "2026-12-08").await else { continue };
        let Some(list) = plan(&floor, &mut client, &station, serial).await else { continue };
        let request_id = client.request_id();
        let list_id = list.list_id.clone();
        let request = StartCutListRequest { request_id: request_id.clone(), list_id, etag: String::new() };
        let called = floor.now();
        match ask!(floor, client, lists.start_cut_list(request)) {
            Told::Answer(_) => floor.done("start", &request_id, called),
            Told::Refused(status) => panic!("{status:?}"),
            Told::Unknown => continue,
        }
        bench.begin(list.list_id);
    }
}

async fn plan(floor: &Floor, client: &mut Client, station: &str, serial: String) -> Option<CutList> {
    while floor.working() {
        let request_id = client.request_id();
        let request = PlanCutListRequest {
            request_id: request_id.clone(),
            station_id: station.to_owned(),
            serial_ids: vec![serial.clone()],
            // Many plans, not good ones.
            policy: Some(PlanPolicy {
                search_rounds: Some(1),
                time_budget_ms: Some(50),
                ..PlanPolicy::default()
            }),
            ..PlanCutListRequest::default()
        };
        let called = floor.now();
        match ask!(floor, client, lists.plan_cut_list(request)) {
            Told::Answer(answer) => {
                let list = answer.cut_list.unwrap();
                floor.planned(called, &list, Vec::new());
                floor.done("plan", &request_id, called);
                return Some(list);
            }
            Told::Refused(status) => drop(floor.refused(&status)),
            Told::Unknown => {}
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    None
}

/// Confirms steps beside another one, reports what goes wrong now and then, and finishes the list.
pub(super) async fn stringer(floor: Arc<Floor>, bench: Arc<Bench>, mut client: Client) {
    let mut last_cut: Option<(String, i32)> = None;
    let mut refusals = 0;
    while floor.working() {
        let Some(list_id) = bench.list_id() else {
            tokio::time::sleep(Duration::from_millis(5)).await;
            continue;
        };
        if refusals > PATIENCE {
            refusals = 0;
            finish(&floor, &bench, &mut client, &list_id, true).await;
            continue;
        }
        if let Some((of, step)) = last_cut.take_if(|_| client.random.once_in(12))
            && of == list_id
        {
            spoil(&floor, &mut client, &of, step, SpoilCause::Broken).await;
            continue;
        }
        let next = bench.next.load(Ordering::SeqCst).max(1);
        match client.random.below(60) {
            0..=2 => spoil(&floor, &mut client, &list_id, next, SpoilCause::Miscut).await,
            3..=5 => run_out(&floor, &mut client, &list_id, next).await,
            _ => match confirm(&floor, &bench, &mut client, &list_id, next).await {
                Confirmed::Cut => {
                    refusals = 0;
                    last_cut = Some((list_id, next));
                }
                Confirmed::Other => refusals = 0,
                Confirmed::Not => refusals += 1,
            },
        }
    }
}

enum Confirmed {
    Cut,
    Other,
    Not,
}

async fn confirm(
    floor: &Floor,
    bench: &Bench,
    client: &mut Client,
    list_id: &str,
    step_number: i32,
) -> Confirmed {
    let request_id = client.request_id();
    let request = ConfirmStepRequest {
        request_id: request_id.clone(),
        list_id: list_id.to_owned(),
        step_number,
        count: 1,
    };
    let called = floor.now();
    match ask!(floor, client, lists.confirm_step(request.clone()), giving up) {
        Told::Answer(answer) => {
            let coils = answer.confirmed.iter().map(|step| done(list_id, step)).collect();
            floor.change(called, Change { coils, ..Change::default() });
            floor.list(called, list_id, ListEvent::Confirmed(step_number));
            floor.done("confirm", &request_id, called);
            bench.next.fetch_max(step_number + 1, Ordering::SeqCst);
            if client.random.once_in(20)
                && let Told::Answer(again) = ask!(floor, client, lists.confirm_step(request))
            {
                // The same again has the same answer and no effect.
                assert_eq!(again, answer);
            }
            if answer.next.is_none() {
                finish(floor, bench, client, list_id, false).await;
            }
            if answer.confirmed.first().is_some_and(is_cut) { Confirmed::Cut } else { Confirmed::Other }
        }
        Told::Refused(status) => {
            let next = next_step(&status);
            let told = floor.refused(&status);
            if let Some(next) = next {
                floor.list(called, list_id, ListEvent::NextIs(next));
                bench.next.fetch_max(next, Ordering::SeqCst);
            } else if told == "STEP_NOT_NEXT" {
                // Nothing is pending any more: what was is short.
                finish(floor, bench, client, list_id, false).await;
            }
            if told == "STEP_NOT_NEXT" {
                Confirmed::Other
            } else {
                tokio::time::sleep(Duration::from_millis(5)).await;
                Confirmed::Not
            }
        }
        Told::Unknown => {
            floor.open(called, list_id, step_number);
            Confirmed::Other
        }
    }
}

fn next_step(status: &Status) -> Option<i32> {
    if becket_e2e::reason(status).as_deref() != Some("STEP_NOT_NEXT") {
        return None;
    }
    status.get_details_error_info()?.metadata.get("next_step_number")?.parse().ok()
}

/// Reports a cut piece as broken, or the next one as cut to a wrong length.
async fn spoil(floor: &Floor, client: &mut Client, list_id: &str, step_number: i32, cause: SpoilCause) {
    let request_id = client.request_id();
    // With a length it is one only as long as the step is pending: a piece that the other stringer has cut meanwhile has its own length.
    let is_miscut = cause == SpoilCause::Miscut;
    let request = ReportSpoiledPieceRequest {
        request_id: request_id.clone(),
        list_id: list_id.to_owned(),
        step_number,
        cause: cause.into(),
        lost_length_mm: is_miscut.then_some(MISCUT_MM),
    };
    let called = floor.now();
    match ask!(floor, client, lists.report_spoiled_piece(request)) {
        Told::Answer(answer) => {
            let list = answer.cut_list.unwrap();
            let step = list.steps.iter().find(|step| step.step_number == step_number).unwrap();
            let lost = CoilEvent::Lost { um: step.length_um, left_um: step.remaining_after_um };
            let coils = is_miscut.then(|| (step.coil_id.clone(), lost)).into_iter().collect();
            floor.planned(called, &list, coils);
            let event = if is_miscut {
                ListEvent::Confirmed(step_number)
            } else {
                ListEvent::Spoiled { step: step_number, behind: behind(&list) }
            };
            floor.list(called, list_id, event);
            floor.done(if is_miscut { "miscut" } else { "broken" }, &request_id, called);
        }
        Told::Refused(status) => drop(floor.refused(&status)),
        Told::Unknown => {}
    }
}

async fn run_out(floor: &Floor, client: &mut Client, list_id: &str, step_number: i32) {
    let request_id = client.request_id();
    let request = ReportRunOutRequest {
        request_id: request_id.clone(),
        list_id: list_id.to_owned(),
        step_number,
        remaining_length_mm: None,
    };
    let called = floor.now();
    match ask!(floor, client, lists.report_run_out(request)) {
        Told::Answer(answer) => {
            let list = answer.cut_list.unwrap();
            let off = list.steps.iter().find(|step| step.step_number == step_number).unwrap();
            assert_eq!((off.kind(), &off.coil_id), (StepKind::Unmount, &answer.coil_id));
            let ended = CoilEvent::RanOut {
                by_um: answer.adjusted_by_um,
                scrapped_um: off.length_um,
                left_um: off.remaining_after_um,
            };
            floor.planned(called, &list, vec![(answer.coil_id, ended)]);
            floor.list(called, list_id, ListEvent::Confirmed(step_number));
            floor.done("run out", &request_id, called);
        }
        Told::Refused(status) => drop(floor.refused(&status)),
        Told::Unknown => {}
    }
}

async fn finish(floor: &Floor, bench: &Bench, client: &mut Client, list_id: &str, give_up_pending: bool) {
    let request_id = client.request_id();
    let request =
        FinishCutListRequest { request_id: request_id.clone(), list_id: list_id.to_owned(), give_up_pending };
    let called = floor.now();
    match ask!(floor, client, lists.finish_cut_list(request)) {
        Told::Answer(_) => {
            // What was pending is given up, and its wire is free.
            let plans = vec![(list_id.to_owned(), Counted::new())];
            floor.change(called, Change { plans, ..Change::default() });
            floor.done("finish", &request_id, called);
            bench.clear(list_id);
        }
        // The other one reported a string meanwhile, or was faster.
        Told::Refused(status) => {
            floor.refused(&status);
            let request = GetCutListRequest { list_id: list_id.to_owned() };
            if let Told::Answer(answer) = ask!(floor, client, lists.get_cut_list(request))
                && answer.cut_list.unwrap().end_time.is_some()
            {
                bench.clear(list_id);
            }
        }
        Told::Unknown => {}
    }
}

/// Adds rush jobs to running lists, and plans them anew without one.
pub(super) async fn dispatcher(floor: Arc<Floor>, benches: Vec<Arc<Bench>>, mut client: Client) {
    while floor.working() {
        tokio::time::sleep(Duration::from_millis(150)).await;
        let bench = Arc::clone(client.random.choose(&benches));
        let Some(list_id) = bench.list_id() else { continue };
        let mut add_serial_ids = Vec::new();
        let is_rush = client.random.once_in(6);
        if is_rush {
            add_serial_ids.extend(open_job(&floor, &mut client, "floor-1", "2026-12-01").await);
        }
        let request_id = client.request_id();
        let request = ReplanCutListRequest {
            request_id: request_id.clone(),
            list_id: list_id.clone(),
            etag: String::new(),
            add_serial_ids,
        };
        let called = floor.now();
        match ask!(floor, client, lists.replan_cut_list(request)) {
            Told::Answer(answer) => {
                let list = answer.cut_list.unwrap();
                floor.planned(called, &list, Vec::new());
                floor.list(called, &list_id, ListEvent::Seen { behind: behind(&list) });
                floor.done(if is_rush { "rush" } else { "replan" }, &request_id, called);
            }
            Told::Refused(status) => drop(floor.refused(&status)),
            Told::Unknown => {}
        }
    }
}

/// Looks at the lists that are cut.
pub(super) async fn watcher(floor: Arc<Floor>, benches: Vec<Arc<Bench>>, mut client: Client) {
    while floor.working() {
        tokio::time::sleep(LOOKS_EVERY).await;
        let bench = Arc::clone(client.random.choose(&benches));
        let Some(list_id) = bench.list_id() else { continue };
        let called = floor.now();
        let request = GetCutListRequest { list_id: list_id.clone() };
        match ask!(floor, client, lists.get_cut_list(request)) {
            Told::Answer(answer) => {
                let list = answer.cut_list.unwrap();
                floor.list(called, &list_id, ListEvent::Seen { behind: behind(&list) });
                floor.looked();
            }
            Told::Refused(status) => drop(floor.refused(&status)),
            Told::Unknown => {}
        }
    }
}
