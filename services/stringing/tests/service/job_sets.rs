use std::time::Duration;

use becket_api::stringing::compute_job_sets_response::Result as Outcome;
use becket_api::stringing::string_set_service_client::StringSetServiceClient;
use becket_api::stringing::{
    ComputeJobSetsRequest, ComputeJobSetsResponse, FreezeStringSetRequest, Job, SetView, StringSet,
};
use becket_store::{Document, JobColumns, StringStore, WriteContext};
use prost::Message;
use tonic::{Code, Request, Streaming};

use crate::world::{START_US, World, assert_faults, job};

fn request(serials: impl IntoIterator<Item = String>) -> ComputeJobSetsRequest {
    ComputeJobSetsRequest { serial_ids: serials.into_iter().collect(), view: None }
}

async fn stream(world: &World, request: ComputeJobSetsRequest) -> Streaming<ComputeJobSetsResponse> {
    let mut sets = world.sets().max_decoding_message_size(64 << 20);
    sets.compute_job_sets(request).await.unwrap().into_inner()
}

fn set(answer: ComputeJobSetsResponse) -> StringSet {
    match answer.result {
        Some(Outcome::StringSet(set)) => set,
        other => panic!("{other:?}"),
    }
}

/// Opens many jobs, straight in the store: through the service it takes several times as long.
async fn open_many(world: &World, count: usize) -> Vec<String> {
    let serials: Vec<String> = (0..count).map(|at| format!("S-{at:05}")).collect();
    for serial_id in &serials {
        let content = job(serial_id);
        let context = WriteContext {
            method: "test",
            request_id: world.id(),
            request_digest: [0; 32],
            actor: "test".to_owned(),
            origin: "test".to_owned(),
            now_us: START_US,
        };
        let columns = JobColumns {
            serial_id: content.serial_id.clone(),
            due_date: content.due_date.clone(),
            station_id: content.station_id.clone(),
        };
        let document = Document { bytes: content.encode_to_vec(), json: "{}".to_owned() };
        world.store.open_job(&context, columns, document, Box::new(|_| Vec::new())).await.unwrap();
    }
    serials
}

#[tokio::test]
async fn each_set_is_what_get_string_set_returns() {
    let world = World::with_scale().await;
    for serial_id in ["S-1", "S-2", "S-3"] {
        world.open(job(serial_id)).await;
    }
    let as_built =
        vec![becket_api::stringing::AsBuilt { note: 52, speaking_mm: Some(360.0), ..Default::default() }];
    world.open(Job { as_built, ..job("S-4") }).await;
    let digest = world.set("S-2").await.digest;
    let freeze = FreezeStringSetRequest { request_id: world.id(), serial_id: "S-2".to_owned(), digest };
    world.sets().freeze_string_set(freeze).await.unwrap();

    let asked = ["S-4", "S-2", "S-9", "S-1", "S-2"];
    let mut stream = stream(&world, request(asked.map(str::to_owned))).await;
    for serial_id in asked {
        let answer = stream.message().await.unwrap().unwrap();
        assert_eq!(answer.serial_id, serial_id, "in the order of the request");
        if serial_id == "S-9" {
            let Some(Outcome::Refusal(refusal)) = answer.result else { panic!("{answer:?}") };
            assert_eq!((refusal.code, refusal.reason.as_str()), (Code::NotFound.into(), "NOT_FOUND"));
            assert!(refusal.message.contains("S-9"), "{refusal:?}");
        } else {
            assert_eq!(set(answer), world.set(serial_id).await);
        }
    }
    assert_eq!(stream.message().await.unwrap(), None);
}

#[tokio::test]
async fn a_summary_leaves_out_what_is_long() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let view = Some(SetView::Summary.into());
    let mut stream = stream(&world, ComputeJobSetsRequest { view, ..request(["S-1".to_owned()]) }).await;
    let seen = set(stream.message().await.unwrap().unwrap());
    let whole = world.set("S-1").await;
    assert_eq!(seen, StringSet { basis: None, strings: vec![], pieces: vec![], ..whole });
}

#[tokio::test]
async fn how_many_and_which_view_is_checked() {
    let world = World::with_scale().await;
    let view = Some(SetView::Unspecified.into());
    let none = ComputeJobSetsRequest { serial_ids: vec![], view };
    assert_faults(world.sets().compute_job_sets(none).await, &["serial_ids", "view"]);
    let many = request(std::iter::repeat_n("S-1".to_owned(), 20_001));
    assert_faults(world.sets().compute_job_sets(many).await, &["serial_ids"]);
}

/// Ten thousand serials, each with its job.
#[tokio::test(flavor = "multi_thread")]
async fn ten_thousand_serials() {
    let world = World::with_scale().await;
    let serials = open_many(&world, 10_000).await;
    let view = Some(SetView::Summary.into());
    let mut stream = stream(&world, ComputeJobSetsRequest { view, ..request(serials.clone()) }).await;
    let first = set(stream.message().await.unwrap().unwrap());
    assert_eq!(first.serial_id, serials[0]);
    let mut read = 1;
    while let Some(answer) = stream.message().await.unwrap() {
        let set = set(answer);
        assert_eq!((set.serial_id.as_str(), &set.digest), (serials[read].as_str(), &first.digest));
        read += 1;
    }
    assert_eq!(read, serials.len());
}

#[tokio::test]
async fn a_stated_deadline_ends_the_stream() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let many = request(std::iter::repeat_n("S-1".to_owned(), 20_000));
    let mut request = Request::new(many);
    request.set_timeout(Duration::from_millis(400));
    let mut stream = world.sets().compute_job_sets(request).await.unwrap().into_inner();
    let mut read = 0;
    let status = loop {
        match stream.message().await {
            Ok(Some(_)) => read += 1,
            Ok(None) => panic!("20 000 full sets in less than half a second"),
            Err(status) => break status,
        }
    };
    assert_eq!(status.code(), Code::DeadlineExceeded, "{status:?}");
    assert!(read > 0 && read < 20_000);
}

#[tokio::test]
async fn a_stream_that_nobody_reads_stops_the_work() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    // A connection of its own: what is not read fills the window that all streams of a connection share.
    let url = format!("http://{}", world.address);
    let mut sets = StringSetServiceClient::connect(url).await.unwrap().max_decoding_message_size(64 << 20);
    let many = request(std::iter::repeat_n("S-1".to_owned(), 20_000));
    let mut stream = sets.compute_job_sets(many).await.unwrap().into_inner();
    assert!(stream.message().await.unwrap().is_some());
    // Unread, then dropped: either way the pool of computations is free for others.
    tokio::time::timeout(Duration::from_secs(20), world.set("S-1")).await.unwrap();
    drop(stream);
    tokio::time::timeout(Duration::from_secs(20), world.set("S-1")).await.unwrap();
    // It does not keep the service from stopping either.
    let world = world.restart().await;
    assert_eq!(world.set("S-1").await.serial_id, "S-1");
}
