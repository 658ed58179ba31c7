//! Receivers over gRPC.

use std::sync::Arc;

use becket_api::convert::timestamp;
use becket_api::feed::webhook_service_server::WebhookService;
use becket_api::feed::{
    CreateWebhookRequest, CreateWebhookResponse, DeadLetter, DeleteWebhookRequest, DeleteWebhookResponse,
    ListDeadLettersRequest, ListDeadLettersResponse, ListWebhooksRequest, ListWebhooksResponse,
    RedeliverDeadLettersRequest, RedeliverDeadLettersResponse, Webhook, WebhookState,
};
use becket_api::requests::WriteRequest;
use becket_api::tokens::PageTokens;
use becket_service_kit::{
    Begun, CallContext, Clock, Listing, RequestError, begin_write, decode, or_first_answer,
};
use becket_store::{NewWebhook, SigningKey, StoredWebhook, WebhookStore, WriteContext};
use becket_units::{Fault, IdentifierError, check_identifier};
use prost::Message;
use tonic::{Request, Response, Status};

use super::target::{self, Target};
use crate::error::FeedError;
use crate::filter::Filter;

/// Letters that one call may name.
const MOST_SEQUENCES: usize = 1000;

/// The handlers.
pub(crate) struct Receivers {
    pub(crate) store: Arc<dyn WebhookStore>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) tokens: PageTokens,
}

type Answered<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl WebhookService for Receivers {
    async fn create_webhook(
        &self,
        request: Request<CreateWebhookRequest>,
    ) -> Answered<CreateWebhookResponse> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.create(&call, request.clone());
        Ok(Response::new(self.end(&call, request, write).await?))
    }

    async fn list_webhooks(&self, request: Request<ListWebhooksRequest>) -> Answered<ListWebhooksResponse> {
        Ok(Response::new(self.list(request.into_inner()).await?))
    }

    async fn delete_webhook(
        &self,
        request: Request<DeleteWebhookRequest>,
    ) -> Answered<DeleteWebhookResponse> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.delete(&call, request.clone());
        Ok(Response::new(self.end(&call, request, write).await?))
    }

    async fn list_dead_letters(
        &self,
        request: Request<ListDeadLettersRequest>,
    ) -> Answered<ListDeadLettersResponse> {
        Ok(Response::new(self.letters(request.into_inner()).await?))
    }

    async fn redeliver_dead_letters(
        &self,
        request: Request<RedeliverDeadLettersRequest>,
    ) -> Answered<RedeliverDeadLettersResponse> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.redeliver(&call, request.clone());
        Ok(Response::new(self.end(&call, request, write).await?))
    }
}

impl Receivers {
    async fn begin<Q: WriteRequest, R: Message + Default>(
        &self,
        call: &CallContext,
        request: &mut Q,
    ) -> Result<Begun<R>, RequestError> {
        begin_write(&*self.store, &*self.clock, call, request).await
    }

    async fn end<Q: WriteRequest, R: Message + Default>(
        &self,
        call: &CallContext,
        again: Q,
        write: impl Future<Output = Result<R, FeedError>>,
    ) -> Result<R, FeedError> {
        or_first_answer(&*self.store, &*self.clock, call, again, write).await
    }

    async fn create(
        &self,
        call: &CallContext,
        mut request: CreateWebhookRequest,
    ) -> Result<CreateWebhookResponse, FeedError> {
        let context: WriteContext = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let webhook = read(request).map_err(FeedError::Faults)?;
        let answer = Box::new(|stored: &StoredWebhook| {
            CreateWebhookResponse { webhook: Some(shown(stored)) }.encode_to_vec()
        });
        let written = self.store.create_webhook(&context, webhook, answer).await?;
        Ok(decode(&written.answer)?)
    }

    async fn delete(
        &self,
        call: &CallContext,
        mut request: DeleteWebhookRequest,
    ) -> Result<DeleteWebhookResponse, FeedError> {
        let context: WriteContext = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let answer = Box::new(|(): &()| DeleteWebhookResponse {}.encode_to_vec());
        let written = self.store.delete_webhook(&context, &request.webhook_id, answer).await?;
        Ok(decode(&written.answer)?)
    }

