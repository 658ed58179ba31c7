//! Limits of size and time.

use std::time::{Duration, Instant};

use becket_api::cutting::EstimateWireRequest;
use becket_api::stringing::{GetStringSetRequest, ImportWiresRequest, Wire};
use becket_e2e::raw::{Method, RawClient, methods};
use becket_e2e::{demo, reason};
use prost::Message as _;
use prost::bytes::Bytes;
use tonic::Code;

use crate::Fresh;

fn method(name: &str) -> Method {
    methods().unwrap().into_iter().find(|method| method.path.ends_with(name)).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_that_is_too_large_is_refused() {
    let fresh = Fresh::start();
    let client = RawClient::new(fresh.server.url()).unwrap();
    let wire = Wire { title: "x".repeat(5 * 1024 * 1024), ..Wire::default() };
    let request = ImportWiresRequest { request_id: "large".into(), wires: vec![wire], ..Default::default() };
    let import = method("/ImportWires");
    let refused = client.call(&import, request.encode_to_vec().into(), None).await.unwrap_err();
    assert_eq!(refused.code(), Code::ResourceExhausted, "{refused:?}");
    // The connection lives on and takes what is small enough.
    let refused = client.call(&import, Bytes::new(), None).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument, "{refused:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_callers_deadline_is_kept() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let client = RawClient::new(fresh.server.url()).unwrap();
    // A year of both models: more than can be estimated in the time that is given.
    let mut lines = demo::schedule().unwrap();
    lines.iter_mut().for_each(|line| line.count = 60);
    let body: Bytes = EstimateWireRequest { lines, ..Default::default() }.encode_to_vec().into();
    let estimate = method("/EstimateWire");
    for deadline in [Duration::from_millis(1), Duration::from_millis(20)] {
        let begin = Instant::now();
        let refused = client.call(&estimate, body.clone(), Some(deadline)).await.unwrap_err();
        assert_eq!(refused.code(), Code::DeadlineExceeded, "{refused:?}");
        assert_eq!(reason(&refused).as_deref(), Some("DEADLINE"), "{refused:?}");
        assert!(begin.elapsed() < Duration::from_secs(2), "answered after {:?}", begin.elapsed());
    }
    // What was given up does not keep the server from working.
    let body = GetStringSetRequest { serial_id: "C27-0107".into() }.encode_to_vec().into();
    client.call(&method("/GetStringSet"), body, Some(Duration::from_secs(20))).await.unwrap();
}
