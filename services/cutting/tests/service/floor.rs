//! Lists from plan to end.

use std::collections::BTreeMap;

use becket_api::cutting::{
    CancelCutListRequest, CutList, CutListState, FinishCutListRequest, ListCutListsRequest,
    PlanCutListRequest, PlanPolicy, ReplanCutListRequest, StepKind, StepState, TailUse, UnisonRule,
};
use tonic::Code;

use crate::world::{PIECES, World, assert_refused, coil, job, meta, plan_request};

/// Wire that pending steps take, by coil.
fn reserved(list: &CutList) -> BTreeMap<String, i64> {
    let mut sums = BTreeMap::new();
    let takes = |kind| matches!(kind, StepKind::Mount | StepKind::Cut);
    for step in list.steps.iter().filter(|s| s.state() == StepState::Pending && takes(s.kind())) {
        *sums.entry(step.coil_id.clone()).or_insert(0) += step.length_um;
    }
    sums
}

#[tokio::test]
async fn a_day_from_plan_to_record() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let list = world.plan(&[]).await.unwrap();
    assert_eq!((list.list_id.as_str(), list.state()), ("L-0001", CutListState::Planned));
    assert_eq!((list.pieces_pending, list.pieces_done, list.shortages.len()), (2 * PIECES, 0, 0));
    let serials: Vec<&str> = list.serials.iter().map(|serial| serial.serial_id.as_str()).collect();
    assert_eq!(serials, ["S-1", "S-2"]);
    assert_eq!(list.serials[0].set_digest, world.set("S-1").await.digest);
    for (coil_id, length_um) in reserved(&list) {
        assert_eq!(world.coil(&coil_id).await.reserved_um, length_um);
    }

    world.begin("L-0001").await.unwrap();
    let first = world.confirm("L-0001", 1, 0).await.unwrap();
    assert_eq!(first.confirmed.len(), 1);
    assert_eq!((first.confirmed[0].kind(), first.confirmed[0].state()), (StepKind::Mount, StepState::Done));
    assert_eq!(first.next.unwrap().step_number, 2);
    let some = world.confirm("L-0001", 2, 60).await.unwrap();
    assert_eq!(some.pieces_done + some.pieces_pending, 2 * PIECES);

    // The server may stop at any time.
    let world = world.restart().await;
    let before = world.list("L-0001").await;
    assert_eq!((before.pieces_done, before.etag.clone()), (some.pieces_done, some.etag));
    let list = world.confirm_all("L-0001").await;
    assert_eq!((list.pieces_done, list.pieces_pending), (2 * PIECES, 0));
    assert_eq!(list.steps[..61], before.steps[..61], "what is done does not change");

    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), ..Default::default() };
    let list = world.lists().finish_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.state(), CutListState::Finished);
    for coil_id in ["A13", "A16", "A19", "B19"] {
        let coil = world.coil(coil_id).await;
        let of_coil = |kind| list.steps.iter().filter(move |s| s.coil_id == coil_id && s.kind() == kind);
        assert_eq!(coil.reserved_um, 0);
        assert_eq!(coil.cut_um, of_coil(StepKind::Cut).map(|s| s.length_um).sum::<i64>());
        let tails = of_coil(StepKind::Unmount).filter(|s| s.tail_use() == TailUse::Scrap);
        let scrap = of_coil(StepKind::Mount).chain(tails).map(|s| s.length_um).sum::<i64>();
        assert_eq!(coil.scrapped_um, scrap);
    }
}

#[tokio::test]
async fn validate_only_shows_the_plan_that_would_be_stored_and_stores_nothing() {
    let world = World::with_jobs(&["S-1"]).await;
    let request = PlanCutListRequest { validate_only: true, ..plan_request(&["S-1"]) };
    let shown = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!((shown.list_id.as_str(), shown.etag.as_str()), ("", ""));
    let lists = world.lists().list_cut_lists(ListCutListsRequest::default()).await.unwrap().into_inner();
    assert_eq!(lists.cut_lists, []);
    assert_eq!(world.coil("A13").await.reserved_um, 0);
    let stored = world.plan(&["S-1"]).await.unwrap();
    assert_eq!((stored.list_id.as_str(), &stored.steps), ("L-0001", &shown.steps));
}

