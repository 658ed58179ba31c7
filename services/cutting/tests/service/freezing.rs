//! The first cut of a serial fixes its string set, before the cut is stored.

use becket_api::cutting::{
    ConfirmStepRequest, CutList, FinishCutListRequest, PlanCutListRequest, PlanPolicy, ReplanCutListRequest,
    StepState,
};
use becket_api::stringing::{
    AmendJobRequest, AsBuilt, CloseJobRequest, GetJobRequest, Job, JobState, ListJobsRequest,
};
use tonic::Code;

use crate::world::{PIECES, World, assert_refused, coil, job, meta, plan_request, station};

async fn state(world: &World, serial_id: &str) -> JobState {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap().state()
}

/// Measures a note of a serial, so that its string set changes.
async fn measure(world: &World, serial_id: &str) {
    measure_note(world, serial_id, 30, 1200.0).await;
}

async fn measure_note(world: &World, serial_id: &str, note: i32, speaking_mm: f64) {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    let job = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap();
    let as_built = vec![AsBuilt { note, speaking_mm: Some(speaking_mm), ..AsBuilt::default() }];
    let job = Some(Job { as_built, ..job });
    let request = AmendJobRequest { request_id: world.id(), job, validate_only: false };
    world.jobs().amend_job(request).await.unwrap();
}

#[tokio::test]
async fn a_mounting_freezes_nothing_and_the_first_cut_does() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 1).await.unwrap();
    assert_eq!(state(&world, "S-1").await, JobState::Open);
    world.confirm("L-0001", 2, 1).await.unwrap();
    assert_eq!(state(&world, "S-1").await, JobState::Frozen);
    assert!(world.set("S-1").await.frozen);
    assert_eq!(state(&world, "S-2").await, JobState::Open);
}

#[tokio::test]
async fn a_set_that_changed_after_the_plan_is_not_cut_and_replanning_helps() {
    let world = World::with_jobs(&["S-1"]).await;
    let planned = world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    measure(&world, "S-1").await;
    world.confirm("L-0001", 1, 1).await.unwrap();
    let status = assert_refused(world.confirm("L-0001", 2, 1).await, Code::Aborted, "SET_CHANGED");
    assert_eq!(
        (meta(&status, "serial_id"), meta(&status, "list_id")),
        ("S-1".to_owned(), "L-0001".to_owned())
    );
    assert!(status.message().contains("re-plan"), "{status:?}");
    assert_eq!(world.list("L-0001").await.steps[1].state(), StepState::Pending);

    let request = ReplanCutListRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        etag: String::new(),
        add_serial_ids: Vec::new(),
    };
    let list = world.lists().replan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_ne!(list.serials[0].set_digest, planned.serials[0].set_digest);
    assert_eq!(list.serials[0].set_digest, world.set("S-1").await.digest);
    let list = world.confirm_all("L-0001").await;
    assert_eq!(list.pieces_done, PIECES);
    let cut: i64 = list.steps.iter().filter(|s| !s.piece_id.is_empty()).map(|s| s.length_um).sum();
    let wanted: i64 = world.set("S-1").await.pieces.iter().map(|piece| piece.length_um).sum();
    assert_eq!(cut, wanted, "what was cut is what the frozen set says");
}

/// The process dies, or the disk is full, after the set is frozen and before the cut is stored.
#[tokio::test]
async fn a_failure_between_freezing_and_storing_leaves_nothing_half_done() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let before = world.list("L-0001").await;
    let coil = world.coil("A19").await;
    let request = ConfirmStepRequest {
        request_id: "the same each time".to_owned(),
        list_id: "L-0001".to_owned(),
        step_number: 1,
        count: 4,
    };
    world.faults.fail_commits(1);
    let failed = world.lists().confirm_step(request.clone()).await;
    let status = assert_refused(failed, Code::Unavailable, "UPSTREAM_UNAVAILABLE");
    assert!(!status.message().contains("disk"), "{status:?}");
    assert_eq!(state(&world, "S-1").await, JobState::Frozen, "a freeze without a cut is harmless");
    assert_eq!(world.list("L-0001").await, before);
    assert_eq!(world.coil("A19").await, coil);

    let world = world.restart().await;
    assert_eq!(world.list("L-0001").await, before);
    let answer = world.lists().confirm_step(request.clone()).await.unwrap().into_inner();
    assert_eq!(answer.confirmed.len(), 4);
    let again = world.lists().confirm_step(request).await.unwrap().into_inner();
    assert_eq!(again, answer);
    assert_eq!(world.list("L-0001").await.pieces_done, 3);
}

#[tokio::test]
async fn frozen_jobs_are_still_planned() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 2).await.unwrap();
    let request = becket_api::cutting::FinishCutListRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        give_up_pending: true,
    };
    world.lists().finish_cut_list(request).await.unwrap();
    let frozen = ListJobsRequest { state: Some(JobState::Frozen.into()), ..ListJobsRequest::default() };
    assert_eq!(world.jobs().list_jobs(frozen).await.unwrap().into_inner().jobs.len(), 1);
    assert_eq!(world.plan(&[]).await.unwrap().pieces_pending, PIECES - 1);
}

