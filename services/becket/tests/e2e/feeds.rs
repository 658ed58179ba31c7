//! Streams that do not lose: readers of the feed and watchers of a list at two replicas, over breaks, kills and writes that take long.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use becket_api::cloud_event::to_json;
use becket_api::cutting::{WatchCutListRequest, WatchCutListResponse};
use becket_api::feed::{
    CreateWebhookRequest, StartPosition, WatchEventsRequest, WatchEventsResponse, Webhook,
};
use becket_e2e::receiver::Receiver;
use becket_e2e::{Server, Shop, reason};
use tokio::task::{JoinHandle, JoinSet};
use tonic::{Code, Status, Streaming};

use crate::concurrency::job;
use crate::replicas::{Replicas, confirm, printed, running_list, two};
use crate::{Fresh, binary, data};

/// Generous: a busy machine is not a fault.
const LONG: Duration = Duration::from_secs(60);

async fn next<T>(stream: &mut Streaming<T>) -> Result<T, Status> {
    let message = tokio::time::timeout(LONG, stream.message()).await.expect("the stream says nothing")?;
    message.ok_or_else(|| Status::unavailable("the stream has ended"))
}

/// An event as these tests compare it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    sequence: i64,
    subject: String,
}

fn seen(message: &WatchEventsResponse) -> Option<Seen> {
    let json = to_json(message.event.as_ref()?);
    let text = |name: &str| json[name].as_str().unwrap().to_owned();
    Some(Seen { sequence: text("id").parse().unwrap(), subject: text("subject") })
}

async fn open(url: &str, token: &str) -> Result<Streaming<WatchEventsResponse>, Status> {
    let mut shop = Shop::connect(url).await.map_err(|error| Status::unavailable(error.to_string()))?;
    let start = if token.is_empty() { StartPosition::Beginning } else { StartPosition::Unspecified };
    let request = WatchEventsRequest {
        resume_token: token.to_owned(),
        start_position: start.into(),
        ..WatchEventsRequest::default()
    };
    Ok(shop.feed.watch_events(request).await?.into_inner())
}

/// Reads the feed until the last event, `every` events at one replica and then on at the next one.
async fn wander(urls: Vec<String>, every: usize, last: &str) -> Vec<Seen> {
    let (mut events, mut token, mut at) = (Vec::new(), String::new(), 0);
    loop {
        at += 1;
        let mut left = every;
        let mut stream = open(&urls[at % urls.len()], &token).await.unwrap();
        while left > 0 {
            let Ok(message) = next(&mut stream).await else { break };
            if let Some(event) = seen(&message) {
                let ended = event.subject == last;
                events.push(event);
                if ended {
                    return events;
                }
                left -= 1;
            }
            token = message.resume_token;
        }
    }
}

/// What the journal says that a reader must have seen.
async fn told(shop: &mut Shop) -> Vec<Seen> {
    let kinds = ["wires/", "jobs/", "coils/", "cutLists/", "windingOrders/"];
    let entries = shop.all_entries().await.unwrap();
    entries
        .into_iter()
        .filter(|entry| {
            let released = entry.method.ends_with("/ReleaseScale");
            released || kinds.iter().any(|kind| entry.subject.starts_with(kind))
        })
        .map(|entry| Seen { sequence: entry.sequence, subject: entry.subject })
        .collect()
}

/// A write that begins now, holds its place for a while and is committed late.
fn slow_write(replicas: &Arc<Replicas>, number: usize, seconds: f32) -> JoinHandle<()> {
    let replicas = Arc::clone(replicas);
    tokio::task::spawn_blocking(move || {
        replicas.sql(&format!(
            "BEGIN; INSERT INTO journal_inbox (entry_us, actor, origin, request_id, method, subject, after_json) VALUES \
             ((extract(epoch FROM now()) * 1000000)::bigint, '', '', '', 'becket.cutting.v1.CoilService/ReceiveCoils', 'coils/slow-{number}', '{{}}'); \
             SELECT pg_sleep({seconds}); COMMIT"
        ));
    })
}

/// Jobs are opened at both replicas, one after the other at each, until they are told to stop. Returns how many.
fn open_jobs(shops: [Shop; 2], stop: &Arc<AtomicBool>) -> JoinSet<usize> {
    let mut writers = JoinSet::new();
    for (writer, mut shop) in shops.into_iter().enumerate() {
        let stop = Arc::clone(stop);
        writers.spawn(async move {
            let mut opened = 0;
            while !stop.load(Ordering::SeqCst) {
                let mut job = job(opened);
                job.serial_id = format!("F-{writer}-{opened:04}");
                shop.open_job(job).await.unwrap();
                opened += 1;
            }
            opened
        });
    }
    writers
}