    async fn redeliver(
        &self,
        call: &CallContext,
        mut request: RedeliverDeadLettersRequest,
    ) -> Result<RedeliverDeadLettersResponse, FeedError> {
        let context: WriteContext = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        if request.sequences.len() > MOST_SEQUENCES {
            let fault = Fault::new("sequences", request.sequences.len(), format!("up to {MOST_SEQUENCES}"));
            return Err(FeedError::Faults(vec![fault]));
        }
        let answer =
            Box::new(|queued: &i64| RedeliverDeadLettersResponse { queued: count(*queued) }.encode_to_vec());
        let RedeliverDeadLettersRequest { webhook_id, sequences, .. } = request;
        let written = self.store.queue_letters(&context, &webhook_id, sequences, answer).await?;
        Ok(decode(&written.answer)?)
    }

    async fn list(&self, mut request: ListWebhooksRequest) -> Result<ListWebhooksResponse, FeedError> {
        let listing = Listing::begin(&self.tokens, &mut request)?;
        let page = self.store.list_webhooks(&listing.page).await?;
        Ok(ListWebhooksResponse {
            webhooks: page.items.iter().map(shown).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }

    async fn letters(
        &self,
        mut request: ListDeadLettersRequest,
    ) -> Result<ListDeadLettersResponse, FeedError> {
        let listing = Listing::begin(&self.tokens, &mut request)?;
        let page = self.store.list_letters(&request.webhook_id, false, &listing.page).await?;
        let letter = |letter: &becket_store::DeadLetter| DeadLetter {
            sequence: letter.sequence,
            attempts: count(letter.attempts),
            fail_time: Some(timestamp(letter.failed_us)),
            last_error: letter.last_error.clone(),
            queued: letter.queued,
        };
        Ok(ListDeadLettersResponse {
            dead_letters: page.items.iter().map(letter).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}

fn count(count: i64) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn read(request: CreateWebhookRequest) -> Result<NewWebhook, Vec<Fault>> {
    let CreateWebhookRequest { webhook, secret, request_id: _ } = request;
    let Some(webhook) = webhook else {
        return Err(vec![Fault::new("webhook", "nothing", "a receiver")]);
    };
    let Webhook { webhook_id, url, types, subject_prefix, .. } = webhook;
    let mut faults = Vec::new();
    if check_identifier(&webhook_id).is_err() {
        faults.push(Fault::new("webhook.webhook_id", &webhook_id, IdentifierError::ALLOWED));
    }
    if Target::read(&url).is_none() {
        faults.push(Fault::new("webhook.url", &url, target::ALLOWED));
    }
    if let Err(found) = Filter::read(&types, &subject_prefix) {
        faults.extend(
            found.into_iter().map(|fault| Fault { field: format!("webhook.{}", fault.field), ..fault }),
        );
    }
    if !((32..=128).contains(&secret.len()) && secret.bytes().all(|byte| byte.is_ascii_graphic())) {
        // The value is not repeated.
        faults.push(Fault::new(
            "secret",
            "this secret",
            "32 to 128 printable ASCII characters without spaces",
        ));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    Ok(NewWebhook { webhook_id, url, types, subject_prefix, secret: SigningKey(secret) })
}

fn shown(stored: &StoredWebhook) -> Webhook {
    let StoredWebhook { webhook, gone, progress, letters, queued: _, created_us } = stored;
    let NewWebhook { webhook_id, url, types, subject_prefix, secret: _ } = webhook;
    let waits = progress.attempts > 0 && !gone;
    Webhook {
        webhook_id: webhook_id.clone(),
        url: url.clone(),
        types: types.clone(),
        subject_prefix: subject_prefix.clone(),
        state: if *gone { WebhookState::Gone } else { WebhookState::Active }.into(),
        told_sequence: progress.told_sequence,
        failed_attempts: count(progress.attempts),
        next_attempt_time: waits.then(|| timestamp(progress.next_us)),
        last_error: progress.last_error.clone(),
        dead_letters: count(*letters),
        create_time: Some(timestamp(*created_us)),
    }
}
