//! What is refused, and how it is told.

use becket_api::cutting::{
    CancelCutListRequest, ConfirmStepRequest, GetCutListRequest, ListLotSerialsRequest, PlanCutListRequest,
    PlanPolicy, ReplanCutListRequest, SetAsideCoilRequest, StartCutListRequest,
};
use becket_api::stringing::{CloseJobRequest, JobState};
use tonic::Code;
use tonic_types::StatusExt;

use crate::world::{World, assert_faults, assert_refused, job, meta, plan_request, violated};

#[tokio::test]
async fn a_faulty_order_names_all_its_faults() {
    let world = World::with_scale().await;
    let policy = PlanPolicy {
        unison_rule: Some(0),
        end_trim_mm: Some(1001.0),
        coil_margin_mm: Some(f64::NAN),
        piece_order: Some(17),
        wound_cores: None,
        level_order: vec![4, 4, 5, 6],
        time_budget_ms: Some(0),
        search_rounds: Some(-1),
        due_window: Some(-1),
        fifo: None,
        coil_margin_sds: Some(-0.1),
    };
    let request = PlanCutListRequest {
        request_id: "x".to_owned(),
        station_id: "bench 1".to_owned(),
        serial_ids: ["S-1", "S 2", "S-1"].map(str::to_owned).to_vec(),
        due_by_date: "2026-12-01".to_owned(),
        policy: Some(policy),
        validate_only: false,
    };
    let fields = [
        "station_id",
        "serial_ids[1]",
        "serial_ids[2]",
        "due_by_date",
        "policy.unison_rule",
        "policy.end_trim_mm",
        "policy.coil_margin_mm",
        "policy.coil_margin_sds",
        "policy.piece_order",
        "policy.level_order",
        "policy.time_budget_ms",
        "policy.search_rounds",
        "policy.due_window",
    ];
    assert_faults(world.lists().plan_cut_list(request).await, &fields);
    let serial_ids = (0..201).map(|i| format!("S-{i}")).collect();
    let request = PlanCutListRequest { serial_ids, validate_only: true, ..plan_request(&[]) };
    assert_faults(world.lists().plan_cut_list(request).await, &["serial_ids"]);
    let request =
        PlanCutListRequest { due_by_date: "soon".to_owned(), validate_only: true, ..plan_request(&[]) };
    assert_faults(world.lists().plan_cut_list(request).await, &["due_by_date"]);
}

#[tokio::test]
async fn what_an_order_names_must_be_there() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let status = assert_refused(
        world.plan(&["S-9", "S-1", "S-8"]).await,
        Code::FailedPrecondition,
        "REFERENCE_MISSING",
    );
    assert_eq!(violated(&status), ["serial_ids[0]", "serial_ids[2]"]);
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("jobs".to_owned(), "S-9".to_owned()));
    let request = PlanCutListRequest {
        station_id: "bench-7".to_owned(),
        validate_only: true,
        ..plan_request(&["S-1"])
    };
    let status = assert_refused(world.lists().plan_cut_list(request).await, Code::NotFound, "NOT_FOUND");
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("stations".to_owned(), "bench-7".to_owned()));
}

#[tokio::test]
async fn nothing_is_cut_for_a_job_that_has_ended() {
    let world = World::with_scale().await;
    let job = world.open(job("S-1")).await;
    let request = CloseJobRequest {
        request_id: world.id(),
        serial_id: job.serial_id,
        etag: job.etag,
        final_state: JobState::GivenUp.into(),
    };
    world.jobs().close_job(request).await.unwrap();
    let status = assert_refused(world.plan(&["S-1"]).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "state"), "given_up");
    let status = assert_refused(world.plan(&[]).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "station_id"), "bench-1");
}

