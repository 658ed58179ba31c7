//! The server over real sockets: what every service that uses it gets.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use becket_api::errors::ErrorReason;
use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_api::journal::journal_service_server::{JournalService, JournalServiceServer};
use becket_api::journal::{Entry, ListEntriesRequest, ListEntriesResponse};
use becket_service_kit::{
    CallContext, LimitSettings, Protection, ServeError, ServerParts, Settings, StatusBuilder, serve,
};
use tokio::net::TcpListener;
use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio_stream::StreamExt;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Code, Request, Response, Status};
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_health::pb::{HealthCheckRequest, HealthCheckResponse};
use tonic_types::StatusExt;

const JOURNAL: &str = "becket.journal.v1.JournalService";

/// Does what the subject of the request says.
#[derive(Clone, Default)]
struct Actor {
    entered: Arc<Notify>,
    release: Arc<Notify>,
}

#[tonic::async_trait]
impl JournalService for Actor {
    async fn list_entries(
        &self,
        request: Request<ListEntriesRequest>,
    ) -> Result<Response<ListEntriesResponse>, Status> {
        let context = CallContext::of(&request)?;
        let mut answer = ListEntriesResponse::default();
        match request.get_ref().subject.as_str() {
            "sleep" => {
                self.entered.notify_one();
                tokio::time::sleep(Duration::from_secs(600)).await;
            }
            "wait" => {
                self.entered.notify_one();
                self.release.notified().await;
            }
            "panic" => panic!("secret of the service"),
            "large" => answer.next_page_token = "x".repeat(3000),
            "who" => {
                let entry = Entry { actor: context.actor, origin: context.origin, ..Entry::default() };
                answer.entries.push(entry);
                answer.next_page_token = context.deadline.unwrap().remaining().as_millis().to_string();
            }
            "fail" => {
                return Err(StatusBuilder::new(ErrorReason::NotFound, "no such coil")
                    .meta("coil_id", "k7")
                    .build());
            }
            _ => {}
        }
        Ok(Response::new(answer))
    }
}

struct Running {
    address: SocketAddr,
    actor: Actor,
    shutdown: CancellationToken,
    served: JoinHandle<Result<(), ServeError>>,
}

impl Running {
    async fn start(adjust: impl FnOnce(&mut LimitSettings)) -> Self {
        let mut limits = Settings::load(None, []).unwrap().limits;
        limits.max_request_bytes = 2048;
        limits.max_response_bytes = 2048;
        adjust(&mut limits);
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let actor = Actor::default();
        let service = JournalServiceServer::new(actor.clone())
            .max_decoding_message_size(limits.max_request_bytes)
            .max_encoding_message_size(limits.max_response_bytes);
        let shutdown = CancellationToken::new();
        let parts = ServerParts {
            routes: tonic::service::Routes::new(service),
            listener,
            service_names: vec![JOURNAL],
            limits,
            protection: Protection::default(),
            local: None,
            shutdown: shutdown.clone(),
        };
        Self { address, actor, shutdown, served: tokio::spawn(serve(parts)) }
    }

    async fn channel(&self) -> Channel {
        Channel::from_shared(format!("http://{}", self.address)).unwrap().connect().await.unwrap()
    }

    /// Calls on a connection of its own.
    async fn call(&self, subject: &str) -> Result<ListEntriesResponse, Status> {
        call(self.channel().await, subject).await
    }

    /// Waits until the server has ended by itself.
    async fn ended(self) {
        tokio::time::timeout(Duration::from_secs(20), self.served).await.unwrap().unwrap().unwrap();
    }
}

async fn call(channel: Channel, subject: &str) -> Result<ListEntriesResponse, Status> {
    let request = ListEntriesRequest { subject: subject.to_owned(), ..ListEntriesRequest::default() };
    JournalServiceClient::new(channel).list_entries(request).await.map(Response::into_inner)
}

fn reason(status: &Status) -> String {
    status.get_details_error_info().map(|info| info.reason).unwrap_or_default()
}

#[tokio::test]
async fn answers_and_errors_pass_through() {
    let server = Running::start(|_| {}).await;
    assert_eq!(server.call("").await.unwrap(), ListEntriesResponse::default());
    let status = server.call("fail").await.unwrap_err();
    assert_eq!(
        (status.code(), status.message(), reason(&status).as_str()),
        (Code::NotFound, "no such coil", "NOT_FOUND")
    );
    assert_eq!(status.get_details_error_info().unwrap().metadata["coil_id"], "k7");
}

