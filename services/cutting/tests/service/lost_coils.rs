//! Coils from which nothing can be cut any more, while lists count on them.

use becket_api::cutting::{
    CoilState, CutList, GetStationRequest, ListReplan, ReplanCutListRequest, ReturnCoilRequest,
    ScrapCoilRequest, SetAsideCoilRequest, StepKind, StepState, WeighCoilRequest,
};
use tonic::Code;

use crate::world::{PIECES, World, assert_refused, coil};

fn set_aside(world: &World, coil_id: &str) -> SetAsideCoilRequest {
    SetAsideCoilRequest {
        request_id: world.id(),
        coil_id: coil_id.to_owned(),
        note: "kinked".to_owned(),
        keep_lists: false,
    }
}

fn scrap(world: &World, coil_id: &str) -> ScrapCoilRequest {
    ScrapCoilRequest {
        request_id: world.id(),
        coil_id: coil_id.to_owned(),
        note: "rust".to_owned(),
        keep_lists: false,
    }
}

/// Pieces that are still to be cut from a coil.
fn owed(list: &CutList, coil_id: &str) -> Vec<String> {
    let pending = list.steps.iter().filter(|step| step.state() == StepState::Pending);
    let mut owed: Vec<String> = pending
        .filter(|step| step.coil_id == coil_id && step.kind() == StepKind::Cut)
        .map(|step| step.piece_id.clone())
        .collect();
    owed.sort_unstable();
    owed
}

fn counts_on(list: &CutList, coil_id: &str) -> bool {
    let mut pending = list.steps.iter().filter(|step| step.state() == StepState::Pending);
    pending.any(|step| step.coil_id == coil_id && step.kind() != StepKind::Unmount)
}

/// A list that runs and has cut two pieces from A13, and another coil of that wire.
async fn under_way() -> World {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.receive(vec![coil("B13", "mw-in-13", "lot-2", 200.0)]).await.unwrap();
    let list = world.list("L-0001").await;
    let first = list.steps.iter().find(|s| s.coil_id == "A13" && s.kind() == StepKind::Cut).unwrap();
    world.confirm("L-0001", 1, first.step_number + 1).await.unwrap();
    world
}

/// What the new plan must be: the done steps as they were, all that A13 owed on B13, everything else where it was.
async fn assert_moved(world: &World, before: &CutList, replanned: &[ListReplan]) -> CutList {
    let after = world.list("L-0001").await;
    let [told] = replanned else { panic!("{replanned:?}") };
    let done = before.steps.iter().take_while(|step| step.state() != StepState::Pending).count();
    assert_eq!(after.steps[..done], before.steps[..done]);
    assert!(!counts_on(&after, "A13"), "{after:?}");
    let moved = owed(before, "A13");
    assert_eq!(owed(&after, "B13"), moved);
    for coil_id in ["A16", "A19", "B19"] {
        assert_eq!(owed(&after, coil_id), owed(before, coil_id), "{coil_id}");
    }
    let count = i32::try_from(moved.len()).unwrap();
    assert_eq!((told.list_id.as_str(), &told.etag), ("L-0001", &after.etag));
    assert_eq!((told.steps_moved, told.steps_forced, told.pieces_uncut), (count, count, 0));
    after
}

#[tokio::test]
async fn what_a_coil_that_is_set_aside_owed_comes_from_another() {
    let world = under_way().await;
    let before = world.list("L-0001").await;
    let request = set_aside(&world, "A13");
    let answer = world.coils().set_aside_coil(request.clone()).await.unwrap().into_inner();
    assert_eq!(answer.affected_list_ids, Vec::<String>::new());
    let after = assert_moved(&world, &before, &answer.replanned).await;
    // It is on a reel, and off it comes first.
    let next = after.steps.iter().find(|step| step.state() == StepState::Pending).unwrap();
    assert_eq!((next.kind(), next.coil_id.as_str()), (StepKind::Unmount, "A13"));
    assert_eq!(world.coils().set_aside_coil(request).await.unwrap().into_inner(), answer);
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
    let coil = world.coil("A13").await;
    assert_eq!((coil.state(), coil.reserved_um), (CoilState::SetAside, 0));
    let request = ReturnCoilRequest { request_id: world.id(), coil_id: "A13".to_owned() };
    let coil = world.coils().return_coil(request).await.unwrap().into_inner().coil.unwrap();
    assert_eq!(coil.state(), CoilState::Opened);
}

