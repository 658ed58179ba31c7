//! A batch of 10 000 serials takes bounded memory of the server, whether it is read fast or slowly.

use std::time::Duration;

use becket_api::stringing::compute_job_sets_response::Result as Outcome;
use becket_api::stringing::{ComputeJobSetsRequest, ComputeJobSetsResponse, Job};
use becket_e2e::raw::RawCodec;
use becket_e2e::{Shop, demo};
use http::uri::PathAndQuery;
use prost::Message as _;
use prost::bytes::Bytes;
use tonic::Request;
use tonic::client::Grpc;

use crate::Fresh;

const SERIALS: usize = 10_000;
/// Jobs that are opened; the batch names each of them again and again.
const JOBS: usize = 50;
/// Messages that the slow reader reads, and how long it rests before each.
const SLOW: (usize, Duration) = (40, Duration::from_millis(50));

/// Most by which the peak of the server's memory may rise over what it holds before.
///
/// At any time a batch holds 16 sets that are computed or wait (`AHEAD`), each as a message of some 240 strings and pieces, at most
/// five times the 72 kB that it is encoded: 6 MB. The transport holds one encoded message and at most 64 kB beyond the reader's
/// window. Names of the serials take 1 MB. The rest is for the allocator, which keeps arenas for each thread. The whole answer has some 700
/// MB, so a server that did not wait for its reader would be far above.
const BOUND_BYTES: u64 = 48 << 20;

/// A server with the jobs of the batch, and its request.
async fn shop() -> (Fresh, Shop, ComputeJobSetsRequest) {
    let (fresh, mut shop) = Fresh::with_demo().await;
    let model = demo::jobs().unwrap().into_iter().find(|job| job.model_id.starts_with("concert")).unwrap();
    let serial = |number: usize| format!("B-{:03}", number % JOBS);
    for number in 0..JOBS {
        shop.open_job(Job { serial_id: serial(number), ..model.clone() }).await.unwrap();
    }
    let request = ComputeJobSetsRequest { serial_ids: (0..SERIALS).map(serial).collect(), view: None };
    // Whatever every server takes for its first sets is there before.
    let few = ComputeJobSetsRequest { serial_ids: request.serial_ids[..100].to_vec(), view: None };
    read(&mut shop, few, usize::MAX, Duration::ZERO).await;
    (fresh, shop, request)
}

/// Reads up to so many messages, each after a rest; how many there were and their bytes. They are not decoded, which would
/// take the reader longer than the server takes to compute them, but the first is, and all must be about as long.
async fn read(
    shop: &mut Shop,
    request: ComputeJobSetsRequest,
    most: usize,
    rest: Duration,
) -> (usize, usize) {
    let mut grpc = Grpc::new(shop.stringing.clone()).max_decoding_message_size(1 << 20);
    grpc.ready().await.unwrap();
    let path = PathAndQuery::from_static("/becket.stringing.v1.StringSetService/ComputeJobSets");
    let request = Request::new(Bytes::from(request.encode_to_vec()));
    let mut stream = grpc.server_streaming(request, path, RawCodec).await.unwrap().into_inner();
    let (mut messages, mut bytes) = (0, 0);
    while messages < most {
        tokio::time::sleep(rest).await;
        let Some(answer) = stream.message().await.unwrap() else { break };
        if messages == 0 {
            let first = ComputeJobSetsResponse::decode(Bytes::clone(&answer)).unwrap();
            assert!(matches!(first.result, Some(Outcome::StringSet(_))), "{first:?}");
        }
        assert!(answer.len() > 50_000, "a set has some 72 kB, and this message {} bytes", answer.len());
        messages += 1;
        bytes += answer.len();
    }
    (messages, bytes)
}

#[tokio::test]
async fn a_batch_that_is_read_fast_takes_bounded_memory() {
    let (fresh, mut shop, request) = shop().await;
    let before = fresh.server.peak_from_now();
    let (messages, bytes) = read(&mut shop, request, usize::MAX, Duration::ZERO).await;
    let rise = fresh.server.peak_bytes().saturating_sub(before);
    println!("read fast: {bytes} bytes in {messages} sets; the peak rose by {rise} bytes from {before}");
    assert_eq!(messages, SERIALS);
    assert!(u64::try_from(bytes).unwrap() > 10 * BOUND_BYTES, "the batch is too small to show anything");
    assert!(rise < BOUND_BYTES, "the peak rose by {rise} bytes from {before}");
}

#[tokio::test]
async fn a_batch_that_is_read_slowly_waits_for_its_reader() {
    let (fresh, mut shop, request) = shop().await;
    let before = fresh.server.peak_from_now();
    let (messages, _) = read(&mut shop, request, SLOW.0, SLOW.1).await;
    let rise = fresh.server.peak_bytes().saturating_sub(before);
    println!("read slowly: {messages} sets; the peak rose by {rise} bytes from {before}");
    assert_eq!(messages, SLOW.0);
    assert!(rise < BOUND_BYTES, "the peak rose by {rise} bytes from {before}");
}
