//! The connection to a server: who asks, how long an answer is waited for, and what is tried again.

use std::{
    future::Future,
    time::{Duration, Instant},
};

use becket_api::{
    cutting::{
        coil_service_client::CoilServiceClient, cut_list_service_client::CutListServiceClient,
        plan_service_client::PlanServiceClient, purchasing_service_client::PurchasingServiceClient,
        record_service_client::RecordServiceClient, station_service_client::StationServiceClient,
    },
    feed::{feed_service_client::FeedServiceClient, webhook_service_client::WebhookServiceClient},
    journal::journal_service_client::JournalServiceClient,
    stringing::{
        design_service_client::DesignServiceClient, job_service_client::JobServiceClient,
        scale_service_client::ScaleServiceClient, string_set_service_client::StringSetServiceClient,
        winding_order_service_client::WindingOrderServiceClient, wire_service_client::WireServiceClient,
    },
};
use tonic::{
    Code, Request, Response, Status,
    metadata::{Ascii, MetadataValue},
    transport::{Channel, ClientTlsConfig, Endpoint},
};
use tonic_types::StatusExt as _;

mod credentials;

use crate::{cli::Global, errors::Failure};

/// The largest answer that is accepted; a cut list of two hundred instruments stays below 16 MB.
const LARGEST_ANSWER_BYTES: usize = 64 * 1024 * 1024;

/// Pauses before a call is tried again. A server that restarts is back within them; one that is not there is told soon.
const PAUSES: [Duration; 2] = [Duration::from_millis(150), Duration::from_millis(600)];

/// The longest pause that a server may ask for.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);

/// One of the two services, which may have different addresses.
#[derive(Debug, Clone)]
pub(crate) struct Peer {
    url: String,
    channel: Channel,
}

impl Peer {
    /// Prepares a connection; it is made with the first call.
    fn new(url: &str, tls: Option<&ClientTlsConfig>) -> Result<Self, Failure> {
        let endpoint = Endpoint::from_shared(url.to_owned())
            .map_err(|error| Failure::Usage(format!("{url:?} is not the address of a server: {error}")))?;
        let mut endpoint = endpoint.connect_timeout(Duration::from_secs(5));
        if let Some(tls) = tls.filter(|_| url.starts_with("https://")) {
            endpoint = endpoint.tls_config(tls.clone()).map_err(|error| {
                Failure::Usage(format!("{url:?} cannot be called with these certificates: {error}"))
            })?;
        }
        let channel = endpoint.connect_lazy();
        Ok(Self { url: url.to_owned(), channel })
    }
}

/// A client of both services.
#[derive(Debug, Clone)]
pub(crate) struct Client {
    stringing: Peer,
    cutting: Peer,
    actor: Option<MetadataValue<Ascii>>,
    authorization: Option<MetadataValue<Ascii>>,
    request_id: Option<String>,
    timeout: Duration,
}

