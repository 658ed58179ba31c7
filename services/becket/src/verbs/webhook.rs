//! `webhook`.

use becket_api::feed::{
    self, CreateWebhookRequest, DeleteWebhookRequest, ListDeadLettersRequest, ListDeadLettersResponse,
    ListWebhooksRequest, ListWebhooksResponse, RedeliverDeadLettersRequest,
};

use super::{call, pages, token};
use crate::{
    cli::{CreateWebhook, DeleteWebhook, ListLetters, ListWebhooks, Redeliver, Webhook},
    context::Context,
    errors::Failure,
    output,
};

/// Does what is asked of receivers.
///
/// # Errors
/// [`Failure`] of the call, of a file or of printing.
pub(super) async fn run(context: &Context, what: &Webhook) -> Result<(), Failure> {
    match what {
        Webhook::Create(args) => create(context, args).await,
        Webhook::List(args) => list(context, args).await,
        Webhook::Delete(args) => delete(context, args).await,
        Webhook::Letters(args) => letters(context, args).await,
        Webhook::Redeliver(args) => redeliver(context, args).await,
    }
}

async fn create(context: &Context, args: &CreateWebhook) -> Result<(), Failure> {
    let secret = match (&args.secret_file, &args.new_secret_to) {
        (Some(path), _) => std::fs::read_to_string(path)
            .map_err(|error| Failure::File { path: path.clone(), why: error.to_string() })?,
        (None, Some(path)) => token::new_secret(path)?,
        (None, None) => return Err(Failure::Usage("--secret-file or --new-secret-to is needed".to_owned())),
    };
    let request = CreateWebhookRequest {
        request_id: context.client.request_id(),
        webhook: Some(feed::Webhook {
            webhook_id: args.webhook_id.clone(),
            url: args.url.clone(),
            types: args.types.clone(),
            subject_prefix: args.subject.clone(),
            ..feed::Webhook::default()
        }),
        secret: secret.trim().to_owned(),
    };
    let service = context.client.webhooks();
    let created = call!(service, create_webhook, request)?.webhook.ok_or(Failure::Answer("the receiver"))?;
    let answer = ListWebhooksResponse { webhooks: vec![created], next_page_token: String::new() };
    context.show_sheet(&answer, |_| output::webhook_sheet(&answer.webhooks))
}

async fn list(context: &Context, args: &ListWebhooks) -> Result<(), Failure> {
    let service = context.client.webhooks();
    let service = &service;
    let all = pages::all(args.limit, |page_size, page_token| async move {
        let answer = call!(service, list_webhooks, ListWebhooksRequest { page_size, page_token })?;
        Ok((answer.webhooks, answer.next_page_token))
    })
    .await?;
    let answer = ListWebhooksResponse { webhooks: all.items, next_page_token: all.next_page_token };
    context.show_sheet(&answer, |_| output::webhook_sheet(&answer.webhooks))
}

async fn delete(context: &Context, args: &DeleteWebhook) -> Result<(), Failure> {
    let request =
        DeleteWebhookRequest { request_id: context.client.request_id(), webhook_id: args.webhook_id.clone() };
    let service = context.client.webhooks();
    call!(service, delete_webhook, request)?;
    context.remark(&format!("{} is told nothing any more", args.webhook_id))
}

async fn letters(context: &Context, args: &ListLetters) -> Result<(), Failure> {
    let service = context.client.webhooks();
    let service = &service;
    let all = pages::all(args.limit, |page_size, page_token| async move {
        let webhook_id = args.webhook_id.clone();
        let request = ListDeadLettersRequest { webhook_id, page_size, page_token };
        let answer = call!(service, list_dead_letters, request)?;
        Ok((answer.dead_letters, answer.next_page_token))
    })
    .await?;
    let answer = ListDeadLettersResponse { dead_letters: all.items, next_page_token: all.next_page_token };
    context.show_sheet(&answer, |_| output::letter_sheet(&answer.dead_letters))
}

async fn redeliver(context: &Context, args: &Redeliver) -> Result<(), Failure> {
    let request = RedeliverDeadLettersRequest {
        request_id: context.client.request_id(),
        webhook_id: args.webhook_id.clone(),
        sequences: args.sequences.clone(),
    };
    let service = context.client.webhooks();
    let queued = call!(service, redeliver_dead_letters, request)?.queued;
    context.remark(&format!("{queued} are sent again"))
}
