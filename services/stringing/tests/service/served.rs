use std::sync::Arc;

use becket_api::stringing::{GetWireRequest, Job, UpdateWireRequest, Wire};
use becket_service_kit::{FixedClock, Settings};
use becket_store_sqlite::SqliteStore;
use becket_stringing::{Parts, RunError, SERVICE_NAMES, run};
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt;

use crate::world::{World, assert_refused, copper, job};

#[tokio::test]
async fn every_service_says_that_it_serves() {
    let world = World::empty().await;
    let mut health = HealthClient::new(world.channel.clone());
    for service in SERVICE_NAMES.into_iter().chain([""]) {
        let answer = health.check(HealthCheckRequest { service: service.to_owned() }).await.unwrap();
        assert_eq!(answer.get_ref().status(), ServingStatus::Serving, "{service}");
    }
}

#[tokio::test]
async fn without_its_store_the_service_does_not_start() {
    let store = SqliteStore::in_memory().await.unwrap();
    store.close().await;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let parts = Parts {
        limits: Settings::load(None, []).unwrap().limits,
        listener,
        store: Arc::new(store),
        clock: Arc::new(FixedClock::default()),
        shutdown: CancellationToken::new(),
    };
    assert!(matches!(run(parts).await, Err(RunError::Store(_))));
}

#[tokio::test]
async fn a_store_that_is_gone_is_worth_another_try() {
    let world = World::with_wires().await;
    world.store.close().await;
    let answer = world.wires().get_wire(GetWireRequest { wire_id: "cu-1.00".to_owned() }).await;
    let status = assert_refused(answer, Code::Unavailable, "UPSTREAM_UNAVAILABLE");
    assert!(status.get_details_retry_info().is_some());
}

#[tokio::test]
async fn of_many_who_change_the_same_thing_one_wins() {
    let world = World::with_wires().await;
    let update = |number: u32| {
        let wire = Wire { title: format!("of {number}"), etag: "1".to_owned(), ..copper("cu-1.00", 1.0) };
        let request = UpdateWireRequest {
            request_id: format!("update-{number}"),
            wire: Some(wire),
            validate_only: false,
        };
        let mut client = world.wires();
        tokio::spawn(async move { client.update_wire(request).await })
    };
    let calls: Vec<_> = (0..8).map(update).collect();
    let mut won = Vec::new();
    for (number, call) in calls.into_iter().enumerate() {
        match call.await.unwrap() {
            Ok(answer) => won.push((number, answer.into_inner().wire.unwrap())),
            other => drop(assert_refused(other, Code::Aborted, "ETAG_STALE")),
        }
    }
    let [(number, wire)] = won.as_slice() else { panic!("{won:?}") };
    assert_eq!((wire.etag.as_str(), wire.title.clone()), ("2", format!("of {number}")));
}

#[tokio::test]
async fn many_repeats_at_once_are_one_call() {
    let world = World::with_scale().await;
    let request = becket_api::stringing::OpenJobRequest {
        request_id: "open-1".to_owned(),
        job: Some(job("S-1")),
        validate_only: false,
    };
    let calls: Vec<_> = (0..8)
        .map(|_| {
            let (mut client, request) = (world.jobs(), request.clone());
            tokio::spawn(async move { client.open_job(request).await })
        })
        .collect();
    let mut answers: Vec<Job> = Vec::new();
    for call in calls {
        answers.push(call.await.unwrap().unwrap().into_inner().job.unwrap());
    }
    assert!(answers.iter().all(|answer| *answer == answers[0]), "{answers:?}");
}