/// Declares how to make a client of each service of the API.
macro_rules! services {
    ($($(#[$doc:meta])* $name:ident: $client:ident at $peer:ident,)+) => {
        impl Client {
            $(
                $(#[$doc])*
                pub(crate) fn $name(&self) -> Service<$client<Channel>> {
                    let client = $client::new(self.$peer.channel.clone()).max_decoding_message_size(LARGEST_ANSWER_BYTES);
                    Service {
                        client,
                        url: self.$peer.url.clone(),
                        actor: self.actor.clone(),
                        authorization: self.authorization.clone(),
                        timeout: self.timeout,
                    }
                }
            )+
        }
    };
}

services! {
    /// The wire catalogue.
    wires: WireServiceClient at stringing,
    /// The scales.
    scales: ScaleServiceClient at stringing,
    /// The jobs.
    jobs: JobServiceClient at stringing,
    /// The string sets.
    string_sets: StringSetServiceClient at stringing,
    /// The winder's orders.
    winding_orders: WindingOrderServiceClient at stringing,
    /// Designs.
    designs: DesignServiceClient at stringing,
    /// The journal.
    journal: JournalServiceClient at stringing,
    /// The feed of events.
    feed: FeedServiceClient at stringing,
    /// Receivers of events by HTTP.
    webhooks: WebhookServiceClient at stringing,
    /// The coils.
    coils: CoilServiceClient at cutting,
    /// The stations.
    stations: StationServiceClient at cutting,
    /// The cut lists.
    cut_lists: CutListServiceClient at cutting,
    /// Plans without a store.
    plans: PlanServiceClient at cutting,
    /// The records.
    records: RecordServiceClient at cutting,
    /// Purchasing.
    purchasing: PurchasingServiceClient at cutting,
}

impl Client {
    /// Prepares connections as the options say.
    ///
    /// # Errors
    /// [`Failure::Usage`] for an address, a name or a request id that cannot be sent.
    pub(crate) fn new(global: &Global) -> Result<Self, Failure> {
        let tls = credentials::tls(global)?;
        let stringing = Peer::new(global.stringing.as_ref().unwrap_or(&global.server), tls.as_ref())?;
        let cutting = Peer::new(global.cutting.as_ref().unwrap_or(&global.server), tls.as_ref())?;
        Ok(Self {
            stringing,
            cutting,
            actor: actor(global)?,
            authorization: credentials::authorization(global)?,
            request_id: global.request_id.clone(),
            timeout: global.timeout,
        })
    }

    /// The request id of a write: as the user gave it, or a new one.
    pub(crate) fn request_id(&self) -> String {
        self.request_id.clone().unwrap_or_else(|| uuid::Uuid::new_v4().to_string())
    }

    /// The request id of one write of several in a verb: the user's with a number, so that repeating the verb repeats each.
    pub(crate) fn request_id_of(&self, number: usize) -> String {
        match &self.request_id {
            Some(id) => format!("{id}.{number}"),
            None => self.request_id(),
        }
    }
}

fn actor(global: &Global) -> Result<Option<MetadataValue<Ascii>>, Failure> {
    match &global.actor {
        Some(name) => sendable(name)
            .map(Some)
            .ok_or_else(|| Failure::Usage(format!("--actor {name:?} has characters beyond printable ASCII"))),
        None => Ok(whoever_is_logged_in(|name| std::env::var(name).ok(), user_number())),
    }
}

/// The login name or, where a service manager or a container sets none, the number of the user, so that the journal tells one
/// from another. A name that is empty or cannot be sent is passed over: it is no reason to refuse the work.
fn whoever_is_logged_in(
    variable: impl Fn(&str) -> Option<String>,
    user_number: Option<u32>,
) -> Option<MetadataValue<Ascii>> {
    let names = ["USER", "LOGNAME"].into_iter().filter_map(variable);
    let mut names = names.chain(user_number.map(|number| format!("uid-{number}")));
    names.find_map(|name| sendable(&name).filter(|_| !name.trim().is_empty()))
}

/// The number of the user who runs this process, from the files that the system keeps of it.
fn user_number() -> Option<u32> {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata("/proc/self").ok().map(|process| process.uid())
}

fn sendable(name: &str) -> Option<MetadataValue<Ascii>> {
    let printable = name.bytes().all(|byte| byte == b' ' || byte.is_ascii_graphic());
    if printable { MetadataValue::try_from(name).ok() } else { None }
}

/// A client of one service with what every call needs.
#[derive(Debug, Clone)]
pub(crate) struct Service<C> {
    client: C,
    url: String,
    actor: Option<MetadataValue<Ascii>>,
    authorization: Option<MetadataValue<Ascii>>,
    timeout: Duration,
}

impl<C: Clone> Service<C> {
    /// Calls a method, and again with the same request where the server is away for a moment.
    ///
    /// # Errors
    /// [`Failure::Refused`], [`Failure::Unreachable`] or [`Failure::TooLate`].
    pub(crate) async fn call<Q, A, F, R>(&self, body: Q, send: F) -> Result<A, Failure>
    where
        Q: Clone,
        F: Fn(C, Request<Q>) -> R,
        R: Future<Output = Result<Response<A>, Status>>,
    {
        let begin = Instant::now();
        let mut pauses = PAUSES.iter();
        loop {
            let left = self.timeout.saturating_sub(begin.elapsed());
            let request = self.request(body.clone(), Some(left));
            let answer = tokio::time::timeout(left, send(self.client.clone(), request)).await;
            let Ok(answer) = answer else { return Err(self.too_late()) };
            let status = match answer {
                Ok(response) => return Ok(response.into_inner()),
                Err(status) => status,
            };
            let Some(pause) = pauses.next().filter(|_| status.code() == Code::Unavailable) else {
                return Err(self.failure(status));
            };
            let pause = asked_pause(&status).unwrap_or(*pause);
            if begin.elapsed() + pause >= self.timeout {
                return Err(self.failure(status));
            }
            tokio::time::sleep(pause).await;
        }
    }

    /// Opens a stream; it has no deadline.
    ///
    /// # Errors
    /// The status as it comes, since whoever follows a stream opens it again.
    pub(crate) async fn open<Q, A, F, R>(&self, body: Q, send: F) -> Result<A, Status>
    where
        F: Fn(C, Request<Q>) -> R,
        R: Future<Output = Result<Response<A>, Status>>,
    {
        send(self.client.clone(), self.request(body, None)).await.map(Response::into_inner)
    }

    fn request<Q>(&self, body: Q, left: Option<Duration>) -> Request<Q> {
        let mut request = Request::new(body);
        if let Some(actor) = &self.actor {
            request.metadata_mut().insert("becket-actor", actor.clone());
        }
        if let Some(authorization) = &self.authorization {
            request.metadata_mut().insert("authorization", authorization.clone());
        }
        if let Some(left) = left {
            request.set_timeout(left);
        }
        request
    }

    /// Tells an answer of the server from a connection that failed.
    pub(crate) fn failure(&self, status: Status) -> Failure {
        let from_server = status.get_details_error_info().is_some();
        match status.code() {
            // The client library reports its own time-out as CANCELLED.
            Code::Cancelled | Code::DeadlineExceeded if !from_server => self.too_late(),
            Code::Unavailable if !from_server => {
                Failure::Unreachable { url: self.url.clone(), why: reason(&status) }
            }
            _ => Failure::Refused(Box::new(status)),
        }
    }

    fn too_late(&self) -> Failure {
        Failure::TooLate { url: self.url.clone(), after: self.timeout }
    }
}

fn asked_pause(status: &Status) -> Option<Duration> {
    let delay = status.get_details_retry_info()?.retry_delay?;
    Some(delay.min(LONGEST_PAUSE))
}

/// The innermost cause, such as "connection refused"; the outer ones only say that there was an error.
fn reason(status: &Status) -> String {
    let mut cause = std::error::Error::source(status);
    let mut text = status.message().to_owned();
    while let Some(error) = cause {
        text = error.to_string();
        cause = error.source();
    }
    text
}

#[cfg(test)]
mod tests;
