//! Stations.

use becket_api::cutting::{GetStationRequest, ListStationsRequest, Station};
use tonic::Code;

use crate::world::{World, assert_faults, assert_refused, meta, station};

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
