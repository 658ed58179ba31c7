//! Receivers of events by HTTP.

use async_trait::async_trait;
use sha2::{Digest, Sha256};

use super::effects::webhooks as effects;
use super::{Columns, Writing};
use crate::context::WriteContext;
use crate::effect::encode;
use crate::error::{Kind, StoreError};
use crate::journal::Entry;
use crate::webhooks::{DeadLetter, NewWebhook, SigningKey, StoredWebhook, WebhookProgress};

/// The steps of writes of receivers.
#[async_trait]
pub trait WebhookTables: Writing {
    /// Adds a receiver that is told what is committed after this. Returns whether it was new.
    async fn insert_webhook(&mut self, webhook: &NewWebhook) -> Result<bool, StoreError>;

    /// A receiver, if it is there. Nobody else removes it until the write has ended.
    async fn read_webhook(&mut self, webhook_id: &str) -> Result<Option<StoredWebhook>, StoreError>;

    /// Removes a receiver with its letters.
    async fn remove_webhook(&mut self, webhook_id: &str) -> Result<(), StoreError>;

    /// Marks letters to be sent again, all if `sequences` is empty, and returns their number.
    async fn queue_letters(&mut self, webhook_id: &str, sequences: &[i64]) -> Result<i64, StoreError>;
}

/// See [`WebhookStore::create_webhook`](crate::WebhookStore::create_webhook).
///
/// # Errors
/// As stated there.
pub async fn create_webhook(
    tables: &mut impl WebhookTables,
    webhook: &NewWebhook,
) -> Result<StoredWebhook, StoreError> {
    if !tables.insert_webhook(webhook).await? {
        return Err(StoreError::AlreadyExists { kind: Kind::Webhook, ids: vec![webhook.webhook_id.clone()] });
    }
    tables.effect(effects::created(webhook, tables.now_us()));
    tables.tell(subject(&webhook.webhook_id), None, Some(json(webhook)));
    known(tables, &webhook.webhook_id).await
}

/// See [`WebhookStore::delete_webhook`](crate::WebhookStore::delete_webhook).
///
/// # Errors
/// As stated there.
pub async fn delete_webhook(tables: &mut impl WebhookTables, webhook_id: &str) -> Result<(), StoreError> {
    let before = known(tables, webhook_id).await?;
    tables.remove_webhook(webhook_id).await?;
    tables.effect(effects::removed(&before.webhook, before.gone, before.created_us));
    tables.tell(subject(webhook_id), Some(json(&before.webhook)), None);
    Ok(())
}

/// See [`WebhookStore::queue_letters`](crate::WebhookStore::queue_letters).
///
/// # Errors
/// As stated there.
pub async fn queue_letters(
    tables: &mut impl WebhookTables,
    webhook_id: &str,
    sequences: &[i64],
) -> Result<i64, StoreError> {
    known(tables, webhook_id).await?;
    let queued = tables.queue_letters(webhook_id, sequences).await?;
    tables.tell(subject(webhook_id), None, Some(serde_json::json!({ "redelivered": queued }).to_string()));
    Ok(queued)
}

/// The entry that a receiver is gone for good. The service itself makes it, by what the receiver answered.
#[must_use]
pub fn webhook_gone(webhook_id: &str, gone_us: i64) -> Entry {
    let ctx = WriteContext {
        method: "becket/TellReceiver",
        request_id: String::new(),
        request_digest: [0; 32],
        actor: String::new(),
        origin: String::new(),
        now_us: gone_us,
    };
    let state = |state: &str| Some(serde_json::json!({ "state": state }).to_string());
    Entry {
        effects: Some(encode(&[effects::gone(webhook_id)])),
        ..Entry::new(&ctx, subject(webhook_id), state("ACTIVE"), state("GONE"))
    }
}

async fn known(tables: &mut impl WebhookTables, webhook_id: &str) -> Result<StoredWebhook, StoreError> {
    let missing = || StoreError::NotFound { kind: Kind::Webhook, id: webhook_id.to_owned() };
    tables.read_webhook(webhook_id).await?.ok_or_else(missing)
}

fn subject(webhook_id: &str) -> String {
    format!("{}/{webhook_id}", Kind::Webhook)
}

/// For the journal, which tells of the key only whether it is another one.
fn json(webhook: &NewWebhook) -> String {
    let NewWebhook { webhook_id, url, types, subject_prefix, secret } = webhook;
    let digest: [u8; 32] = Sha256::digest(secret.0.as_bytes()).into();
    let digest: String = digest.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    serde_json::json!({
        "webhook_id": webhook_id, "url": url, "types": types, "subject_prefix": subject_prefix, "secret_sha256": digest,
    })
    .to_string()
}

/// A receiver from a row of it, its progress and the counts of its letters.
///
/// # Errors
/// [`StoreError::Corrupt`].
pub fn webhook_of(row: &impl Columns) -> Result<StoredWebhook, StoreError> {
    Ok(StoredWebhook {
        webhook: NewWebhook {
            webhook_id: row.text("webhook_id")?,
            url: row.text("url")?,
            types: row.text("types")?.split_whitespace().map(str::to_owned).collect(),
            subject_prefix: row.text("subject_prefix")?,
            secret: SigningKey(row.text("secret")?),
        },
        gone: row.text("state")? == "gone",
        progress: WebhookProgress {
            told_sequence: row.integer("told_sequence")?,
            attempts: row.integer("attempts")?,
            next_us: row.integer("next_us")?,
            last_error: row.text("last_error")?,
        },
        letters: row.integer("letters")?,
        queued: row.integer("queued")?,
        created_us: row.integer("created_us")?,
    })
}

/// A letter from its row.
///
/// # Errors
/// [`StoreError::Corrupt`].
pub fn letter_of(row: &impl Columns) -> Result<DeadLetter, StoreError> {
    Ok(DeadLetter {
        sequence: row.integer("sequence")?,
        queued: row.text("state")? == "queued",
        attempts: row.integer("attempts")?,
        failed_us: row.integer("failed_us")?,
        last_error: row.text("last_error")?,
    })
}

/// The query of receivers with an id above $1, or with the id $1, and what is to follow; both engines read it.
pub const WEBHOOKS_SQL: &str = "SELECT w.*, p.told_sequence, p.attempts, p.next_us, p.last_error, \
    (SELECT COUNT(*) FROM webhook_letters l WHERE l.webhook_id = w.webhook_id) AS letters, \
    (SELECT COUNT(*) FROM webhook_letters l WHERE l.webhook_id = w.webhook_id AND l.state = 'queued') AS queued \
    FROM webhooks w JOIN webhook_progress p ON p.webhook_id = w.webhook_id WHERE w.webhook_id ";