#[tokio::test]
async fn all_jobs_that_cannot_be_planned_are_told_at_once() {
    let world = World::with_jobs(&["S-1", "S-2", "S-3"]).await;
    for serial_id in ["S-1", "S-3"] {
        let request = becket_api::stringing::GetJobRequest { serial_id: serial_id.to_owned() };
        let job = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap();
        let (request_id, final_state) = (world.id(), JobState::Done.into());
        let request = CloseJobRequest { request_id, serial_id: job.serial_id, etag: job.etag, final_state };
        world.jobs().close_job(request).await.unwrap();
    }
    let ended = world.plan(&["S-1", "S-2", "S-3"]).await;
    let status = assert_refused(ended, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(violated(&status), ["serial_ids[0]", "serial_ids[2]"]);
    assert_eq!((meta(&status, "serial_id"), meta(&status, "state")), ("S-1".to_owned(), "done".to_owned()));
    let mut fields = violated(&world.plan(&["S-9", "S-1", "S-2", "S-8"]).await.unwrap_err());
    fields.sort();
    assert_eq!(fields, ["serial_ids[0]", "serial_ids[1]", "serial_ids[3]"]);
}

#[tokio::test]
async fn a_faulty_day_is_told_as_it_was_sent() {
    let world = World::with_jobs(&["S-1"]).await;
    let due_by_date = "2026-12-24".to_owned();
    let request = PlanCutListRequest { due_by_date, validate_only: true, ..plan_request(&["S-1"]) };
    let status = world.lists().plan_cut_list(request).await.unwrap_err();
    let told = &status.get_details_bad_request().unwrap().field_violations[0];
    assert_eq!(told.field, "due_by_date");
    assert!(told.description.starts_with("\"2026-12-24\" is not allowed"), "{told:?}");
}

/// 201 jobs, one of which is on a list already and waits to be closed, fit on one list, and 202 do not.
#[tokio::test]
async fn jobs_with_nothing_left_to_plan_do_not_count() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    // All else is short: this is about jobs, not about wire.
    for coil_id in ["A13", "A16", "A19", "B19"] {
        let (request_id, coil_id) = (world.id(), coil_id.to_owned());
        let request = SetAsideCoilRequest { request_id, coil_id, note: String::new(), keep_lists: true };
        world.coils().set_aside_coil(request).await.unwrap();
    }
    for number in 0..200 {
        world.open(job(&format!("T-{number}"))).await;
    }
    let request = PlanCutListRequest { validate_only: true, ..plan_request(&[]) };
    let list = world.lists().plan_cut_list(request.clone()).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!((list.serials.len(), list.pieces_pending), (200, 0));
    world.open(job("T-200")).await;
    assert_faults(world.lists().plan_cut_list(request).await, &["due_by_date"]);
}

#[tokio::test]
async fn lists_that_are_not_there_and_faulty_steps() {
    let world = World::with_jobs(&["S-1"]).await;
    let unknown = GetCutListRequest { list_id: "L-0404".to_owned() };
    let status = assert_refused(world.lists().get_cut_list(unknown).await, Code::NotFound, "NOT_FOUND");
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("cutLists".to_owned(), "L-0404".to_owned()));
    assert_refused(world.begin("L-0404").await, Code::NotFound, "NOT_FOUND");
    let request = CancelCutListRequest { request_id: world.id(), list_id: String::new() };
    assert_faults(world.lists().cancel_cut_list(request).await, &["list_id"]);
    let request =
        ConfirmStepRequest { request_id: world.id(), list_id: "/".to_owned(), step_number: 0, count: -1 };
    assert_faults(world.lists().confirm_step(request).await, &["list_id", "step_number", "count"]);
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    assert_faults(world.confirm("L-0001", 1, 501).await, &["count"]);
    let request = ListLotSerialsRequest { lot_id: "a b".to_owned(), ..Default::default() };
    assert_faults(world.records().list_lot_serials(request).await, &["lot_id"]);
}

#[tokio::test]
async fn an_etag_that_is_not_current_is_refused() {
    let world = World::with_jobs(&["S-1"]).await;
    let list = world.plan(&["S-1"]).await.unwrap();
    let request = |request_id, etag: &str| StartCutListRequest {
        request_id,
        list_id: "L-0001".to_owned(),
        etag: etag.to_owned(),
    };
    for etag in ["2", "x", "01"] {
        let refused = world.lists().start_cut_list(request(world.id(), etag)).await;
        let status = assert_refused(refused, Code::Aborted, "ETAG_STALE");
        assert_eq!(meta(&status, "etag"), list.etag);
    }
    world.lists().start_cut_list(request(world.id(), &list.etag)).await.unwrap();
    let stale = ReplanCutListRequest {
        request_id: world.id(),
        list_id: list.list_id,
        etag: list.etag,
        add_serial_ids: Vec::new(),
    };
    assert_refused(world.lists().replan_cut_list(stale).await, Code::Aborted, "ETAG_STALE");
}