#[tokio::test]
async fn the_context_tells_who_calls_and_how_long_there_is() {
    let server = Running::start(|limits| limits.longest_deadline = Duration::from_secs(30)).await;
    let mut client = JournalServiceClient::new(server.channel().await);
    let mut request =
        Request::new(ListEntriesRequest { subject: "who".to_owned(), ..ListEntriesRequest::default() });
    request.metadata_mut().insert("becket-actor", "bench 1".parse().unwrap());
    request.set_timeout(Duration::from_secs(3600));
    let answer = client.list_entries(request).await.unwrap().into_inner();
    assert_eq!(
        (answer.entries[0].actor.as_str(), answer.entries[0].origin.as_str()),
        ("bench 1", "127.0.0.1")
    );
    let left_ms: u64 = answer.next_page_token.parse().unwrap();
    assert!((1..30_000).contains(&left_ms), "an hour was asked for, 30 s are allowed, {left_ms} ms are left");
}

#[tokio::test]
async fn a_call_that_takes_too_long_is_answered_with_deadline_exceeded() {
    let server = Running::start(|limits| limits.default_deadline = Duration::from_millis(150)).await;
    let status = server.call("sleep").await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::DeadlineExceeded, "DEADLINE"));
}

#[tokio::test]
async fn messages_beyond_the_limit_are_resource_exhausted_both_ways() {
    let server = Running::start(|_| {}).await;
    let sent = server.call(&"y".repeat(3000)).await.unwrap_err();
    assert_eq!(sent.code(), Code::ResourceExhausted, "{sent:?}");
    assert!(sent.message().contains("too large") && sent.message().contains("2048"), "{sent:?}");
    let received = server.call("large").await.unwrap_err();
    assert_eq!(received.code(), Code::ResourceExhausted, "{received:?}");
    assert!(received.message().contains("too large"), "{received:?}");
}

#[tokio::test]
async fn a_message_of_another_shape_is_the_callers_fault() {
    // The reporting of a health check has a text where the request has a number.
    let server = Running::start(|_| {}).await;
    let mut client = tonic::client::Grpc::new(server.channel().await);
    client.ready().await.unwrap();
    let codec = tonic_prost::ProstCodec::<HealthCheckRequest, HealthCheckResponse>::default();
    let path = "/becket.journal.v1.JournalService/ListEntries".parse().unwrap();
    let request = Request::new(HealthCheckRequest { service: "text".to_owned() });
    let status = client.unary(request, path, codec).await.unwrap_err();
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::InvalidArgument, "FIELD_INVALID"),
        "{status:?}"
    );
}

#[tokio::test]
async fn a_panic_ends_one_call_and_tells_nothing() {
    let server = Running::start(|_| {}).await;
    let channel = server.channel().await;
    let status = call(channel.clone(), "panic").await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::Internal, "INTERNAL"));
    assert!(!status.message().contains("secret"), "{status:?}");
    assert!(status.get_details_error_info().unwrap().metadata.contains_key("incident_id"));
    assert!(call(channel, "").await.is_ok(), "the connection goes on");
}

#[tokio::test]
async fn calls_beyond_the_limit_are_refused_at_once() {
    let server = Running::start(|limits| limits.max_concurrent_requests = 1).await;
    let first = tokio::spawn(call(server.channel().await, "wait"));
    server.actor.entered.notified().await;
    let status = server.call("").await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::ResourceExhausted, "OVERLOADED"));
    assert!(status.get_details_retry_info().unwrap().retry_delay.is_some());
    let health = HealthClient::new(server.channel().await).check(HealthCheckRequest::default()).await;
    assert!(health.is_ok(), "health is asked even then");
    server.actor.release.notify_one();
    assert!(first.await.unwrap().is_ok());
    assert!(server.call("").await.is_ok());
}

#[tokio::test]
async fn health_names_the_services() {
    let server = Running::start(|_| {}).await;
    let mut client = HealthClient::new(server.channel().await);
    for service in ["", JOURNAL] {
        let answer = client.check(HealthCheckRequest { service: service.to_owned() }).await.unwrap();
        assert_eq!(answer.get_ref().status(), ServingStatus::Serving, "{service:?}");
    }
    let unknown = client.check(HealthCheckRequest { service: "becket.none.v1.None".to_owned() }).await;
    assert_eq!(unknown.unwrap_err().code(), Code::NotFound);
}

