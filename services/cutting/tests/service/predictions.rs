//! What steps will leave on their coils, and coils that several lists want.

use std::collections::BTreeSet;
use std::time::Duration;

use becket_api::cutting::{
    CutList, PlanCutListRequest, StepKind, WatchCutListRequest, WatchCutListResponse, WeighCoilRequest,
};

use crate::world::{PIECES, World, coil, plan_request, station};

async fn weigh(world: &World, coil_id: &str, length_m: f64) {
    let gross_g = length_m * world.coil(coil_id).await.linear_density_g_m;
    let (request_id, coil_id) = (world.id(), coil_id.to_owned());
    world
        .coils()
        .weigh_coil(WeighCoilRequest { request_id, coil_id, gross_g, tare_g: 0.0, ..Default::default() })
        .await
        .unwrap();
}

/// What a list leaves on a coil when it takes it off.
fn left(list: &CutList, coil_id: &str) -> i64 {
    let of_coil =
        |step: &&becket_api::cutting::CutStep| step.coil_id == coil_id && step.kind() == StepKind::Unmount;
    list.steps.iter().rfind(of_coil).unwrap().remaining_after_um
}

#[tokio::test]
async fn lists_that_share_a_coil_cut_one_after_the_other() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let first = world.plan(&["S-1"]).await.unwrap();
    let second = world.plan(&["S-2"]).await.unwrap();
    let taken = |list: &CutList| -> i64 {
        let steps = list.steps.iter().filter(|step| step.coil_id == "A13");
        steps.map(|step| step.length_um).sum()
    };
    assert_eq!(left(&first, "A13"), 200_000_000 - taken(&first));
    assert_eq!(left(&second, "A13"), 200_000_000 - taken(&first) - taken(&second));
    assert_eq!((world.list("L-0001").await, world.list("L-0002").await), (first, second.clone()));
    // Once the second one runs it is no longer behind the first.
    let running = world.begin("L-0002").await.unwrap();
    assert_eq!(left(&running, "A13"), 200_000_000 - taken(&second));
    assert_eq!(world.list("L-0002").await, running);
    assert_eq!(left(&world.list("L-0001").await, "A13"), left(&second, "A13"));
}

#[tokio::test]
async fn a_weighing_moves_what_is_predicted_and_watchers_hear_of_it() {
    let world = World::with_jobs(&["S-1"]).await;
    let planned = world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let coil_id = planned.steps[0].coil_id.clone();
    let watch = |resume_token: String| WatchCutListRequest { list_id: "L-0001".to_owned(), resume_token };
    let mut stream = world.lists().watch_cut_list(watch(String::new())).await.unwrap().into_inner();
    let mut next = async || -> WatchCutListResponse {
        let message = tokio::time::timeout(Duration::from_secs(30), stream.message()).await;
        message.expect("the stream says nothing").unwrap().unwrap()
    };
    let before = next().await;
    let held = world.coil(&coil_id).await.remaining_um;
    let real = held - 5_000_000;
    #[expect(clippy::cast_precision_loss, reason = "a length in a test")]
    weigh(&world, &coil_id, real as f64 / 1e6).await;
    let shift = held - world.coil(&coil_id).await.remaining_um;
    // Not by all of it: what was received counts, too.
    assert!((1..5_000_000).contains(&shift), "{shift}");
    let after = next().await;
    assert!(!after.heartbeat);
    let left_um = |message: &WatchCutListResponse| message.next.as_ref().unwrap().remaining_after_um;
    assert_eq!(left_um(&after), left_um(&before) - shift);
    let list = world.list("L-0001").await;
    for (was, is) in planned.steps.iter().zip(&list.steps) {
        let moved = if was.coil_id == coil_id { shift } else { 0 };
        assert_eq!(is.remaining_after_um, was.remaining_after_um - moved, "{is:?}");
    }
    // The steps come out as predicted.
    let done = world.confirm_all("L-0001").await;
    for (told, done) in list.steps.iter().zip(&done.steps) {
        assert_eq!((told.length_um, told.remaining_after_um), (done.length_um, done.remaining_after_um));
    }
}

async fn plan_at(world: &World, station_id: &str, serial_id: &str) -> CutList {
    let station_id = station_id.to_owned();
    let request = PlanCutListRequest { request_id: world.id(), station_id, ..plan_request(&[serial_id]) };
    world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap()
}

fn coils_of(list: &CutList) -> BTreeSet<&str> {
    list.steps.iter().map(|step| step.coil_id.as_str()).collect()
}

/// A coil is at one station at a time, so two stations that cut at the same time need coils of their own.
#[tokio::test]
async fn stations_do_not_share_coils_while_there_are_others() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    world.save_station(station("bench-2")).await.unwrap();
    let more = [
        coil("C13", "mw-in-13", "lot", 200.0),
        coil("C16", "mw-in-16", "lot", 400.0),
        coil("C19", "mw-in-19", "lot", 600.0),
    ];
    world.receive(more.to_vec()).await.unwrap();
    let first = plan_at(&world, "bench-1", "S-1").await;
    let second = plan_at(&world, "bench-2", "S-2").await;
    assert_eq!((first.shortages.len(), second.shortages.len()), (0, 0));
    assert_eq!(coils_of(&first).intersection(&coils_of(&second)).count(), 0);
    for list_id in ["L-0001", "L-0002"] {
        world.begin(list_id).await.unwrap();
        world.confirm(list_id, 1, 1).await.unwrap();
    }
    for list_id in ["L-0001", "L-0002"] {
        assert_eq!(world.confirm_all(list_id).await.pieces_done, PIECES);
    }
}

/// With one coil of a wire the second list waits for the first, and nothing is told as lacking that is there.
#[tokio::test]
async fn stations_share_a_coil_rather_than_call_its_wire_lacking() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    world.save_station(station("bench-2")).await.unwrap();
    let first = plan_at(&world, "bench-1", "S-1").await;
    let second = plan_at(&world, "bench-2", "S-2").await;
    assert_eq!((first.shortages.len(), second.shortages.len()), (0, 0));
    assert!(coils_of(&second).contains("A13"));
    world.begin("L-0001").await.unwrap();
    world.confirm_all("L-0001").await;
    world.begin("L-0002").await.unwrap();
    assert_eq!(world.confirm_all("L-0002").await.pieces_done, PIECES);
}