/// Writes that began early and are committed late stand behind what was committed meanwhile, and no reader passes over them, at whichever
/// replica it reads.
#[tokio::test(flavor = "multi_thread")]
async fn a_reader_never_skips_an_event() {
    const SLOW: usize = 4;
    let replicas = Arc::new(Replicas::new());
    replicas.migrate();
    let [(a, mut shop), (b, other)] = two(&replicas).await;
    shop.load().await.unwrap();
    let urls = [&a, &b].map(|server| server.url().to_owned());
    let mut readers = JoinSet::new();
    for (reader, every) in [usize::MAX, usize::MAX, 7, 23].into_iter().enumerate() {
        let mut urls = urls.to_vec();
        urls.rotate_left(reader % 2);
        readers.spawn(wander(urls, every, "jobs/F-last"));
    }
    let stop = Arc::new(AtomicBool::new(false));
    let writers = open_jobs([shop.clone(), other.clone()], &stop);
    for number in 0..SLOW {
        let slow = slow_write(&replicas, number, 1.5);
        tokio::time::sleep(Duration::from_millis(400)).await;
        if number % 2 == 1 {
            slow.await.unwrap();
        }
    }
    tokio::time::sleep(Duration::from_secs(2)).await;
    stop.store(true, Ordering::SeqCst);
    let opened: usize = writers.join_all().await.into_iter().sum();
    let mut last = job(0);
    last.serial_id = "F-last".to_owned();
    shop.open_job(last).await.unwrap();

    let expected = told(&mut shop).await;
    let place = |subject: &str| expected.iter().position(|event| event.subject == subject).unwrap();
    for number in 0..SLOW {
        // Something was committed while it slept, and stands before it.
        assert!(place(&format!("coils/slow-{number}")) > place("jobs/F-0-0000"), "{number}");
    }
    assert!(opened > 20, "only {opened} jobs");
    for events in readers.join_all().await {
        assert_eq!(events, expected);
    }
}

/// Reads what a watcher is told until the list has this version, or the stream breaks.
async fn versions(
    stream: &mut Streaming<WatchCutListResponse>,
    told: &mut Vec<i64>,
    token: &mut String,
    until: impl Fn(&[i64]) -> bool,
) -> Result<(), Status> {
    while !until(told) {
        let message = next(stream).await?;
        told.extend(message.changes.iter().map(|change| change.list_version));
        *token = message.resume_token;
    }
    Ok(())
}

async fn watch(server: &Server, list_id: &str, token: &str) -> Streaming<WatchCutListResponse> {
    let mut shop = Shop::connect(server.url()).await.unwrap();
    let request = WatchCutListRequest { list_id: list_id.to_owned(), resume_token: token.to_owned() };
    shop.lists.watch_cut_list(request).await.unwrap().into_inner()
}