#[tokio::test]
async fn shutdown_ends_open_streams_with_unavailable() {
    let server = Running::start(|_| {}).await;
    let mut client = HealthClient::new(server.channel().await);
    let mut stream = client.watch(HealthCheckRequest::default()).await.unwrap().into_inner();
    assert_eq!(stream.next().await.unwrap().unwrap().status(), ServingStatus::Serving);
    server.shutdown.cancel();
    let mut last = stream.next().await.unwrap();
    if let Ok(answer) = &last {
        assert_eq!(answer.status(), ServingStatus::NotServing);
        last = stream.next().await.unwrap();
    }
    let status = last.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::Unavailable, "OVERLOADED"), "{status:?}");
    assert!(status.get_details_retry_info().is_some());
    server.ended().await;
}

/// That no more connections come and that the server is to stop are told at the same moment, and seen in any order.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_shutdown_ends_open_streams_in_whatever_order_it_is_seen() {
    for _ in 0..300 {
        let server = Running::start(|_| {}).await;
        let mut client = HealthClient::new(server.channel().await);
        let mut stream = client.watch(HealthCheckRequest::default()).await.unwrap().into_inner();
        assert!(stream.next().await.unwrap().is_ok());
        server.shutdown.cancel();
        server.ended().await;
    }
}

#[tokio::test]
async fn a_call_being_worked_on_is_finished_before_the_server_ends() {
    let server = Running::start(|_| {}).await;
    let open = tokio::spawn(call(server.channel().await, "wait"));
    server.actor.entered.notified().await;
    server.shutdown.cancel();
    assert!(!server.served.is_finished());
    server.actor.release.notify_one();
    assert_eq!(open.await.unwrap().unwrap(), ListEntriesResponse::default());
    server.ended().await;
}

#[tokio::test]
async fn what_is_open_at_the_end_of_the_grace_period_is_cut_off() {
    let server = Running::start(|limits| limits.shutdown_grace = Duration::from_millis(100)).await;
    let open = tokio::spawn(call(server.channel().await, "sleep"));
    server.actor.entered.notified().await;
    server.shutdown.cancel();
    let cut = tokio::time::timeout(Duration::from_secs(5), open).await.unwrap().unwrap();
    assert!(cut.is_err());
    server.ended().await;
}

#[tokio::test]
async fn nobody_gets_in_after_shutdown() {
    let server = Running::start(|_| {}).await;
    let address = server.address;
    assert!(server.call("").await.is_ok());
    server.shutdown.cancel();
    server.ended().await;
    assert!(tokio::net::TcpStream::connect(address).await.is_err());
}

#[tokio::test]
async fn reflection_answers_in_both_versions() {
    use tonic_reflection::pb::v1::{
        ServerReflectionRequest, server_reflection_client::ServerReflectionClient,
        server_reflection_request::MessageRequest, server_reflection_response::MessageResponse,
    };
    use tonic_reflection::pb::v1alpha;
    let server = Running::start(|_| {}).await;
    let request = ServerReflectionRequest {
        host: String::new(),
        message_request: Some(MessageRequest::ListServices(String::new())),
    };
    let mut answers = ServerReflectionClient::new(server.channel().await)
        .server_reflection_info(tokio_stream::once(request))
        .await
        .unwrap()
        .into_inner();
    let Some(MessageResponse::ListServicesResponse(list)) =
        answers.next().await.unwrap().unwrap().message_response
    else {
        panic!("another answer was expected");
    };
    let names: Vec<_> = list.service.iter().map(|service| service.name.as_str()).collect();
    assert!(names.contains(&JOURNAL), "{names:?}");
    assert!(!names.iter().any(|name| name.contains("cutting")), "{names:?}");

    let request = v1alpha::ServerReflectionRequest {
        host: String::new(),
        message_request: Some(v1alpha::server_reflection_request::MessageRequest::FileContainingSymbol(
            JOURNAL.to_owned(),
        )),
    };
    let mut answers = v1alpha::server_reflection_client::ServerReflectionClient::new(server.channel().await)
        .server_reflection_info(tokio_stream::once(request))
        .await
        .unwrap()
        .into_inner();
    let answer = answers.next().await.unwrap().unwrap().message_response.unwrap();
    assert!(
        matches!(answer, v1alpha::server_reflection_response::MessageResponse::FileDescriptorResponse(ref files)
            if !files.file_descriptor_proto.is_empty()),
        "{answer:?}"
    );
}
