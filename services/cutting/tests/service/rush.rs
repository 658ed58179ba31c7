//! Rush jobs on a list that is running.

use becket_api::cutting::{
    CutList, PlanCutListRequest, PlanPolicy, ReplanCutListRequest, ReplanCutListResponse, StepKind, StepState,
};
use becket_api::stringing::{CloseJobRequest, Job, JobState};
use tonic::{Code, Status};

use crate::world::{PIECES, World, assert_faults, assert_refused, coil, job, meta, plan_request, violated};

fn request(world: &World, added: &[&str]) -> ReplanCutListRequest {
    ReplanCutListRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        etag: String::new(),
        add_serial_ids: added.iter().map(|&serial| serial.to_owned()).collect(),
    }
}

async fn add(world: &World, added: &[&str]) -> Result<ReplanCutListResponse, Status> {
    Ok(world.lists().replan_cut_list(request(world, added)).await?.into_inner())
}

/// A running list of S-1 and S-2 in strict due order, of which some pieces of S-1 are cut, and a job R-1 that is due before both.
async fn running() -> World {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let policy = Some(PlanPolicy { due_window: Some(0), ..PlanPolicy::default() });
    let request = PlanCutListRequest { request_id: world.id(), policy, ..plan_request(&["S-1", "S-2"]) };
    world.lists().plan_cut_list(request).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 5).await.unwrap();
    let more = ["mw-in-13", "mw-in-16", "mw-in-19"];
    world.receive(more.map(|wire| coil(&format!("R-{wire}"), wire, "lot-r", 500.0)).to_vec()).await.unwrap();
    world.open(Job { due_date: "2026-11-30".to_owned(), ..job("R-1") }).await;
    world
}

/// Places of the first and the last step that cuts for a serial, among those that are pending.
fn span(list: &CutList, serial_id: &str) -> (usize, usize) {
    let pending = list.steps.iter().enumerate().filter(|(_, step)| {
        step.state() == StepState::Pending && step.kind() == StepKind::Cut && step.serial_id == serial_id
    });
    let places: Vec<usize> = pending.map(|(place, _)| place).collect();
    (*places.first().unwrap(), *places.last().unwrap())
}

#[tokio::test]
async fn a_rush_job_is_cut_before_what_is_not_begun_and_nothing_cut_moves() {
    let world = running().await;
    let before = world.list("L-0001").await;
    let request = ReplanCutListRequest { etag: before.etag.clone(), ..request(&world, &["R-1"]) };
    let answer = world.lists().replan_cut_list(request.clone()).await.unwrap().into_inner();
    let list = answer.cut_list.clone().unwrap();
    assert_eq!(list.steps[..5], before.steps[..5]);
    let serials: Vec<&str> = list.serials.iter().map(|serial| serial.serial_id.as_str()).collect();
    assert_eq!(serials, ["R-1", "S-1", "S-2"]);
    assert_eq!((list.pieces_done + list.pieces_pending, list.shortages.len()), (3 * PIECES, 0));
    // What is begun is not put off; then comes what is due first.
    assert!(span(&list, "S-1").1 < span(&list, "R-1").0, "{list:?}");
    assert!(span(&list, "R-1").1 < span(&list, "S-2").0, "{list:?}");
    assert!(answer.steps_moved >= PIECES && answer.steps_kept > PIECES, "{answer:?}");
    assert_eq!((answer.steps_forced, answer.pieces_uncut), (0, 0));
    assert_eq!(world.list("L-0001").await, list);

    // A repeat gets the first answer; the etag of before is stale; and R-1 has nothing left to add.
    assert_eq!(world.lists().replan_cut_list(request.clone()).await.unwrap().into_inner(), answer);
    let stale = ReplanCutListRequest { request_id: world.id(), ..request.clone() };
    assert_refused(world.lists().replan_cut_list(stale).await, Code::Aborted, "ETAG_STALE");
    let other = ReplanCutListRequest { add_serial_ids: Vec::new(), ..request };
    assert_refused(world.lists().replan_cut_list(other).await, Code::AlreadyExists, "REQUEST_ID_REUSED");
    let done = world.confirm_all("L-0001").await;
    assert_eq!((done.pieces_done, done.pieces_pending), (3 * PIECES, 0));
}

#[tokio::test]
async fn a_job_on_another_list_or_one_that_has_ended_is_not_added() {
    let world = running().await;
    assert_faults(add(&world, &["R-1", "a b", "R-1"]).await, &["add_serial_ids[1]", "add_serial_ids[2]"]);
    let status = assert_refused(add(&world, &["R-2"]).await, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!(violated(&status), ["add_serial_ids[0]"]);
    world.plan(&["R-1"]).await.unwrap();
    let before = world.list("L-0001").await;
    assert_faults(add(&world, &["R-1"]).await, &["add_serial_ids[0]"]);
    let Job { serial_id, etag, .. } = world.open(job("R-3")).await;
    let final_state = JobState::GivenUp.into();
    let close = CloseJobRequest { request_id: world.id(), serial_id, etag, final_state };
    world.jobs().close_job(close).await.unwrap();
    let status = assert_refused(add(&world, &["R-3"]).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "serial_id"), "R-3");
    assert_eq!(world.list("L-0001").await, before);
}