/// A watcher reads at one replica, leaves in mid-stream and goes on at the other, which is killed under it, and ends at a third one. Every version of
/// the list is told once and in order.
#[tokio::test(flavor = "multi_thread")]
async fn a_watcher_of_a_list_misses_nothing_over_breaks_and_kills() {
    const STEPS: i32 = 60;
    let replicas = Replicas::new();
    replicas.migrate();
    let [(a, mut shop), (b, _)] = two(&replicas).await;
    shop.load().await.unwrap();
    let (list_id, _) = running_list(&mut shop).await;
    let mut stream = watch(&a, &list_id, "").await;
    let mut token = next(&mut stream).await.unwrap().resume_token;
    let cutter = tokio::spawn({
        let (shop, list_id) = (shop.clone(), list_id.clone());
        async move {
            let mut lists = shop.lists.clone();
            for step in 1..=STEPS {
                lists.confirm_step(confirm(&shop, &list_id, step, 1)).await.unwrap();
            }
        }
    });
    let mut told = Vec::new();
    versions(&mut stream, &mut told, &mut token, |told| told.len() >= 10).await.unwrap();
    drop(stream);
    let mut stream = watch(&b, &list_id, &token).await;
    versions(&mut stream, &mut told, &mut token, |told| told.len() >= 25).await.unwrap();
    b.kill();
    // What was under way may still come; then it breaks.
    let broken = versions(&mut stream, &mut told, &mut token, |told| told.len() > 1000).await;
    assert!(broken.is_err());
    let c = replicas.serve("c");
    let mut stream = watch(&c, &list_id, &token).await;
    // The plan is version 1, the start version 2.
    let last = i64::from(STEPS) + 2;
    versions(&mut stream, &mut told, &mut token, |told| told.last() == Some(&last)).await.unwrap();
    cutter.await.unwrap();
    assert_eq!(told, (3..=last).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stopping_replica_sends_its_readers_to_the_other() {
    let replicas = Replicas::new();
    replicas.migrate();
    let [(a, mut shop), (b, _)] = two(&replicas).await;
    shop.load().await.unwrap();
    let mut stream = open(a.url(), "").await.unwrap();
    let mut token = next(&mut stream).await.unwrap().resume_token;
    let stopping = tokio::task::spawn_blocking(move || a.stop());
    let status = loop {
        match next(&mut stream).await {
            Ok(message) => token = message.resume_token,
            Err(status) => break status,
        }
    };
    assert_eq!((status.code(), reason(&status).as_deref()), (Code::Unavailable, Some("OVERLOADED")));
    assert!(stopping.await.unwrap().success());
    assert!(open(b.url(), &token).await.is_ok());
}

/// The verb as an ERP's script uses it: JSON in lines, and a file that keeps the place.
#[tokio::test(flavor = "multi_thread")]
async fn the_verb_prints_each_event_once_over_starts() {
    let (fresh, mut shop) = Fresh::with_demo().await;
    let position = fresh.folder.path().join("erp.position");
    let feed = |more: &[&str]| {
        let mut command = std::process::Command::new(binary());
        command.args([
            "feed",
            "--from",
            "beginning",
            "--until-now",
            "--json",
            "--server",
            fresh.server.url(),
        ]);
        command.arg("--position").arg(&position).args(more);
        printed(&command.output().unwrap())
    };
    let ids = |text: &str| -> Vec<i64> {
        let of = |line: &str| {
            let event: serde_json::Value = serde_json::from_str(line).unwrap();
            assert_eq!(event["specversion"], "1.0");
            event["id"].as_str().unwrap().parse().unwrap()
        };
        text.lines().map(of).collect()
    };
    let mut all = ids(&feed(&[]));
    assert_eq!(feed(&[]), "");
    let (list_id, _) = running_list(&mut shop).await;
    shop.lists.confirm_step(confirm(&shop, &list_id, 1, 3)).await.unwrap();
    let more = feed(&[]);
    assert!(more.contains("becket.cut_list.steps_confirmed.v1") && more.contains("\"cutPieces\""), "{more}");
    all.extend(ids(&more));
    let expected: Vec<i64> = told(&mut shop).await.into_iter().map(|event| event.sequence).collect();
    assert_eq!(all, expected);
    assert!(data(&fresh.folder).exists());
}

/// A job's subject.
fn subject(number: usize) -> String {
    format!("jobs/W-{number:03}")
}

/// Two replicas, one of which tells; whichever is killed, the other takes over, and the receiver misses nothing and has first sights in order.
#[tokio::test(flavor = "multi_thread")]
async fn a_receiver_is_told_everything_though_the_teller_is_killed() {
    const JOBS: usize = 30;
    let replicas = Replicas::with("[webhooks]\nfirst_pause = \"50ms\"\nlongest_pause = \"200ms\"\n");
    replicas.migrate();
    let [(a, mut shop), (b, _)] = two(&replicas).await;
    shop.load().await.unwrap();
    let mut receiver = Receiver::start().await;
    let request = CreateWebhookRequest {
        request_id: shop.request_id(),
        webhook: Some(Webhook { webhook_id: "erp".into(), url: receiver.url(), ..Webhook::default() }),
        secret: "0123456789abcdef0123456789abcdef".into(),
    };
    shop.webhooks.create_webhook(request).await.unwrap();
    let mut servers = vec![a, b];
    let mut seen: Vec<String> = Vec::new();
    let mut sent = 0;
    for round in 0..3 {
        let mut shop = Shop::connect(servers.last().unwrap().url()).await.unwrap();
        for _ in 0..JOBS / 3 {
            let mut job = job(sent);
            job.serial_id = subject(sent)["jobs/".len()..].to_owned();
            shop.open_job(job).await.unwrap();
            sent += 1;
        }
        // Killed in the midst of telling, and another one comes.
        let until = sent.min(JOBS / 3 * round + 4);
        while seen.len() < until {
            let posted = receiver.next(LONG).await.expect("nothing is told any more").subject();
            if !seen.contains(&posted) {
                seen.push(posted);
            }
        }
        servers.remove(0).kill();
        servers.push(replicas.serve(&format!("more-{round}")));
    }
    while seen.len() < JOBS {
        let posted = receiver.next(LONG).await.expect("nothing is told any more").subject();
        if !seen.contains(&posted) {
            seen.push(posted);
        }
    }
    assert_eq!(seen, (0..JOBS).map(subject).collect::<Vec<_>>());
}
