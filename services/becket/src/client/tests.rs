use std::sync::{Arc, Mutex};

use becket_api::cutting::{
    GetStationRequest, GetStationResponse, ListStationsRequest, ListStationsResponse, SaveStationRequest,
    SaveStationResponse, UnmountCoilRequest, UnmountCoilResponse,
    station_service_server::{StationService, StationServiceServer},
};
use clap::Parser as _;
use tokio_stream::wrappers::TcpListenerStream;
use tonic_types::ErrorDetails;

use super::*;
use crate::{cli::Cli, errors::EXIT_UNREACHABLE};

fn client(words: &[&str]) -> Result<Client, Failure> {
    let words = ["becket"].iter().chain(words).chain(&["list", "stations"]);
    Client::new(&Cli::try_parse_from(words).unwrap().global)
}

#[tokio::test]
async fn a_server_that_is_not_there_is_told_as_such() {
    // A port that was free a moment ago and that nobody listens on.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let client = client(&["--server", &format!("http://127.0.0.1:{port}")]).unwrap();
    let request = GetStationRequest { station_id: "bench-1".into() };
    let service = client.stations();
    let answer =
        service.call(request, |mut client, request| async move { client.get_station(request).await });
    let failure = answer.await.unwrap_err();
    assert!(matches!(failure, Failure::Unreachable { .. }), "{failure:?}");
    assert_eq!(failure.exit_code(), EXIT_UNREACHABLE);
    assert!(failure.to_string().contains("refused"), "{failure}");
}

#[tokio::test]
async fn a_server_that_never_answers_is_given_up() {
    let silent = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", silent.local_addr().unwrap());
    let client = client(&["--server", &url, "--timeout", "200ms"]).unwrap();
    let request = GetStationRequest { station_id: "bench-1".into() };
    let service = client.stations();
    let answer =
        service.call(request, |mut client, request| async move { client.get_station(request).await });
    let failure = answer.await.unwrap_err();
    assert!(matches!(failure, Failure::TooLate { .. }), "{failure:?}");
}

#[tokio::test]
async fn addresses_and_names_are_checked() {
    let refused =
        Cli::try_parse_from(["becket", "--server", "not an address", "list", "stations"]).unwrap_err();
    assert_eq!(refused.exit_code(), 2);
    assert!(matches!(client(&["--actor", "Bj\u{f6}rn"]), Err(Failure::Usage(_))));
    let split = client(&["--stringing", "http://127.0.0.1:1", "--cutting", "http://127.0.0.1:2"]).unwrap();
    assert_eq!(
        (split.wires().url.as_str(), split.coils().url.as_str()),
        ("http://127.0.0.1:1", "http://127.0.0.1:2")
    );
}

#[test]
fn somebody_always_asks() {
    let who = |user: Option<&str>, logname: Option<&str>, number| {
        let variable = |name: &str| match name {
            "USER" => user.map(str::to_owned),
            "LOGNAME" => logname.map(str::to_owned),
            other => panic!("{other} is not asked for"),
        };
        whoever_is_logged_in(variable, number).map(|name| name.to_str().unwrap().to_owned())
    };
    assert_eq!(who(Some("anna"), Some("bert"), Some(1000)).as_deref(), Some("anna"));
    assert_eq!(who(None, Some("bert"), Some(1000)).as_deref(), Some("bert"));
    assert_eq!(who(Some(""), Some("Bj\u{f6}rn"), Some(1000)).as_deref(), Some("uid-1000"));
    assert_eq!(who(Some(" "), None, Some(0)).as_deref(), Some("uid-0"));
    assert_eq!(who(None, None, None), None);
    assert!(user_number().is_some());
}

#[tokio::test]
async fn repeating_a_verb_repeats_each_of_its_writes() {
    let fixed = client(&["--request-id", "monday"]).unwrap();
    assert_eq!((fixed.request_id(), fixed.request_id_of(2)), ("monday".into(), "monday.2".into()));
    let fresh = client(&[]).unwrap();
    assert_ne!(fresh.request_id_of(1), fresh.request_id_of(1));
}

