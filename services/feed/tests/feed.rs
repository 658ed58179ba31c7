//! The feed over a real socket, on a database in memory.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use becket_api::feed::feed_service_client::FeedServiceClient;
use becket_api::feed::{StartPosition, WatchEventsRequest, WatchEventsResponse};
use becket_feed::{Deps, SERVICE_NAMES};
use becket_service_kit::{FeedSettings, FixedClock, Protection, ServerParts, Settings, serve};
use becket_store::{Document, NewWire, StringStore, WriteContext};
use becket_store_sqlite::SqliteStore;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::service::RoutesBuilder;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status, Streaming};
use tonic_types::StatusExt as _;

/// Generous: a busy machine is not a fault.
const LONG: Duration = Duration::from_secs(30);
const HOUR_US: i64 = 3_600_000_000;

/// A server with its database.
struct World {
    store: SqliteStore,
    clock: Arc<FixedClock>,
    client: FeedServiceClient<Channel>,
    shutdown: CancellationToken,
    writes: AtomicU64,
}

impl World {
    async fn new() -> Self {
        Self::with(SqliteStore::in_memory().await.unwrap(), Duration::from_secs(1)).await
    }

    async fn with(store: SqliteStore, slow_reader: Duration) -> Self {
        let limits = Settings::load(None, []).unwrap().limits;
        let clock = Arc::new(FixedClock::new(100 * HOUR_US));
        let settings = FeedSettings { retention: Duration::from_secs(10 * 3600), slow_reader };
        let mut routes = RoutesBuilder::default();
        let deps = Deps {
            limits: limits.clone(),
            settings,
            webhooks: Settings::load(None, []).unwrap().webhooks,
            store: Arc::new(store.clone()),
            clock: clock.clone(),
            replica: "a".to_owned(),
        };
        becket_feed::register(&mut routes, deps).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let shutdown = CancellationToken::new();
        tokio::spawn(serve(ServerParts {
            routes: routes.routes(),
            listener,
            service_names: SERVICE_NAMES.to_vec(),
            limits,
            protection: Protection::default(),
            local: None,
            shutdown: shutdown.clone(),
        }));
        let channel = Endpoint::from_shared(url).unwrap().connect().await.unwrap();
        Self { store, clock, client: FeedServiceClient::new(channel), shutdown, writes: AtomicU64::new(0) }
    }

    /// Adds a wire at an hour; its journal entry becomes an event.
    async fn add(&self, wire_id: &str, hour: i64) {
        self.add_json(wire_id, hour, "{}").await;
    }

    async fn add_json(&self, wire_id: &str, hour: i64, json: &str) {
        let number = self.writes.fetch_add(1, Ordering::Relaxed);
        let ctx = WriteContext {
            method: "becket.stringing.v1.WireService/ImportWires",
            request_id: format!("{wire_id}-{number}"),
            request_digest: [0; 32],
            actor: "ann".to_owned(),
            origin: "10.1.2.3".to_owned(),
            now_us: hour * HOUR_US,
        };
        let document = Document { bytes: json.as_bytes().to_vec(), json: json.to_owned() };
        let wire = NewWire { wire_id: wire_id.to_owned(), material: 1, document };
        self.store.import_wires(&ctx, vec![wire], Box::new(|_| Vec::new())).await.unwrap();
    }

    async fn watch(&self, request: WatchEventsRequest) -> Result<Streaming<WatchEventsResponse>, Status> {
        Ok(self.client.clone().watch_events(request).await?.into_inner())
    }

    async fn beginning(&self) -> Streaming<WatchEventsResponse> {
        self.watch(from(StartPosition::Beginning)).await.unwrap()
    }
}

fn from(start: StartPosition) -> WatchEventsRequest {
    WatchEventsRequest { start_position: start.into(), ..Default::default() }
}

fn behind(token: &str) -> WatchEventsRequest {
    WatchEventsRequest { resume_token: token.to_owned(), ..Default::default() }
}

async fn next(stream: &mut Streaming<WatchEventsResponse>) -> Result<WatchEventsResponse, Status> {
    let message = tokio::time::timeout(LONG, stream.message()).await.expect("the stream says nothing")?;
    Ok(message.expect("the stream has ended"))
}

fn subject(message: &WatchEventsResponse) -> Option<String> {
    let event = message.event.as_ref()?;
    let json = becket_api::cloud_event::to_json(event);
    Some(json["subject"].as_str().unwrap().to_owned())
}