/// Ends a job.
async fn close(world: &World, serial_id: &str) {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    let etag = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap().etag;
    let (request_id, serial_id, final_state) = (world.id(), serial_id.to_owned(), JobState::GivenUp.into());
    world.jobs().close_job(CloseJobRequest { request_id, serial_id, etag, final_state }).await.unwrap();
}

async fn replan(world: &World, list_id: &str) -> CutList {
    let request = ReplanCutListRequest {
        request_id: world.id(),
        list_id: list_id.to_owned(),
        etag: String::new(),
        add_serial_ids: Vec::new(),
    };
    world.lists().replan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap()
}

/// Strings on one list and cores on another, at two stations; then the serial is measured, and only the first list is planned
/// anew before it cuts.
#[tokio::test]
async fn a_second_list_does_not_cut_by_a_set_that_the_first_has_superseded() {
    let world = World::with_jobs(&["S-1"]).await;
    world.save_station(station("bench-2")).await.unwrap();
    let policy = Some(PlanPolicy { wound_cores: Some(false), ..PlanPolicy::default() });
    let request = PlanCutListRequest { request_id: world.id(), policy, ..plan_request(&["S-1"]) };
    world.lists().plan_cut_list(request).await.unwrap();
    let request = PlanCutListRequest {
        request_id: world.id(),
        station_id: "bench-2".to_owned(),
        ..plan_request(&["S-1"])
    };
    let cores = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(cores.pieces_pending, 32);
    let superseded = world.set("S-1").await;
    measure_note(&world, "S-1", 5, 1140.0).await;
    let meant = world.set("S-1").await;
    assert_ne!(meant.digest, superseded.digest);

    // The first list cuts by the new set, which freezes it.
    world.begin("L-0001").await.unwrap();
    replan(&world, "L-0001").await;
    world.confirm("L-0001", 1, 2).await.unwrap();
    assert_eq!(world.set("S-1").await.digest, meant.digest);
    // The second one still has the old lengths.
    world.begin("L-0002").await.unwrap();
    let status = assert_refused(world.confirm("L-0002", 1, 2).await, Code::Aborted, "SET_CHANGED");
    assert_eq!(meta(&status, "list_id"), "L-0002");
    assert_eq!(world.list("L-0002").await.pieces_done, 0);

    assert_eq!(replan(&world, "L-0002").await.serials[0].set_digest, meant.digest);
    let cut = world.confirm_all("L-0002").await;
    for step in cut.steps.iter().filter(|step| !step.piece_id.is_empty()) {
        let piece = meant.pieces.iter().find(|piece| piece.piece_id == step.piece_id).unwrap();
        assert_eq!(step.length_um, piece.length_um, "{}", step.piece_id);
    }
}

#[tokio::test]
async fn nothing_is_cut_for_a_job_that_has_ended() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 3).await.unwrap();
    close(&world, "S-1").await;
    let before = world.coil("A19").await;
    let status =
        assert_refused(world.confirm("L-0001", 4, 1).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(
        (meta(&status, "serial_id"), meta(&status, "state")),
        ("S-1".to_owned(), "given_up".to_owned())
    );
    assert_eq!((world.coil("A19").await, world.list("L-0001").await.pieces_done), (before, 2));
    // The list can still be ended.
    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), give_up_pending: true };
    world.lists().finish_cut_list(request).await.unwrap();
}

/// A job that ended before its first cut was never frozen.
#[tokio::test]
async fn a_job_given_up_before_its_first_cut_is_not_cut() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    close(&world, "S-1").await;
    world.confirm("L-0001", 1, 1).await.unwrap();
    let status =
        assert_refused(world.confirm("L-0001", 2, 1).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "serial_id"), "S-1");
}

/// What one list lacks is cut on another; the first can be planned anew all the same.
#[tokio::test]
async fn a_list_with_shortages_is_planned_anew_after_another_list_took_them() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let coils = [coil("A16", "mw-in-16", "lot-16", 400.0), coil("A19", "mw-in-19", "lot-19", 600.0)];
    world.receive(coils.to_vec()).await.unwrap();
    let short = world.plan(&["S-1"]).await.unwrap();
    let lacking: usize = short.shortages.iter().map(|shortage| shortage.piece_ids.len()).sum();
    assert_eq!(lacking, 36, "{:?}", short.shortages);
    world.receive(vec![coil("A13", "mw-in-13", "lot-13", 200.0)]).await.unwrap();
    let rest = world.plan(&["S-1"]).await.unwrap();
    assert_eq!(rest.pieces_pending, 36);
    let again = replan(&world, "L-0001").await;
    assert_eq!((again.pieces_pending, again.shortages.len()), (PIECES - 36, 0));
    assert_eq!(world.list("L-0002").await.pieces_pending, 36);
}
