//! A client that sends a write under its request id until it is answered, wherever, or gives up.

use becket_e2e::random::Random;
use becket_e2e::{Shop, reason};
use tonic::{Code, Status};

/// What a client learns of a call.
pub(super) enum Told<T> {
    /// It was answered.
    Answer(T),
    /// It was refused and has changed nothing.
    Refused(Status),
    /// The connection broke, and the client did not ask again: it may have been done, or may be done yet, or never.
    Unknown,
}

/// A client of all doors, of which it uses one until that does not answer.
pub(super) struct Client {
    doors: Vec<Shop>,
    at: usize,
    pub(super) random: Random,
}

impl Client {
    pub(super) fn new(doors: Vec<Shop>, number: usize, random: Random) -> Self {
        let at = number % doors.len();
        Self { doors, at, random }
    }

    pub(super) fn shop(&self) -> Shop {
        self.doors[self.at].clone()
    }

    pub(super) fn request_id(&self) -> String {
        self.doors[0].request_id()
    }

    /// Goes to the next door.
    pub(super) async fn move_on(&mut self) {
        self.at = (self.at + 1) % self.doors.len();
        tokio::time::sleep(std::time::Duration::from_millis(15)).await;
    }
}

/// Whether a call that ended so is to be sent again under the same request id.
pub(super) fn is_open(status: &Status) -> bool {
    match reason(status).as_deref() {
        // The connection broke, or this side's own time ran out.
        None => matches!(
            status.code(),
            Code::Unavailable | Code::Unknown | Code::Cancelled | Code::DeadlineExceeded
        ),
        Some("OVERLOADED" | "UPSTREAM_UNAVAILABLE" | "DEADLINE") => true,
        Some(_) => matches!(status.code(), Code::Unavailable | Code::ResourceExhausted),
    }
}

/// Sends a request until it is answered. With `giving up` one of five calls that broke is not sent again.
macro_rules! ask {
    ($floor:ident, $client:ident, $service:ident.$method:ident($request:expr)) => {
        ask!($floor, $client, $service.$method($request), usize::MAX)
    };
    ($floor:ident, $client:ident, $service:ident.$method:ident($request:expr), giving up) => {
        ask!($floor, $client, $service.$method($request), 5)
    };
    ($floor:ident, $client:ident, $service:ident.$method:ident($request:expr), $once_in:expr) => {{
        let body = $request;
        loop {
            let mut request = tonic::Request::new(body.clone());
            request.set_timeout(std::time::Duration::from_secs(10));
            match $client.shop().$service.$method(request).await {
                Ok(answer) => break $crate::histories::client::Told::Answer(answer.into_inner()),
                Err(status) if $crate::histories::client::is_open(&status) => {
                    if $once_in != usize::MAX && $client.random.once_in($once_in) {
                        $floor.given_up();
                        break $crate::histories::client::Told::Unknown;
                    }
                    $floor.again();
                    $client.move_on().await;
                }
                Err(status) => break $crate::histories::client::Told::Refused(status),
            }
        }
    }};
}
pub(super) use ask;