/// Subjects until the stream has caught up, and the token then.
async fn caught_up(stream: &mut Streaming<WatchEventsResponse>) -> (Vec<String>, String) {
    let mut subjects = Vec::new();
    loop {
        let message = next(stream).await.unwrap();
        match subject(&message) {
            Some(subject) => subjects.push(subject),
            None => return (subjects, message.resume_token),
        }
    }
}

fn refused<T>(answer: Result<T, Status>, code: Code, reason: &str) {
    let status = answer.err().expect("it was not refused");
    assert_eq!(status.code(), code, "{status:?}");
    assert_eq!(status.get_details_error_info().unwrap().reason, reason);
}

fn faulty<T>(answer: Result<T, Status>, fields: &[&str]) {
    let status = answer.err().expect("it was not refused");
    let violations = status.get_details_bad_request().unwrap().field_violations;
    assert_eq!(violations.iter().map(|fault| fault.field.as_str()).collect::<Vec<_>>(), fields);
}

#[tokio::test]
async fn each_event_comes_once_and_in_order() {
    let world = World::new().await;
    // More than are read at once.
    let wires: Vec<String> = (0..100).map(|i| format!("wires/w{i:03}")).collect();
    for wire in &wires[..70] {
        world.add(&wire["wires/".len()..], 99).await;
    }
    let mut stream = world.beginning().await;
    let first = next(&mut stream).await.unwrap();
    let json = becket_api::cloud_event::to_json(first.event.as_ref().unwrap());
    assert_eq!((&json["specversion"], &json["id"]), (&"1.0".into(), &"1".into()));
    assert_eq!(json["type"], "becket.wire.added.v1");
    assert_eq!(json["time"], "1970-01-05T03:00:00Z");
    assert_eq!(json["data"], serde_json::json!({ "wireId": "w000" }));
    assert!(!json.to_string().contains("ann") && !json.to_string().contains("10.1.2.3"));
    let (subjects, token) = caught_up(&mut stream).await;
    assert_eq!(subjects, wires[1..70]);
    for wire in &wires[70..] {
        world.add(&wire["wires/".len()..], 99).await;
    }
    let mut live = Vec::new();
    while live.len() < 30 {
        live.extend(subject(&next(&mut stream).await.unwrap()));
    }
    assert_eq!(live, wires[70..]);
    // Two readers who come back have the same.
    for _ in 0..2 {
        let mut stream = world.watch(behind(&token)).await.unwrap();
        assert_eq!(caught_up(&mut stream).await.0, wires[70..]);
    }
    let mut stream = world.watch(behind(&first.resume_token)).await.unwrap();
    assert_eq!(caught_up(&mut stream).await.0, wires[1..]);
    let mut stream = world.watch(from(StartPosition::Now)).await.unwrap();
    assert_eq!(caught_up(&mut stream).await.0, [] as [&str; 0]);
    world.add("new", 99).await;
    assert_eq!(subject(&next(&mut stream).await.unwrap()).unwrap(), "wires/new");
}

#[tokio::test]
async fn filters_are_part_of_the_token() {
    let world = World::new().await;
    for wire in ["a1", "b1", "a2"] {
        world.add(wire, 99).await;
    }
    let types = vec!["becket.wire.added.v1".to_owned()];
    let filtered = |token: &str, prefix: &str| WatchEventsRequest {
        types: types.clone(),
        subject_prefix: prefix.to_owned(),
        start_position: i32::from(token.is_empty()),
        resume_token: token.to_owned(),
    };
    let mut stream = world.watch(filtered("", "wires/a")).await.unwrap();
    let (subjects, token) = caught_up(&mut stream).await;
    assert_eq!(subjects, ["wires/a1", "wires/a2"]);
    assert!(world.watch(filtered(&token, "wires/a")).await.is_ok());
    faulty(world.watch(filtered(&token, "wires/b")).await, &["resume_token"]);
    faulty(world.watch(behind(&token)).await, &["resume_token"]);
    let mut changed = token.clone();
    changed.replace_range(9..10, if token.get(9..10) == Some("A") { "B" } else { "A" });
    faulty(world.watch(filtered(&changed, "wires/a")).await, &["resume_token"]);
}

#[tokio::test]
async fn senseless_requests_are_refused() {
    let world = World::new().await;
    faulty(world.watch(WatchEventsRequest::default()).await, &["start_position"]);
    let both = WatchEventsRequest { resume_token: "x".to_owned(), ..from(StartPosition::Now) };
    faulty(world.watch(both).await, &["start_position"]);
    let other = WatchEventsRequest { start_position: 9, types: vec!["x".to_owned()], ..Default::default() };
    faulty(world.watch(other).await, &["types[0]", "start_position"]);
}