#[tokio::test]
async fn only_open_jobs_that_are_due_are_taken() {
    let world = World::with_jobs(&["S-1", "S-2", "S-3"]).await;
    let request = PlanCutListRequest {
        request_id: world.id(),
        due_by_date: "2026-12-02".to_owned(),
        ..plan_request(&[])
    };
    let list = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.serials.len(), 2);
    // What is on a list is not planned again.
    let rest = world.plan(&[]).await.unwrap();
    assert_eq!(rest.serials.iter().map(|s| s.serial_id.as_str()).collect::<Vec<_>>(), ["S-3"]);
    assert_refused(world.plan(&[]).await, Code::FailedPrecondition, "STATE_FORBIDS");
}

#[tokio::test]
async fn policy_without_cores_leaves_them_out() {
    let world = World::with_jobs(&["S-1"]).await;
    let policy = PlanPolicy { wound_cores: Some(false), ..PlanPolicy::default() };
    let request =
        PlanCutListRequest { request_id: world.id(), policy: Some(policy), ..plan_request(&["S-1"]) };
    let list = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.pieces_pending, PIECES - 32);
    let policy = list.policy.unwrap();
    assert_eq!((policy.unison_rule(), policy.end_trim_mm), (UnisonRule::Preferred, Some(10.0)));
}

#[tokio::test]
async fn what_the_stock_lacks_is_told_and_planned_again_when_it_comes() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let coils = [coil("A13", "mw-in-13", "a", 200.0), coil("A16", "mw-in-16", "b", 400.0)];
    world.receive(coils.to_vec()).await.unwrap();
    let list = world.plan(&["S-1"]).await.unwrap();
    assert_eq!(list.pieces_pending, 72);
    let [shortage] = &list.shortages[..] else { panic!("{:?}", list.shortages) };
    assert_eq!((shortage.wire_id.as_str(), shortage.piece_ids.len()), ("mw-in-19", 62));

    world.receive(vec![coil("A19", "mw-in-19", "c", 600.0)]).await.unwrap();
    let request = ReplanCutListRequest {
        request_id: world.id(),
        list_id: list.list_id,
        etag: list.etag.clone(),
        add_serial_ids: Vec::new(),
    };
    let replanned = world.lists().replan_cut_list(request).await.unwrap().into_inner();
    let list = replanned.cut_list.unwrap();
    assert_eq!((list.pieces_pending, list.shortages.len()), (PIECES, 0));
    assert_eq!(replanned.steps_moved, 62);
    assert_eq!(replanned.steps_kept, 72 + 4, "the cuts of two coils, their mounting and taking off");
}

#[tokio::test]
async fn steps_are_confirmed_in_order_only() {
    let world = World::with_jobs(&["S-1"]).await;
    let list = world.plan(&["S-1"]).await.unwrap();
    let early = world.confirm("L-0001", 1, 1).await;
    let status = assert_refused(early, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "state"), "planned");
    world.begin(&list.list_id).await.unwrap();
    let status =
        assert_refused(world.confirm("L-0001", 3, 1).await, Code::FailedPrecondition, "STEP_NOT_NEXT");
    assert_eq!(meta(&status, "next_step_number"), "1");
    world.confirm("L-0001", 1, 2).await.unwrap();
    let status =
        assert_refused(world.confirm("L-0001", 1, 1).await, Code::FailedPrecondition, "STEP_NOT_NEXT");
    assert_eq!(meta(&status, "next_step_number"), "3");
}

#[tokio::test]
async fn one_list_runs_at_a_station() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let (first, second) = (world.plan(&["S-1"]).await.unwrap(), world.plan(&["S-2"]).await.unwrap());
    world.begin(&first.list_id).await.unwrap();
    let status =
        assert_refused(world.begin(&second.list_id).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "running_list_id"), first.list_id);
    let list = world.confirm_all(&first.list_id).await;
    let request =
        FinishCutListRequest { request_id: world.id(), list_id: list.list_id, give_up_pending: false };
    world.lists().finish_cut_list(request).await.unwrap();
    // The second list was planned for the reels that the first one leaves.
    world.begin(&second.list_id).await.unwrap();
    let list = world.confirm_all(&second.list_id).await;
    assert_eq!(list.pieces_done, PIECES);
}

