//! The first cut of a serial fixes its string set, before the cut is stored.

use becket_api::cutting::{ConfirmStepRequest, ReplanCutListRequest, StepState};
use becket_api::stringing::{AmendJobRequest, AsBuilt, GetJobRequest, Job, JobState, ListJobsRequest};
use tonic::Code;

use crate::world::{PIECES, World, assert_refused, meta};

async fn state(world: &World, serial_id: &str) -> JobState {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap().state()
}

/// Measures a note of a serial, so that its string set changes.
async fn measure(world: &World, serial_id: &str) {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    let job = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap();
    let as_built = vec![AsBuilt { note: 30, speaking_mm: Some(1200.0), ..AsBuilt::default() }];
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

    let request =
        ReplanCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), etag: String::new() };
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