/// What the fake server was sent.
#[derive(Debug, Clone, PartialEq)]
struct Seen {
    request_id: String,
    actor: Option<String>,
    has_deadline: bool,
}

/// Refuses the first calls as a server does that is starting, then answers.
#[derive(Debug, Clone)]
struct Starting {
    seen: Arc<Mutex<Vec<Seen>>>,
    refusals: usize,
    status: Status,
}

#[tonic::async_trait]
impl StationService for Starting {
    async fn save_station(
        &self,
        request: Request<SaveStationRequest>,
    ) -> Result<Response<SaveStationResponse>, Status> {
        let actor = request.metadata().get("becket-actor").map(|name| name.to_str().unwrap().to_owned());
        let has_deadline = request.metadata().contains_key("grpc-timeout");
        let body = request.into_inner();
        let mut seen = self.seen.lock().unwrap();
        seen.push(Seen { request_id: body.request_id, actor, has_deadline });
        if seen.len() <= self.refusals {
            return Err(self.status.clone());
        }
        Ok(Response::new(SaveStationResponse { station: body.station }))
    }

    async fn get_station(
        &self,
        _: Request<GetStationRequest>,
    ) -> Result<Response<GetStationResponse>, Status> {
        Err(Status::unimplemented("not part of the test"))
    }

    async fn unmount_coil(
        &self,
        _: Request<UnmountCoilRequest>,
    ) -> Result<Response<UnmountCoilResponse>, Status> {
        Err(Status::unimplemented("not part of the test"))
    }

    async fn list_stations(
        &self,
        _: Request<ListStationsRequest>,
    ) -> Result<Response<ListStationsResponse>, Status> {
        Err(Status::unimplemented("not part of the test"))
    }
}

/// Saves a station on a server that refuses so many calls with the status; returns the answer and what was sent.
async fn save(refusals: usize, status: Status) -> (Result<SaveStationResponse, Failure>, Vec<Seen>) {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let fake = Starting { seen: Arc::default(), refusals, status };
    let seen = Arc::clone(&fake.seen);
    let server = tonic::transport::Server::builder().add_service(StationServiceServer::new(fake));
    tokio::spawn(server.serve_with_incoming(TcpListenerStream::new(listener)));
    let client = client(&["--server", &url, "--actor", "ann"]).unwrap();
    let request = SaveStationRequest { request_id: client.request_id(), station: None };
    let service = client.stations();
    let answer =
        service.call(request, |mut client, request| async move { client.save_station(request).await }).await;
    let seen = seen.lock().unwrap().clone();
    (answer, seen)
}

#[tokio::test]
async fn a_server_that_is_away_for_a_moment_is_asked_again_with_the_same_request() {
    let (answer, seen) = save(2, Status::unavailable("starting")).await;
    assert!(answer.is_ok(), "{answer:?}");
    assert_eq!(seen.len(), 3);
    assert!(seen.iter().all(|call| *call == seen[0]), "{seen:?}");
    assert!(!seen[0].request_id.is_empty() && seen[0].has_deadline);
    assert_eq!(seen[0].actor.as_deref(), Some("ann"));
}

#[tokio::test]
async fn a_server_that_stays_away_is_given_up() {
    let (answer, seen) = save(usize::MAX, Status::unavailable("starting")).await;
    assert!(matches!(answer, Err(Failure::Unreachable { .. })), "{answer:?}");
    assert_eq!(seen.len(), PAUSES.len() + 1);
}

#[tokio::test]
async fn what_is_refused_for_good_is_not_asked_again() {
    let mut details = ErrorDetails::new();
    details.set_error_info("STEP_NOT_NEXT", "becket", std::collections::HashMap::new());
    let status = Status::with_error_details(Code::FailedPrecondition, "no", details);
    let (answer, seen) = save(usize::MAX, status).await;
    assert!(matches!(answer, Err(Failure::Refused(_))), "{answer:?}");
    assert_eq!(seen.len(), 1);
}
