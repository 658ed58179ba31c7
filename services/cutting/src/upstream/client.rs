//! Questions to the stringing service.

use std::future::Future;

use becket_api::stringing::job_service_client::JobServiceClient;
use becket_api::stringing::string_set_service_client::StringSetServiceClient;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_api::stringing::{
    ComputeOptions, ComputeStringSetRequest, FreezeStringSetRequest, GetJobRequest, GetStringSetRequest,
    GetWireRequest, Job, JobState, ListJobsRequest, ScaleReference, StringSet, Wire,
    compute_string_set_request,
};
use becket_service_kit::{ACTOR_KEY, CallContext, LimitSettings, LinkError, ServiceLink};
use tonic::metadata::{Ascii, MetadataValue};
use tonic::transport::Channel;
use tonic::{Request, Response, Status};

use super::UpstreamError;
use super::retry::Patience;

/// Jobs of a page.
const PAGE: i32 = 500;
/// Most jobs that are open or frozen and looked at for one answer.
pub(crate) const MAX_OPEN_JOBS: usize = 2000;

/// A client of the stringing service.
///
/// It connects when it is first asked, and again when the connection is lost. Every question has the time that is left of the call
/// being served, and is asked again with growing pauses while the service is unavailable. That is safe: reads change
/// nothing, and the one write carries a request id.
#[derive(Debug, Clone)]
pub(crate) struct StringingClient {
    channel: Channel,
    /// What goes with every question, if the service wants to know who asks.
    authorization: Option<MetadataValue<Ascii>>,
    max_response_bytes: usize,
}

impl StringingClient {
    /// Prepares a client of the service.
    pub(crate) fn lazy(link: &ServiceLink, limits: &LimitSettings) -> Result<Self, LinkError> {
        Ok(Self {
            channel: link.channel(limits)?,
            authorization: link.authorization()?,
            max_response_bytes: limits.max_response_bytes,
        })
    }

    /// One job.
    pub(crate) async fn job(&self, call: &CallContext, serial_id: &str) -> Result<Job, UpstreamError> {
        let request = GetJobRequest { serial_id: serial_id.to_owned() };
        let answer =
            self.ask(call, request, |request| async move { self.jobs().get_job(request).await }).await?;
        answer.job.ok_or_else(|| lacking("a job"))
    }

    /// Jobs of a station (empty: of all) that are open or frozen and due on or before a day (empty: any day), by due date and
    /// serial; at most one more than [`MAX_OPEN_JOBS`].
    pub(crate) async fn open_jobs(
        &self,
        call: &CallContext,
        station_id: &str,
        due_by_date: &str,
    ) -> Result<Vec<Job>, UpstreamError> {
        let mut jobs = Vec::new();
        for state in [JobState::Open, JobState::Frozen] {
            let mut page_token = String::new();
            loop {
                let request = ListJobsRequest {
                    page_size: PAGE,
                    page_token,
                    state: Some(state.into()),
                    station_id: station_id.to_owned(),
                    due_by_date: due_by_date.to_owned(),
                };
                let page = self
                    .ask(call, request, |request| async move { self.jobs().list_jobs(request).await })
                    .await?;
                jobs.extend(page.jobs);
                page_token = page.next_page_token;
                if page_token.is_empty() || jobs.len() > MAX_OPEN_JOBS {
                    break;
                }
            }
        }
        jobs.sort_by(|a, b| (&a.due_date, &a.serial_id).cmp(&(&b.due_date, &b.serial_id)));
        // A job that is frozen between the two lists is in both.
        jobs.dedup_by(|a, b| a.serial_id == b.serial_id);
        jobs.truncate(MAX_OPEN_JOBS + 1);
        Ok(jobs)
    }

    /// The string set of a serial.
    pub(crate) async fn string_set(
        &self,
        call: &CallContext,
        serial_id: &str,
    ) -> Result<StringSet, UpstreamError> {
        let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
        let answer = self
            .ask(call, request, |request| async move { self.sets().get_string_set(request).await })
            .await?;
        answer.string_set.ok_or_else(|| lacking("a string set"))
    }

    /// The string set of a released revision.
    pub(crate) async fn compute(
        &self,
        call: &CallContext,
        model_id: &str,
        revision_id: &str,
        options: Option<ComputeOptions>,
    ) -> Result<StringSet, UpstreamError> {
        let stored = ScaleReference { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
        let source = Some(compute_string_set_request::Source::Stored(stored));
        let request = ComputeStringSetRequest { source, wires: Vec::new(), options };
        let answer = self
            .ask(call, request, |request| async move { self.sets().compute_string_set(request).await })
            .await?;
        answer.string_set.ok_or_else(|| lacking("a string set"))
    }

    /// Fixes the string set of a serial for good.
    pub(crate) async fn freeze(
        &self,
        call: &CallContext,
        request_id: String,
        serial_id: &str,
        digest: &str,
    ) -> Result<(), UpstreamError> {
        let request =
            FreezeStringSetRequest { request_id, serial_id: serial_id.to_owned(), digest: digest.to_owned() };
        self.ask(call, request, |request| async move { self.sets().freeze_string_set(request).await })
            .await?;
        Ok(())
    }

    /// One wire of the catalogue.
    pub(crate) async fn wire(&self, call: &CallContext, wire_id: &str) -> Result<Wire, UpstreamError> {
        let request = GetWireRequest { wire_id: wire_id.to_owned() };
        let answer =
            self.ask(call, request, |request| async move { self.wires().get_wire(request).await }).await?;
        answer.wire.ok_or_else(|| lacking("a wire"))
    }

    /// Asks until there is an answer, a refusal, or no time any more.
    async fn ask<Q, R, F, Fut>(&self, call: &CallContext, question: Q, send: F) -> Result<R, UpstreamError>
    where
        Q: Clone,
        F: Fn(Request<Q>) -> Fut,
        Fut: Future<Output = Result<Response<R>, Status>>,
    {
        let mut patience = Patience::of(call.deadline);
        loop {
            let mut request = Request::new(question.clone());
            request.set_timeout(patience.time_for_a_try());
            // Whoever acts here acts there, too; an actor is printable ASCII, so it always parses.
            if let (false, Ok(actor)) = (call.actor.is_empty(), call.actor.parse()) {
                request.metadata_mut().insert(ACTOR_KEY, actor);
            }
            if let Some(authorization) = &self.authorization {
                request.metadata_mut().insert("authorization", authorization.clone());
            }
            let error = match send(request).await {
                Ok(response) => return Ok(response.into_inner()),
                Err(status) => UpstreamError::from(status),
            };
            if !(error.is_transient() && patience.pause().await) {
                return Err(error);
            }
        }
    }

    fn jobs(&self) -> JobServiceClient<Channel> {
        JobServiceClient::new(self.channel.clone()).max_decoding_message_size(self.max_response_bytes)
    }

    fn sets(&self) -> StringSetServiceClient<Channel> {
        StringSetServiceClient::new(self.channel.clone()).max_decoding_message_size(self.max_response_bytes)
    }

    fn wires(&self) -> WireServiceClient<Channel> {
        WireServiceClient::new(self.channel.clone()).max_decoding_message_size(self.max_response_bytes)
    }
}

fn lacking(what: &str) -> UpstreamError {
    UpstreamError::Faulty(format!("an answer without {what}"))
}