#[tokio::test]
async fn of_lists_that_are_started_at_once_one_runs() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let (first, second) = (world.plan(&["S-1"]).await.unwrap(), world.plan(&["S-2"]).await.unwrap());
    let (one, two) = tokio::join!(world.begin(&first.list_id), world.begin(&second.list_id));
    let (running, refused) = match (one, two) {
        (Ok(running), Err(status)) | (Err(status), Ok(running)) => (running, status),
        both => panic!("{both:?}"),
    };
    let status = assert_refused(Err::<(), _>(refused), Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "running_list_id"), running.list_id);
}

#[tokio::test]
async fn ending_and_withdrawing() {
    let world = World::with_jobs(&["S-1"]).await;
    let list_id = world.plan(&["S-1"]).await.unwrap().list_id;
    world.begin(&list_id).await.unwrap();
    let cancel = |request_id| CancelCutListRequest { request_id, list_id: "L-0001".to_owned() };
    let finish = |request_id, give_up_pending| FinishCutListRequest {
        request_id,
        list_id: "L-0001".to_owned(),
        give_up_pending,
    };
    world.lists().cancel_cut_list(cancel(world.id())).await.unwrap();
    assert_eq!(world.coil("A13").await.reserved_um, 0);

    let list_id = world.plan(&["S-1"]).await.unwrap().list_id;
    world.begin(&list_id).await.unwrap();
    world.confirm(&list_id, 1, 3).await.unwrap();
    let request = CancelCutListRequest { request_id: world.id(), list_id: list_id.clone() };
    assert_refused(world.lists().cancel_cut_list(request).await, Code::FailedPrecondition, "STATE_FORBIDS");
    let request = FinishCutListRequest { list_id: list_id.clone(), ..finish(world.id(), false) };
    assert_refused(world.lists().finish_cut_list(request).await, Code::FailedPrecondition, "STATE_FORBIDS");
    let request = FinishCutListRequest { list_id: list_id.clone(), ..finish(world.id(), true) };
    let list = world.lists().finish_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!((list.pieces_done, list.pieces_pending), (2, 0));
    let given_up: usize = list.shortages.iter().map(|shortage| shortage.piece_ids.len()).sum();
    assert_eq!(given_up, 132);
    // What was given up is planned on the next list, and what is cut is not.
    assert_eq!(world.plan(&["S-1"]).await.unwrap().pieces_pending, PIECES - 2);
}

#[tokio::test]
async fn lists_are_paged_newest_first() {
    let world = World::with_jobs(&["S-1", "S-2", "S-3"]).await;
    for serial_id in ["S-1", "S-2", "S-3"] {
        world.plan(&[serial_id]).await.unwrap();
    }
    let request = ListCutListsRequest { page_size: 2, ..Default::default() };
    let page = world.lists().list_cut_lists(request.clone()).await.unwrap().into_inner();
    let ids = |lists: &[CutList]| lists.iter().map(|list| list.list_id.clone()).collect::<Vec<_>>();
    assert_eq!(ids(&page.cut_lists), ["L-0003", "L-0002"]);
    assert!(page.cut_lists.iter().all(|list| list.steps.is_empty() && list.pieces_pending == PIECES));
    let request = ListCutListsRequest { page_token: page.next_page_token.clone(), ..request };
    let last = world.lists().list_cut_lists(request).await.unwrap().into_inner();
    assert_eq!((ids(&last.cut_lists), last.next_page_token.as_str()), (vec!["L-0001".to_owned()], ""));
    let other = ListCutListsRequest {
        page_token: page.next_page_token,
        station_id: "bench-1".to_owned(),
        ..Default::default()
    };
    assert_refused(world.lists().list_cut_lists(other).await, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
}

#[tokio::test]
async fn a_plan_that_is_outrun_is_made_again() {
    let world = World::with_jobs(&["S-1"]).await;
    world.faults.outrun(3);
    assert_eq!(world.plan(&["S-1"]).await.unwrap().list_id, "L-0001");
    world.begin("L-0001").await.unwrap();
    world.faults.outrun(100);
    let status = assert_refused(world.confirm("L-0001", 1, 1).await, Code::Aborted, "STOCK_CHANGED");
    assert_eq!(meta(&status, "coil_id"), "A19");
}
