//! Purchasing.

use becket_api::cutting::{
    EstimateWireRequest, EstimateWireResponse, PlanPolicy, Quantity, ScheduleLine, SetAsideCoilRequest,
    WireNeed,
};
use becket_api::stringing::{CloseJobRequest, ComputeOptions, GetJobRequest, Job, JobState};
use tonic::{Code, Status};

use crate::world::{World, assert_faults, assert_refused, coil, job, meta, violated};

fn line(week_date: &str, count: i32) -> ScheduleLine {
    let (model_id, revision_id) = ("grand".to_owned(), "a".to_owned());
    ScheduleLine { model_id, revision_id, week_date: week_date.to_owned(), count }
}

async fn estimate(world: &World, request: EstimateWireRequest) -> Result<EstimateWireResponse, Status> {
    Ok(world.purchasing().estimate_wire(request).await?.into_inner())
}

fn need<'a>(answer: &'a EstimateWireResponse, wire_id: &str) -> &'a WireNeed {
    answer.needs.iter().find(|need| need.wire_id == wire_id).unwrap()
}

fn value(quantity: &Option<Quantity>, unit_code: &str) -> f64 {
    let quantity = quantity.as_ref().unwrap();
    assert_eq!(quantity.unit_code, unit_code);
    quantity.value
}

#[tokio::test]
async fn a_schedule_is_laid_on_the_stock_week_by_week() {
    let world = World::with_jobs(&["S-1"]).await;
    let set = world.set("S-1").await;
    let per_set =
        |wire_id: &str| set.wire_totals.iter().find(|total| total.wire_id == wire_id).unwrap().clone();
    let lines = vec![line("2026-12-14", 40), line("2026-11-30", 1), line("2026-12-07", 1)];
    let request = EstimateWireRequest { lines, include_open_jobs: Some(false), ..Default::default() };
    let answer = estimate(&world, request).await.unwrap();
    let wires: Vec<&str> = answer.needs.iter().map(|need| need.wire_id.as_str()).collect();
    assert_eq!(wires, ["cu-1.00", "mw-in-13", "mw-in-16", "mw-in-19"]);
    for need in &answer.needs {
        let total = per_set(&need.wire_id);
        let length_m = value(&need.need_length, "MTR");
        assert!((length_m - 42.0 * total.length_mm / 1000.0).abs() < 1e-3, "{need:?}");
        assert!((value(&need.need_mass, "KGM") - 42.0 * total.mass_g / 1000.0).abs() < 1e-3, "{need:?}");
        assert_eq!(value(&need.pieces, "C62"), 42.0 * f64::from(total.pieces));
        let (covered, short) = (value(&need.covered, "MTR"), value(&need.short, "MTR"));
        assert!((covered + short - length_m).abs() < 1e-6);
        assert!(covered <= value(&need.free_stock, "MTR"));
        let dates: Vec<&str> = need.weeks.iter().map(|week| week.week_date.as_str()).collect();
        assert_eq!(dates, ["2026-11-30", "2026-12-07", "2026-12-14"]);
    }
    // No copper at all, and wire 13 for some 13 instruments.
    let copper = need(&answer, "cu-1.00");
    assert_eq!(copper.first_short_week_date, "2026-11-30");
    let [pack] = &copper.packs[..] else { panic!("{copper:?}") };
    let wanted_kg = 1.05 * value(&copper.need_mass, "KGM");
    assert_eq!((pack.pack_label.as_str(), value(&pack.pack_mass, "KGM")), ("1 kg reel", 1.0));
    assert_eq!(f64::from(pack.count), wanted_kg.ceil());
    let thin = need(&answer, "mw-in-13");
    assert_eq!(thin.first_short_week_date, "2026-12-14");
    assert_eq!(value(&thin.free_stock, "MTR"), 200.0);
    assert_eq!(value(&thin.weeks[1].short, "MTR"), 0.0);
}

