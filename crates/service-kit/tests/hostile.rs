//! Clients that mean harm: they say nothing, open too much, or take back what they asked for.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use becket_service_kit::{LimitSettings, Protection, ServerParts, Settings, serve};
use tokio::io::AsyncReadExt as _;
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;

/// A server that has nothing but health, with limits adjusted.
async fn server(adjust: impl FnOnce(&mut LimitSettings)) -> (SocketAddr, CancellationToken) {
    let mut limits = Settings::load(None, []).unwrap().limits;
    adjust(&mut limits);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let shutdown = CancellationToken::new();
    let parts = ServerParts {
        routes: tonic::service::Routes::default(),
        listener,
        service_names: Vec::new(),
        limits,
        protection: Protection::default(),
        local: None,
        shutdown: shutdown.clone(),
    };
    tokio::spawn(serve(parts));
    (address, shutdown)
}

async fn connect(address: SocketAddr) -> Result<HealthClient<Channel>, tonic::transport::Error> {
    Ok(HealthClient::new(Channel::from_shared(format!("http://{address}")).unwrap().connect().await?))
}

async fn check_healthy(address: SocketAddr) {
    let mut client = connect(address).await.unwrap();
    client.check(HealthCheckRequest::default()).await.unwrap();
}

/// Reads until the other side closes; answers how long that took.
async fn closed_after(mut stream: TcpStream) -> Duration {
    let started = Instant::now();
    let mut buffer = [0; 1024];
    let closed = async { while matches!(stream.read(&mut buffer).await, Ok(read) if read > 0) {} };
    tokio::time::timeout(Duration::from_secs(20), closed).await.unwrap();
    started.elapsed()
}

#[tokio::test]
async fn a_connection_that_says_nothing_is_closed() {
    let (address, _stop) = server(|limits| limits.handshake_timeout = Duration::from_millis(300)).await;
    let silent = TcpStream::connect(address).await.unwrap();
    let waited = closed_after(silent).await;
    assert!(waited >= Duration::from_millis(250), "{waited:?}");
    check_healthy(address).await;
}

#[tokio::test]
async fn connections_beyond_the_limit_of_an_address_are_closed() {
    let (address, _stop) = server(|limits| limits.max_connections_per_address = 3).await;
    let mut held = Vec::new();
    for _ in 0..3 {
        held.push(connect(address).await.unwrap());
    }
    for client in &mut held {
        client.check(HealthCheckRequest::default()).await.unwrap();
    }
    let waited = closed_after(TcpStream::connect(address).await.unwrap()).await;
    assert!(waited < Duration::from_secs(5), "{waited:?}");
    held.pop();
    // The place is free once the server has seen the other end go.
    let mut tries = 0;
    while connect(address).await.is_err() {
        tries += 1;
        assert!(tries < 100);
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// CVE-2023-44487: streams that are opened and reset at once, far more than a client may have open.
#[tokio::test]
async fn a_flood_of_resets_ends_its_connection_and_no_other() {
    let (address, _stop) = server(|_| {}).await;
    let stream = TcpStream::connect(address).await.unwrap();
    let (mut sender, connection) = h2::client::handshake(stream).await.unwrap();
    let connection = tokio::spawn(connection);
    let mut opened = 0;
    while opened < 20_000 {
        let request =
            http::Request::post(format!("http://{address}/grpc.health.v1.Health/Check")).body(()).unwrap();
        let Ok(ready) = sender.ready().await else { break };
        sender = ready;
        let Ok((_, mut body)) = sender.send_request(request, false) else { break };
        body.send_reset(h2::Reason::CANCEL);
        opened += 1;
        if opened % 50 == 0 {
            tokio::task::yield_now().await;
        }
        if connection.is_finished() {
            break;
        }
    }
    assert!(opened < 20_000, "the flood went on for {opened} streams");
    check_healthy(address).await;
}

#[tokio::test]
async fn headers_beyond_the_limit_are_refused() {
    let (address, _stop) = server(|_| {}).await;
    let mut request = tonic::Request::new(HealthCheckRequest::default());
    request.metadata_mut().insert("x-much", "y".repeat(20_000).parse().unwrap());
    let refused = connect(address).await.unwrap().check(request).await.unwrap_err();
    assert_ne!(refused.code(), tonic::Code::Ok);
    check_healthy(address).await;
}
