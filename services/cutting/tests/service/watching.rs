//! Following a list.

use std::time::Duration;

use becket_api::cutting::{CutListState, FinishCutListRequest, WatchCutListRequest, WatchCutListResponse};
use tonic::{Code, Status, Streaming};
use tonic_types::StatusExt;

use crate::world::{PIECES, World, assert_faults, assert_refused};

/// Generous: a busy machine is not a fault.
const LONG: Duration = Duration::from_secs(30);

async fn watch(world: &World, resume_token: &str) -> Result<Streaming<WatchCutListResponse>, Status> {
    let (list_id, resume_token) = ("L-0001".to_owned(), resume_token.to_owned());
    let request = WatchCutListRequest { list_id, resume_token };
    Ok(world.lists().watch_cut_list(request).await?.into_inner())
}

async fn next(stream: &mut Streaming<WatchCutListResponse>) -> Result<Option<WatchCutListResponse>, Status> {
    tokio::time::timeout(LONG, stream.message()).await.expect("the stream says nothing")
}

#[tokio::test]
async fn a_watcher_sees_the_state_at_once_and_each_change_until_the_end() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let mut stream = watch(&world, "").await.unwrap();
    let first = next(&mut stream).await.unwrap().unwrap();
    assert_eq!(
        (first.state(), first.pieces_pending, first.heartbeat),
        (CutListState::Planned, PIECES, false)
    );
    assert_eq!(first.next.unwrap().step_number, 1);
    world.begin("L-0001").await.unwrap();
    assert_eq!(next(&mut stream).await.unwrap().unwrap().state(), CutListState::Running);
    world.confirm("L-0001", 1, 3).await.unwrap();
    let third = next(&mut stream).await.unwrap().unwrap();
    assert_eq!((third.pieces_done, third.next.unwrap().step_number), (2, 4));

    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), give_up_pending: true };
    world.lists().finish_cut_list(request).await.unwrap();
    let last = next(&mut stream).await.unwrap().unwrap();
    assert_eq!((last.state(), last.next), (CutListState::Finished, None));
    assert_eq!(next(&mut stream).await.unwrap(), None, "the list has ended, and so has the stream");
}

#[tokio::test]
async fn a_watcher_goes_on_where_it_was() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let token = next(&mut watch(&world, "").await.unwrap()).await.unwrap().unwrap().resume_token;
    let mut same = watch(&world, &token).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let news = next(&mut same).await.unwrap().unwrap();
    assert_eq!(news.state(), CutListState::Running, "the state that it knew is not sent again");
    world.confirm("L-0001", 1, 1).await.unwrap();
    // Across a restart, too; the state in between is not made up for.
    let world = world.restart().await;
    let mut stream = watch(&world, &token).await.unwrap();
    assert_eq!(next(&mut stream).await.unwrap().unwrap().next.unwrap().step_number, 2);

    assert_faults(watch(&world, "made up").await, &["resume_token"]);
    let unknown = WatchCutListRequest { list_id: "L-0404".to_owned(), resume_token: String::new() };
    assert_refused(world.lists().watch_cut_list(unknown).await, Code::NotFound, "NOT_FOUND");
    let mut other = token.clone();
    other.replace_range(5..6, if token.get(5..6) == Some("A") { "B" } else { "A" });
    assert_faults(watch(&world, &other).await, &["resume_token"]);
}

/// The versions that a stream tells until one is reached, and the last token.
async fn versions_until(stream: &mut Streaming<WatchCutListResponse>, last: i64) -> (Vec<i64>, String) {
    let mut versions = Vec::new();
    loop {
        let message = next(stream).await.unwrap().unwrap();
        versions.extend(message.changes.iter().map(|change| change.list_version));
        if versions.last().is_some_and(|version| *version >= last) {
            return (versions, message.resume_token);
        }
    }
}

#[tokio::test]
async fn each_change_is_told_once_and_in_order_over_breaks() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let mut stream = watch(&world, "").await.unwrap();
    let first = next(&mut stream).await.unwrap().unwrap();
    assert_eq!(first.changes, [], "what was before the stream is in the state");
    world.begin("L-0001").await.unwrap();
    for step in 1..=3 {
        world.confirm("L-0001", step, 1).await.unwrap();
    }
    // Version 1 is the plan.
    let (told, token) = versions_until(&mut stream, 3).await;
    assert_eq!(told[..2], [2, 3]);
    drop(stream);
    let here = told.last().unwrap() + 1;
    world.confirm("L-0001", 4, 1).await.unwrap();
    let world = world.restart().await;
    world.confirm("L-0001", 5, 1).await.unwrap();
    let mut stream = watch(&world, &token).await.unwrap();
    assert_eq!(versions_until(&mut stream, 7).await.0, (here..=7).collect::<Vec<_>>());
    // The same token again tells the same again: whoever lost what came behind it loses no change.
    let mut stream = watch(&world, &token).await.unwrap();
    let message = next(&mut stream).await.unwrap().unwrap();
    let methods: Vec<&str> = message.changes.iter().map(|change| change.method.as_str()).collect();
    let versions = message.changes.iter().map(|change| change.list_version);
    assert_eq!(versions.collect::<Vec<_>>(), (here..=7).collect::<Vec<_>>());
    assert!(methods.iter().all(|method| method.ends_with("/ConfirmStep")), "{methods:?}");
    // Those that end a list, too.
    let request =
        FinishCutListRequest { request_id: world.id(), list_id: "L-0001".to_owned(), give_up_pending: true };
    world.lists().finish_cut_list(request).await.unwrap();
    assert_eq!(versions_until(&mut stream, 8).await.0, [8]);
    assert_eq!(next(&mut stream).await.unwrap(), None);
    let mut late = watch(&world, &token).await.unwrap();
    assert_eq!(versions_until(&mut late, 8).await.0, (here..=8).collect::<Vec<_>>());
    assert_eq!(next(&mut late).await.unwrap(), None);
}

#[tokio::test]
async fn a_slow_reader_gets_the_latest_state() {
    let world = World::with_jobs(&["S-1"]).await;
    let steps = i32::try_from(world.plan(&["S-1"]).await.unwrap().steps.len()).unwrap();
    world.begin("L-0001").await.unwrap();
    let mut stream = watch(&world, "").await.unwrap();
    next(&mut stream).await.unwrap().unwrap();
    for step_number in 1..=steps {
        world.confirm("L-0001", step_number, 1).await.unwrap();
    }
    let mut messages = 0;
    loop {
        messages += 1;
        let message = next(&mut stream).await.unwrap().unwrap();
        if message.next.is_none() {
            assert_eq!(message.pieces_done, PIECES);
            break;
        }
    }
    assert!(messages <= steps, "{messages} messages for {steps} changes");
}

#[tokio::test]
async fn streams_end_when_the_server_stops() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let mut stream = watch(&world, "").await.unwrap();
    next(&mut stream).await.unwrap().unwrap();
    world.shutdown().cancel();
    let status = next(&mut stream).await.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(status.get_details_error_info().unwrap().reason, "OVERLOADED");
    world.stop().await;
}