#[tokio::test]
async fn reserved_wire_and_coils_set_aside_are_not_free() {
    let world = World::with_jobs(&["S-1"]).await;
    let lines = vec![line("2026-11-30", 1)];
    let request = EstimateWireRequest { lines, surplus_share: Some(0.0), ..Default::default() };
    world.plan(&["S-1"]).await.unwrap();
    let reserved = world.coil("A13").await.reserved_um;
    let answer = estimate(&world, request.clone()).await.unwrap();
    #[expect(clippy::cast_precision_loss, reason = "some metres in µm")]
    let free_m = (200_000_000 - reserved) as f64 / 1e6;
    assert_eq!(value(&need(&answer, "mw-in-13").free_stock, "MTR"), free_m);
    let (request_id, coil_id, note) = (world.id(), "A13".to_owned(), String::new());
    world
        .coils()
        .set_aside_coil(SetAsideCoilRequest { request_id, coil_id, note, keep_lists: true })
        .await
        .unwrap();
    let answer = estimate(&world, request).await.unwrap();
    let thin = need(&answer, "mw-in-13");
    assert_eq!((value(&thin.free_stock, "MTR"), value(&thin.covered, "MTR")), (0.0, 0.0));
    assert_eq!(thin.first_short_week_date, "2026-11-30");
}

/// Metres of a wire that one set needs.
async fn per_set(world: &World, wire_id: &str) -> f64 {
    let set = world.set("S-1").await;
    set.wire_totals.iter().find(|total| total.wire_id == wire_id).unwrap().length_mm / 1000.0
}

#[track_caller]
fn assert_near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-3, "{found} is not {expected}");
}

#[tokio::test]
async fn open_jobs_count_before_the_schedule_until_they_are_cut_and_closed() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    // Both are due in the week before the schedule begins, so they count in its first week.
    let lines = vec![line("2026-12-07", 1)];
    let request = EstimateWireRequest { lines, ..Default::default() };
    let copper_m = per_set(&world, "cu-1.00").await;
    let thin_m = per_set(&world, "mw-in-13").await;
    let check = async |jobs_of_copper: f64, jobs_of_steel: f64, open_jobs: i32| {
        let answer = estimate(&world, request.clone()).await.unwrap();
        assert_eq!(answer.open_job_count, open_jobs);
        let copper = need(&answer, "cu-1.00");
        assert_near(value(&copper.need_length, "MTR"), (1.0 + jobs_of_copper) * copper_m);
        let thin = need(&answer, "mw-in-13");
        assert_near(value(&thin.need_length, "MTR"), (1.0 + jobs_of_steel) * thin_m);
        assert_eq!(value(&thin.pieces, "C62"), 36.0 * (1.0 + jobs_of_steel));
        for need in &answer.needs {
            let dates: Vec<&str> = need.weeks.iter().map(|week| week.week_date.as_str()).collect();
            assert_eq!(dates, ["2026-12-07"]);
            assert_near(value(&need.weeks[0].need, "MTR"), value(&need.need_length, "MTR"));
        }
    };
    check(2.0, 2.0, 2).await;
    // What is on a list is reserved already, and what is cut is off the coils; windings are booked by nobody.
    world.plan(&["S-1"]).await.unwrap();
    check(2.0, 1.0, 2).await;
    world.begin("L-0001").await.unwrap();
    world.confirm_all("L-0001").await;
    check(2.0, 1.0, 2).await;
    close(&world, "S-1").await;
    check(1.0, 1.0, 1).await;
    let without = EstimateWireRequest { include_open_jobs: Some(false), ..request.clone() };
    let answer = estimate(&world, without).await.unwrap();
    assert_eq!(answer.open_job_count, 0);
    assert_near(value(&need(&answer, "cu-1.00").need_length, "MTR"), copper_m);
}

