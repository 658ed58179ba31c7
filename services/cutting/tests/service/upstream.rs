//! The stringing service is not there, or comes late.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use becket_api::cutting::coil_service_client::CoilServiceClient;
use becket_api::cutting::cut_list_service_client::CutListServiceClient;
use becket_api::cutting::station_service_client::StationServiceClient;
use becket_api::cutting::{ListCoilsRequest, ReceiveCoilsRequest, SaveStationRequest};
use becket_api::journal::ListEntriesRequest;
use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_api::stringing::{ImportWiresRequest, SizeSeries};
use becket_cutting::{Deps, Parts, RunError, run};
use becket_service_kit::SystemClock;
use becket_store_sqlite::{OpenMode, SqliteStore};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Code, Request};
use tonic_types::StatusExt;

use crate::world::{assert_refused, coil, limits, plan_request, station};

/// The cutting service in a process of its own, as far as it knows.
struct Alone {
    channel: Channel,
    /// Where it looks for the stringing service.
    upstream: SocketAddr,
    shutdown: CancellationToken,
    served: JoinHandle<Result<(), RunError>>,
    _directory: TempDir,
}

impl Alone {
    async fn start() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let store =
            SqliteStore::open(&directory.path().join("cutting.db"), OpenMode::CreateNew).await.unwrap();
        // A port that was free a moment ago, and on which nobody listens.
        let upstream = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let shutdown = CancellationToken::new();
        let deps = Deps {
            limits: limits(),
            store: Arc::new(store),
            clock: Arc::new(SystemClock),
            stringing: becket_service_kit::ServiceLink::at(format!("http://{upstream}")),
        };
        let served = tokio::spawn(run(Parts { deps, listener, shutdown: shutdown.clone() }));
        let channel = Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
        Self { channel, upstream, shutdown, served, _directory: directory }
    }

    async fn stop(self) {
        drop(self.channel);
        self.shutdown.cancel();
        self.served.await.unwrap().unwrap();
    }
}

fn receive() -> Request<ReceiveCoilsRequest> {
    let coils = vec![coil("A", "mw-in-16", "lot", 10.0)];
    Request::new(ReceiveCoilsRequest { request_id: "one".to_owned(), coils, validate_only: false })
}

#[tokio::test]
async fn what_needs_it_is_unavailable_and_the_rest_works() {
    let alone = Alone::start().await;
    let mut request = receive();
    request.set_timeout(Duration::from_secs(1));
    let refused = CoilServiceClient::new(alone.channel.clone()).receive_coils(request).await;
    let status = assert_refused(refused, Code::Unavailable, "UPSTREAM_UNAVAILABLE");
    assert!(status.get_details_retry_info().unwrap().retry_delay.is_some());

    let request = SaveStationRequest { request_id: "two".to_owned(), station: Some(station("bench-1")) };
    StationServiceClient::new(alone.channel.clone()).save_station(request).await.unwrap();
    let mut request = Request::new(plan_request(&["S-1"]));
    request.get_mut().validate_only = true;
    request.set_timeout(Duration::from_millis(500));
    let refused = CutListServiceClient::new(alone.channel.clone()).plan_cut_list(request).await;
    assert_refused(refused, Code::Unavailable, "UPSTREAM_UNAVAILABLE");
    let coils = CoilServiceClient::new(alone.channel.clone()).list_coils(ListCoilsRequest::default()).await;
    assert_eq!(coils.unwrap().into_inner().coils, []);
    let mut journal = JournalServiceClient::new(alone.channel.clone());
    let entries = journal.list_entries(ListEntriesRequest::default()).await.unwrap().into_inner().entries;
    let told: Vec<&str> = entries.iter().map(|entry| entry.subject.as_str()).collect();
    assert_eq!(told, ["stations/bench-1"], "it carries its own journal");
    alone.stop().await;
}

#[tokio::test]
async fn a_call_waits_for_it_while_there_is_time() {
    let alone = Alone::start().await;
    let mut request = receive();
    request.set_timeout(Duration::from_secs(30));
    let mut coils = CoilServiceClient::new(alone.channel.clone());
    let waiting = tokio::spawn(async move { coils.receive_coils(request).await });
    let directory = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(&directory.path().join("stringing.db"), OpenMode::CreateNew).await.unwrap();
    let shutdown = CancellationToken::new();
    let parts = becket_stringing::Parts {
        limits: limits(),
        listener: TcpListener::bind(alone.upstream).await.unwrap(),
        store: Arc::new(store),
        clock: Arc::new(SystemClock),
        shutdown: shutdown.clone(),
    };
    let served = tokio::spawn(becket_stringing::run(parts));
    let endpoint = Channel::from_shared(format!("http://{}", alone.upstream)).unwrap();
    let channel = endpoint.connect().await.unwrap();
    let request = ImportWiresRequest {
        request_id: "one".to_owned(),
        standard_series: vec![SizeSeries::Inch.into()],
        ..Default::default()
    };
    WireServiceClient::new(channel.clone()).import_wires(request).await.unwrap();
    // The service may have come up before its wires; then the wire is missing, and the same request may be sent again.
    let answer = match waiting.await.unwrap() {
        Err(status) if status.code() == Code::FailedPrecondition => {
            CoilServiceClient::new(alone.channel.clone()).receive_coils(receive()).await
        }
        answer => answer,
    };
    assert_eq!(answer.unwrap().into_inner().coils.len(), 1);
    drop(channel);
    shutdown.cancel();
    served.await.unwrap().unwrap();
    alone.stop().await;
}

#[tokio::test]
async fn an_address_that_is_none_is_told_at_the_start() {
    let directory = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(&directory.path().join("cutting.db"), OpenMode::CreateNew).await.unwrap();
    let deps = Deps {
        limits: limits(),
        store: Arc::new(store),
        clock: Arc::new(SystemClock),
        stringing: becket_service_kit::ServiceLink::at("not an address"),
    };
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let ended = run(Parts { deps, listener, shutdown: CancellationToken::new() }).await;
    assert!(matches!(ended, Err(RunError::Link(_))), "{ended:?}");
}