#[tokio::test]
async fn what_is_past_retention_is_told_as_such() {
    let world = World::new().await;
    // It is hour 100, and events are told for 10 hours.
    for (wire, hour) in [("a", 80), ("b", 89), ("c", 91), ("d", 99)] {
        world.add(wire, hour).await;
    }
    let mut stream = world.beginning().await;
    let third = next(&mut stream).await.unwrap();
    assert_eq!(subject(&third).unwrap(), "wires/c");
    assert_eq!(caught_up(&mut stream).await.0, ["wires/d"]);
    // Two hours later "c" is no longer told, which concerns whoever has not seen it.
    world.clock.advance_us(2 * HOUR_US);
    let mut stream = world.watch(behind(&third.resume_token)).await.unwrap();
    assert_eq!(caught_up(&mut stream).await.0, ["wires/d"]);
    let mut stream = world.beginning().await;
    let (subjects, token) = caught_up(&mut stream).await;
    assert_eq!(subjects, ["wires/d"]);
    world.clock.advance_us(10 * HOUR_US);
    refused(world.watch(behind(&third.resume_token)).await, Code::OutOfRange, "RESUME_TOKEN_EXPIRED");
    assert!(world.watch(behind(&token)).await.is_ok(), "nothing behind it is missing");
}

/// The same key, as in a restored backup, and another history behind it.
#[tokio::test]
async fn a_token_of_another_history_is_told_as_such() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let open = async |name: &str| {
        SqliteStore::open(&path(name), becket_store_sqlite::OpenMode::OpenOrCreate).await.unwrap()
    };
    open("a.db").await.close().await;
    std::fs::copy(path("a.db"), path("b.db")).unwrap();
    let (a, b) = (World::with(open("a.db").await, LONG).await, World::with(open("b.db").await, LONG).await);
    a.add("a1", 99).await;
    a.add("a2", 99).await;
    let mut stream = a.beginning().await;
    let first = next(&mut stream).await.unwrap().resume_token;
    let second = next(&mut stream).await.unwrap().resume_token;
    b.add("b1", 99).await;
    for token in [first, second] {
        assert!(a.watch(behind(&token)).await.is_ok());
        refused(b.watch(behind(&token)).await, Code::OutOfRange, "RESUME_TOKEN_EXPIRED");
    }
}

#[tokio::test]
async fn a_reader_that_rests_is_cut_off_and_resumes() {
    let world = World::new().await;
    let mut stream = world.beginning().await;
    let (_, token) = caught_up(&mut stream).await;
    // More than connection and server hold between them.
    let count = 20_000;
    let wires: Vec<String> = (0..count).map(|i| format!("w{i:05}")).collect();
    let document = |id: &str| Document { bytes: id.as_bytes().to_vec(), json: "{}".to_owned() };
    let new = |id: &String| NewWire { wire_id: id.clone(), material: 1, document: document(id) };
    let ctx = WriteContext {
        method: "becket.stringing.v1.WireService/ImportWires",
        request_id: "many".to_owned(),
        request_digest: [0; 32],
        actor: String::new(),
        origin: String::new(),
        now_us: 99 * HOUR_US,
    };
    world.store.import_wires(&ctx, wires.iter().map(new).collect(), Box::new(|_| Vec::new())).await.unwrap();
    tokio::time::sleep(Duration::from_secs(3)).await;
    let (mut seen, mut last) = (Vec::new(), token);
    let status = loop {
        match next(&mut stream).await {
            Ok(message) => {
                seen.extend(subject(&message));
                last = message.resume_token;
            }
            Err(status) => break status,
        }
    };
    assert!(!seen.is_empty() && seen.len() < count, "{} of {count} events were held", seen.len());
    refused::<()>(Err(status), Code::Aborted, "READER_TOO_SLOW");
    let mut stream = world.watch(behind(&last)).await.unwrap();
    seen.extend(caught_up(&mut stream).await.0);
    let told: Vec<&str> = seen.iter().map(|subject| &subject["wires/".len()..]).collect();
    assert_eq!(told, wires);
}

#[tokio::test]
async fn streams_end_when_the_server_stops() {
    let world = World::new().await;
    let mut stream = world.beginning().await;
    caught_up(&mut stream).await;
    world.shutdown.cancel();
    refused(next(&mut stream).await, Code::Unavailable, "OVERLOADED");
}