#[tokio::test]
async fn a_job_counts_in_the_week_in_which_it_is_due() {
    let world = World::with_scale().await;
    world.open(Job { due_date: "2026-12-16".to_owned(), ..job("S-1") }).await;
    let thin_m = per_set(&world, "mw-in-13").await;
    // Wire for one and a half: the job in the second week comes before the lines of that week and after those of the first.
    world.receive(vec![coil("A13", "mw-in-13", "lot", 1.5 * thin_m)]).await.unwrap();
    let lines = vec![line("2026-12-14", 1)];
    let request = EstimateWireRequest { lines, ..Default::default() };
    let answer = estimate(&world, request).await.unwrap();
    let thin = need(&answer, "mw-in-13");
    let weeks: Vec<&str> = thin.weeks.iter().map(|week| week.week_date.as_str()).collect();
    assert_eq!(weeks, ["2026-12-14"]);
    assert_near(value(&thin.weeks[0].need, "MTR"), 2.0 * thin_m);
    let lines = vec![line("2026-12-07", 1)];
    let request = EstimateWireRequest { lines, ..Default::default() };
    let answer = estimate(&world, request).await.unwrap();
    let thin = need(&answer, "mw-in-13");
    assert_eq!(thin.first_short_week_date, "2026-12-14");
    assert_eq!(value(&thin.weeks[0].short, "MTR"), 0.0);
    assert_near(value(&thin.weeks[1].need, "MTR"), thin_m);
}

async fn close(world: &World, serial_id: &str) {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    let etag = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap().etag;
    let (request_id, serial_id) = (world.id(), serial_id.to_owned());
    let final_state = JobState::Done.into();
    let request = CloseJobRequest { request_id, serial_id, etag, final_state };
    world.jobs().close_job(request).await.unwrap();
}

#[tokio::test]
async fn strings_bought_ready_made_need_neither_cores_nor_copper() {
    let world = World::with_jobs(&[]).await;
    let policy = Some(PlanPolicy { wound_cores: Some(false), ..PlanPolicy::default() });
    let lines = vec![line("2026-11-30", 1)];
    let answer = estimate(&world, EstimateWireRequest { lines, policy, ..Default::default() }).await.unwrap();
    let pieces: Vec<(&str, f64)> =
        answer.needs.iter().map(|need| (need.wire_id.as_str(), value(&need.pieces, "C62"))).collect();
    assert_eq!(pieces, [("mw-in-13", 36.0), ("mw-in-16", 36.0), ("mw-in-19", 30.0)]);
}

#[tokio::test]
async fn an_estimate_agrees_with_a_cut_list() {
    let world = World::with_jobs(&["S-1"]).await;
    world.open(job("S-2")).await;
    let lines = vec![line("2026-11-30", 2)];
    let request = EstimateWireRequest { lines, include_open_jobs: Some(false), ..Default::default() };
    let answer = estimate(&world, request).await.unwrap();
    let list = world.plan(&["S-1", "S-2"]).await.unwrap();
    for need in answer.needs.iter().filter(|need| need.wire_id != "cu-1.00") {
        let short = list.shortages.iter().any(|shortage| shortage.wire_id == need.wire_id);
        assert_eq!(need.first_short_week_date.is_empty(), !short, "{need:?}");
    }
}

#[tokio::test]
async fn faulty_schedules_are_refused() {
    let world = World::with_scale().await;
    let request = EstimateWireRequest {
        lines: vec![line("2026-12-01", 0), ScheduleLine { model_id: String::new(), ..line("2026-11-30", 1) }],
        policy: Some(PlanPolicy { end_trim_mm: Some(-1.0), ..Default::default() }),
        surplus_share: Some(1.5),
        ..Default::default()
    };
    let fields =
        ["lines[0].week_date", "lines[0].count", "lines[1].model_id", "policy.end_trim_mm", "surplus_share"];
    assert_faults(estimate(&world, request).await, &fields);
    assert_faults(estimate(&world, EstimateWireRequest::default()).await, &["lines"]);
    let unknown = ScheduleLine { model_id: "upright".to_owned(), ..line("2026-11-30", 1) };
    let request = EstimateWireRequest { lines: vec![line("2026-11-30", 1), unknown], ..Default::default() };
    let status =
        assert_refused(estimate(&world, request).await, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!(
        (violated(&status), meta(&status, "id")),
        (vec!["lines[1].revision_id".to_owned()], "upright/a".to_owned())
    );
    // Options are the stringing service's to judge; its faults come through with their paths.
    let options = Some(ComputeOptions { a4_hz: Some(1.0), ..Default::default() });
    let request = EstimateWireRequest { lines: vec![line("2026-11-30", 1)], options, ..Default::default() };
    assert_faults(estimate(&world, request).await, &["options.a4_hz"]);
}
