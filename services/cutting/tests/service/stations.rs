//! Stations.

use becket_api::cutting::{
    FinishCutListRequest, GetStationRequest, ListStationsRequest, PlanCutListRequest, Station,
    UnmountCoilRequest, UnmountCoilResponse,
};
use tonic::{Code, Status};

use crate::world::{World, assert_faults, assert_refused, coil, job, meta, plan_request, station};

async fn get(world: &World, station_id: &str) -> Station {
    let request = GetStationRequest { station_id: station_id.to_owned() };
    world.stations().get_station(request).await.unwrap().into_inner().station.unwrap()
}

#[tokio::test]
async fn stations_are_created_changed_and_listed() {
    let world = World::empty().await;
    let created = world.save_station(station("bench-2")).await.unwrap();
    assert_eq!((created.reel_positions, created.trays, created.etag.is_empty()), (3, 2, false));
    world.save_station(station("bench-1")).await.unwrap();
    let exists = world.save_station(station("bench-2")).await;
    assert_refused(exists, Code::AlreadyExists, "ALREADY_EXISTS");

    world.clock.advance_us(1_000_000);
    let changed = Station { trays: 6, ..created.clone() };
    let changed = world.save_station(changed).await.unwrap();
    assert_eq!(get(&world, "bench-2").await, changed);
    assert_eq!(changed.create_time, created.create_time);
    assert_eq!(changed.update_time.unwrap().seconds, created.update_time.unwrap().seconds + 1);
    for etag in [created.etag, "no etag".to_owned()] {
        let stale = world.save_station(Station { etag, ..changed.clone() }).await;
        let status = assert_refused(stale, Code::Aborted, "ETAG_STALE");
        assert_eq!(meta(&status, "etag"), changed.etag);
    }
    let unknown = Station { station_id: "bench-3".to_owned(), ..changed };
    assert_refused(world.save_station(unknown).await, Code::NotFound, "NOT_FOUND");
    let request = ListStationsRequest { page_size: 1, ..Default::default() };
    let page = world.stations().list_stations(request.clone()).await.unwrap().into_inner();
    assert_eq!(page.stations[0].station_id, "bench-1");
    let request = ListStationsRequest { page_token: page.next_page_token, ..request };
    let page = world.stations().list_stations(request).await.unwrap().into_inner();
    assert_eq!((page.stations[0].station_id.as_str(), page.next_page_token.as_str()), ("bench-2", ""));
}

#[tokio::test]
async fn faulty_stations_are_refused() {
    let world = World::empty().await;
    let bad =
        Station { station_id: "bench 1".to_owned(), reel_positions: 0, trays: 1001, ..Station::default() };
    let fields = ["station.station_id", "station.reel_positions", "station.trays"];
    assert_faults(world.save_station(bad).await, &fields);
    let negative = Station { reel_positions: -1, ..station("b") };
    assert_faults(world.save_station(negative).await, &["station.reel_positions"]);
}

#[tokio::test]
async fn a_reel_in_use_cannot_be_taken_away() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let confirmed = world.confirm("L-0001", 1, 1).await.unwrap().confirmed;
    let bench = get(&world, "bench-1").await;
    assert_eq!(bench.mounted.len(), 1);
    assert_eq!(bench.mounted[0].coil_id, confirmed[0].coil_id);
    // Mounting does not count for the etag, so a change of the title goes through.
    let bench = world.save_station(Station { title: "Moved".to_owned(), ..bench }).await.unwrap();
    let steps = world.list("L-0001").await.steps;
    let second = steps.iter().find(|step| step.reel_position == 2).unwrap().step_number;
    world.confirm("L-0001", 2, second - 1).await.unwrap();
    let small = world.save_station(Station { reel_positions: 1, ..bench }).await;
    let status = assert_refused(small, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "reel_positions"), "2");
}

async fn unmount(world: &World, station_id: &str, reel_position: i32) -> Result<UnmountCoilResponse, Status> {
    let (request_id, station_id) = (world.id(), station_id.to_owned());
    let request = UnmountCoilRequest { request_id, station_id, reel_position };
    Ok(world.stations().unmount_coil(request).await?.into_inner())
}

/// A list that is given up leaves its coils where they are, and no other station could use them.
#[tokio::test]
async fn a_coil_that_a_list_left_on_its_reel_is_taken_off_and_used_elsewhere() {
    let world = World::with_scale().await;
    world.save_station(station("bench-2")).await.unwrap();
    world.open(job("S-1")).await;
    let coils = [
        coil("A13", "mw-in-13", "lot-13", 200.0),
        coil("A16", "mw-in-16", "lot-16", 400.0),
        coil("A19", "mw-in-19", "lot-19", 600.0),
    ];
    world.receive(coils.to_vec()).await.unwrap();
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 1).await.unwrap();
    let reel = get(&world, "bench-1").await.mounted.remove(0);
    let status = assert_refused(
        unmount(&world, "bench-1", reel.reel_position).await,
        Code::FailedPrecondition,
        "STATE_FORBIDS",
    );
    assert_eq!(
        (meta(&status, "coil_id"), meta(&status, "list_ids")),
        (reel.coil_id.clone(), "L-0001".into())
    );

    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), give_up_pending: true };
    world.lists().finish_cut_list(request).await.unwrap();
    let elsewhere = || PlanCutListRequest {
        station_id: "bench-2".to_owned(),
        validate_only: true,
        ..plan_request(&["S-1"])
    };
    let list = world.lists().plan_cut_list(elsewhere()).await.unwrap().into_inner().cut_list.unwrap();
    assert!(list.steps.iter().all(|step| step.coil_id != reel.coil_id), "it is still at the other station");
    let before = world.coil(&reel.coil_id).await;
    let answer = unmount(&world, "bench-1", reel.reel_position).await.unwrap();
    assert_eq!((&answer.coil_id, answer.affected_list_ids.len()), (&reel.coil_id, 0));
    assert_eq!(answer.station.unwrap(), get(&world, "bench-1").await);
    assert!(get(&world, "bench-1").await.mounted.is_empty());
    assert_eq!(world.coil(&reel.coil_id).await.remaining_um, before.remaining_um, "what is left stays on it");
    let list = world.lists().plan_cut_list(elsewhere()).await.unwrap().into_inner().cut_list.unwrap();
    assert!(list.steps.iter().any(|step| step.coil_id == reel.coil_id));
    assert_eq!(list.shortages, []);
}

#[tokio::test]
async fn only_what_is_mounted_is_taken_off() {
    let world = World::with_jobs(&["S-1"]).await;
    let empty = unmount(&world, "bench-1", 1).await;
    let status = assert_refused(empty, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "reel_position"), "1");
    assert_refused(unmount(&world, "bench-9", 1).await, Code::NotFound, "NOT_FOUND");
    assert_faults(unmount(&world, "bench 1", 0).await, &["station_id", "reel_position"]);
}

/// A plan made on a coil that hangs on its reel is void without it, and says so.
#[tokio::test]
async fn lists_that_expect_the_coil_are_named() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 1).await.unwrap();
    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), give_up_pending: true };
    world.lists().finish_cut_list(request).await.unwrap();
    let reel = get(&world, "bench-1").await.mounted.remove(0);
    let list = world.plan(&["S-1"]).await.unwrap();
    assert_eq!(list.steps[0].coil_id, reel.coil_id, "what is on a reel is cut first");
    let answer = unmount(&world, "bench-1", reel.reel_position).await.unwrap();
    assert_eq!(answer.affected_list_ids, ["L-0002"]);
}
