//! Every method of the API, as its descriptors list them, with empty, random and senseless requests.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use becket_api::errors::ErrorReason;
use becket_e2e::random::{Random, message};
use becket_e2e::raw::{Method, RawClient, methods};
use becket_e2e::{Shop, reason};
use prost::Message as _;
use prost::bytes::Bytes;
use prost_reflect::DynamicMessage;
use tonic::{Code, Status};

use crate::Fresh;

/// Methods that the API had when this was written. New ones are met here by themselves; fewer would mean that the
/// descriptors were not read.
const METHODS: usize = 50;

/// Longest time for an answer, whatever the request.
const PROMPT: Duration = Duration::from_secs(5);

/// Refuses what no caller may ever see: INTERNAL, UNKNOWN, a code without a reason of ours, a reason that has no page.
fn check_proper(method: &Method, status: &Status) {
    let shown = format!("{}: {status:?}", method.path);
    let improper = [Code::Internal, Code::Unknown, Code::DataLoss, Code::Unimplemented];
    assert!(!improper.contains(&status.code()), "{shown}");
    let reason = reason(status).unwrap_or_else(|| panic!("no reason: {shown}"));
    let known = ErrorReason::from_str_name(&format!("ERROR_REASON_{reason}"));
    assert!(known.is_some_and(|known| known != ErrorReason::Unspecified), "unknown reason: {shown}");
    assert!(!status.message().is_empty(), "no text: {shown}");
}

async fn answer(client: &RawClient, method: &Method, body: Bytes) -> Result<Bytes, Status> {
    let call = client.call(method, body, None);
    match tokio::time::timeout(PROMPT, call).await {
        Ok(answer) => answer,
        Err(_) => panic!("{} did not answer within {PROMPT:?}", method.path),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_request_gets_a_proper_answer_at_once() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let client = RawClient::new(fresh.server.url()).unwrap();
    let methods = methods().unwrap();
    assert!(methods.len() >= METHODS, "only {} methods", methods.len());
    let mut refused = 0;
    for method in &methods {
        let begin = Instant::now();
        let answered = answer(&client, method, Bytes::new()).await;
        assert!(begin.elapsed() < PROMPT, "{} took {:?}", method.path, begin.elapsed());
        match answered {
            Ok(bytes) => {
                let lists = method.path.rsplit('/').next().unwrap().starts_with("List");
                assert!(lists, "{} accepts a request that says nothing", method.path);
                DynamicMessage::decode(method.answer.clone(), bytes).unwrap();
            }
            Err(status) => {
                refused += 1;
                check_proper(method, &status);
            }
        }
    }
    assert!(refused > 25, "only {refused} methods refuse an empty request");
}

/// Calls each method with requests made by `make`, and returns how often each code was answered.
async fn storm(
    url: &str,
    rounds: usize,
    seed: u64,
    make: impl Fn(&Method, &mut Random) -> Bytes,
) -> BTreeMap<String, usize> {
    let client = RawClient::new(url).unwrap();
    let mut random = Random::new(seed);
    let mut codes = BTreeMap::new();
    for _ in 0..rounds {
        for method in &methods().unwrap() {
            let body = make(method, &mut random);
            let code = match answer(&client, method, body).await {
                Ok(_) => Code::Ok,
                Err(status) => {
                    check_proper(method, &status);
                    status.code()
                }
            };
            *codes.entry(format!("{code:?}")).or_default() += 1;
        }
    }
    codes
}

/// The server is as well as before: it answers, says so, and has written no fault to its log.
async fn check_healthy(fresh: &Fresh) {
    let mut shop = Shop::connect(fresh.server.url()).await.unwrap();
    let request = becket_api::stringing::GetStringSetRequest { serial_id: "C27-0107".into() };
    let set = shop.sets.get_string_set(request).await.unwrap().into_inner().string_set.unwrap();
    assert_eq!(set.totals.unwrap().strings, 236);
    let log = fresh.server.log();
    assert!(!log.contains("ERROR") && !log.contains("panicked"), "{log}");
}

/// Requests whose fields are set at random.
pub(crate) async fn random_storm(url: &str, rounds: usize) {
    let codes =
        storm(url, rounds, 7, |method, random| message(&method.request, random).encode_to_vec().into()).await;
    assert!(codes.contains_key("Ok") && codes.contains_key("InvalidArgument"), "{codes:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn random_requests_are_answered_or_refused_properly() {
    let (fresh, _shop) = Fresh::with_demo().await;
    random_storm(fresh.server.url(), 30).await;
    check_healthy(&fresh).await;
}

/// Either bytes without sense, or a sound message with a few bytes changed.
fn damaged(method: &Method, random: &mut Random) -> Bytes {
    if random.once_in(3) {
        return random.bytes(400).into();
    }
    let mut bytes = message(&method.request, random).encode_to_vec();
    for _ in 0..=random.below(4) {
        let at = random.below(bytes.len());
        if let Some(byte) = bytes.get_mut(at) {
            *byte = random.number().to_le_bytes()[0];
        }
    }
    bytes.into()
}

/// Rounds through all methods before and while memory is watched, half of them with random fields and half with damaged bytes.
const ROUNDS: (usize, usize) = (20, 80);
/// Most by which the memory that the server holds may rise while it is watched. A kilobyte that is kept of each request would be 8 MB; the
/// rest is for the database's pages, of which some stay in memory, and for the allocator.
const GROWTH_BYTES: u64 = 12 << 20;

#[tokio::test(flavor = "multi_thread")]
async fn hostile_requests_leave_nothing_in_memory() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let storms = async |rounds: usize, seed: u64| {
        let url = fresh.server.url();
        let random =
            |method: &Method, random: &mut Random| message(&method.request, random).encode_to_vec().into();
        let first = storm(url, rounds / 2, seed, random).await;
        let second = storm(url, rounds / 2, seed + 1, damaged).await;
        first.values().chain(second.values()).sum::<usize>()
    };
    storms(ROUNDS.0, 100).await;
    let before = fresh.server.resident_bytes();
    let requests = storms(ROUNDS.1, 200).await;
    let after = fresh.server.resident_bytes();
    let mb = |bytes: u64| bytes / 1_000_000;
    println!("{requests} hostile requests: {} MB before, {} MB after", mb(before), mb(after));
    assert!(requests >= METHODS * ROUNDS.1, "{requests}");
    assert!(after < before + GROWTH_BYTES, "{} MB before, {} MB after", mb(before), mb(after));
    check_healthy(&fresh).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn arbitrary_bytes_are_refused_properly() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let codes = storm(fresh.server.url(), 20, 11, damaged).await;
    assert!(codes.contains_key("InvalidArgument"), "{codes:?}");
    check_healthy(&fresh).await;
}