#[tokio::test]
async fn no_step_names_a_coil_that_is_scrapped() {
    let world = under_way().await;
    let before = world.list("L-0001").await;
    let answer = world.coils().scrap_coil(scrap(&world, "A13")).await.unwrap().into_inner();
    let coil = answer.coil.unwrap();
    assert_eq!((coil.state(), coil.remaining_um, coil.reserved_um), (CoilState::Scrapped, 0, 0));
    let after = assert_moved(&world, &before, &answer.replanned).await;
    let pending = after.steps.iter().filter(|step| step.state() == StepState::Pending);
    assert!(pending.clone().count() > 0 && pending.clone().all(|step| step.coil_id != "A13"), "{after:?}");
    let request = GetStationRequest { station_id: "bench-1".to_owned() };
    let station = world.stations().get_station(request).await.unwrap().into_inner().station.unwrap();
    assert!(station.mounted.iter().all(|mounted| mounted.coil_id != "A13"), "{station:?}");
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

/// Where a list has only to take the coil off, nothing else of it changes.
#[tokio::test]
async fn a_list_that_had_only_to_take_the_coil_off_forgets_it() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let list = world.list("L-0001").await;
    let off = list.steps.iter().find(|step| step.kind() == StepKind::Unmount).unwrap().clone();
    world.confirm("L-0001", 1, off.step_number - 1).await.unwrap();
    let before = world.list("L-0001").await;
    let answer = world.coils().scrap_coil(scrap(&world, &off.coil_id)).await.unwrap().into_inner();
    let [told] = answer.replanned.as_slice() else { panic!("{answer:?}") };
    let left = i32::try_from(before.steps.len()).unwrap() - off.step_number;
    assert_eq!((told.steps_kept, told.steps_moved, told.steps_forced, told.pieces_uncut), (left, 0, 0, 0));
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

#[tokio::test]
async fn an_empty_reel_moves_what_it_owed() {
    let world = under_way().await;
    let before = world.list("L-0001").await;
    let weigh = |keep_lists| WeighCoilRequest {
        request_id: world.id(),
        coil_id: "A13".to_owned(),
        gross_g: 85.0,
        tare_g: 85.0,
        accept: true,
        keep_lists,
        ..WeighCoilRequest::default()
    };
    let kept = world.coils().weigh_coil(weigh(true)).await;
    assert_refused(kept, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(world.list("L-0001").await, before);
    let answer = world.coils().weigh_coil(weigh(false)).await.unwrap().into_inner();
    assert_eq!((answer.coil.unwrap().state(), answer.short_list_ids.len()), (CoilState::UsedUp, 0));
    assert_moved(&world, &before, &answer.replanned).await;
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

/// The list that runs comes first; what is left over is told, and nothing is promised twice.
#[tokio::test]
async fn lists_that_share_a_coil_are_planned_in_turn() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    world.plan(&["S-2"]).await.unwrap();
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0002").await.unwrap();
    let needed = world.list("L-0002").await;
    let needed_um: i64 = needed.steps.iter().filter(|s| s.coil_id == "A13").map(|s| s.length_um).sum();
    // Enough for one of the two.
    #[expect(clippy::cast_precision_loss, reason = "a length in a test")]
    let metres = needed_um as f64 / 1e6 + 1.0;
    world.receive(vec![coil("B13", "mw-in-13", "lot-2", metres)]).await.unwrap();
    let owed_by_other = owed(&world.list("L-0001").await, "A13").len();
    let answer = world.coils().set_aside_coil(set_aside(&world, "A13")).await.unwrap().into_inner();
    let told: Vec<_> =
        answer.replanned.iter().map(|list| (list.list_id.as_str(), list.pieces_uncut)).collect();
    assert_eq!((told[0], told[1].0), (("L-0002", 0), "L-0001"));
    let other = world.list("L-0001").await;
    let short: usize = other.shortages.iter().map(|short| short.piece_ids.len()).sum();
    assert_eq!(usize::try_from(told[1].1).unwrap(), short);
    assert_eq!(short + owed(&other, "B13").len(), owed_by_other);
    assert!(short > 0);
    let coil = world.coil("B13").await;
    assert!(coil.reserved_um <= coil.remaining_um, "{coil:?}");
    assert!(!counts_on(&other, "A13") && !counts_on(&world.list("L-0002").await, "A13"));
}

#[tokio::test]
async fn all_of_it_is_stored_or_nothing() {
    let world = under_way().await;
    let (list, coil) = (world.list("L-0001").await, world.coil("A13").await);
    world.faults.fail_commits(1);
    let request = set_aside(&world, "A13");
    assert!(world.coils().set_aside_coil(request.clone()).await.is_err());
    assert_eq!((world.list("L-0001").await, world.coil("A13").await), (list, coil));
    let answer = world.coils().set_aside_coil(request).await.unwrap().into_inner();
    assert_eq!(answer.replanned.len(), 1);
}

/// A coil that comes back is older than the equal one that has taken its place; that is no reason to open it first.
#[tokio::test]
async fn a_coil_that_comes_back_changes_no_plan() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.receive(vec![coil("B13", "mw-in-13", "lot-2", 200.0)]).await.unwrap();
    world.coils().set_aside_coil(set_aside(&world, "A13")).await.unwrap();
    let moved = owed(&world.list("L-0001").await, "B13");
    assert!(!moved.is_empty());
    let request = ReturnCoilRequest { request_id: world.id(), coil_id: "A13".to_owned() };
    world.coils().return_coil(request).await.unwrap();
    let request = ReplanCutListRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        ..ReplanCutListRequest::default()
    };
    let answer = world.lists().replan_cut_list(request).await.unwrap().into_inner();
    assert_eq!((answer.steps_moved, owed(&answer.cut_list.unwrap(), "B13")), (0, moved));
}
