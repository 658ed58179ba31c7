//! The line that every call leaves in the log.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::io::Write;
use std::sync::{Arc, Mutex};

use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_api::journal::journal_service_server::{JournalService, JournalServiceServer};
use becket_api::journal::{ListEntriesRequest, ListEntriesResponse};
use becket_service_kit::{Protection, ServerParts, Settings, check_request_id, from_faults, serve};
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Request, Response, Status};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;

/// Keeps what is logged.
#[derive(Clone, Default)]
struct Kept(Arc<Mutex<Vec<u8>>>);

impl Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Takes the subject of a request for its request id.
struct Writer;

#[tonic::async_trait]
impl JournalService for Writer {
    async fn list_entries(
        &self,
        request: Request<ListEntriesRequest>,
    ) -> Result<Response<ListEntriesResponse>, Status> {
        check_request_id(&request.get_ref().subject).map_err(|fault| from_faults(&[fault]))?;
        Ok(Response::new(ListEntriesResponse::default()))
    }
}

// The runtime of one thread makes the subscriber of this thread see everything that the server logs.
#[tokio::test(flavor = "current_thread")]
async fn every_call_leaves_one_line() {
    let kept = Kept::default();
    let writer = kept.clone();
    let subscriber = tracing_subscriber::fmt().with_ansi(false).with_writer(move || writer.clone()).finish();
    let _guard = tracing::subscriber::set_default(subscriber);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let shutdown = CancellationToken::new();
    let served = tokio::spawn(serve(ServerParts {
        routes: tonic::service::Routes::new(JournalServiceServer::new(Writer)),
        listener,
        service_names: vec![],
        limits: Settings::load(None, []).unwrap().limits,
        protection: Protection::default(),
        local: None,
        shutdown: shutdown.clone(),
    }));
    {
        let channel = Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
        let mut client = HealthClient::new(channel.clone());
        client.check(HealthCheckRequest::default()).await.unwrap();
        client.check(HealthCheckRequest { service: "none".to_owned() }).await.unwrap_err();
        let write = ListEntriesRequest { subject: "open-7".to_owned(), ..ListEntriesRequest::default() };
        JournalServiceClient::new(channel).list_entries(write).await.unwrap();
    }
    shutdown.cancel();
    served.await.unwrap().unwrap();
    let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
    let lines: Vec<_> = text.lines().filter(|line| line.contains("grpc.health.v1.Health/Check")).collect();
    assert_eq!(lines.len(), 2, "{text}");
    assert!(lines[0].contains("code=Ok") && lines[1].contains("code=NotFound"), "{text}");
    for line in lines {
        assert!(line.contains("ms=") && line.contains("call_id="), "{line}");
    }
    let write =
        text.lines().find(|line| line.contains("becket.journal.v1.JournalService/ListEntries")).unwrap();
    assert!(write.contains(r#"request_id="open-7""#), "{write}");
}
