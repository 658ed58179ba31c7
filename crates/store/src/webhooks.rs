//! Receivers of events by HTTP: whom to tell, how far each was told, and which replica tells.
//!
//! The journal is the outbox. A change and its entry are one transaction, so an event exists exactly if its change does; what is kept
//! here is only how far in the journal each receiver was told. One replica tells at a time: it holds a lease, whose fence rises with every
//! change of hands, and every outcome is noted together with a look at the fence, so that a replica that was held up moves nothing.

use std::fmt;

use async_trait::async_trait;

use crate::context::{Answer, Outdated, WriteContext, Written};
use crate::error::StoreError;
use crate::journal::JournalStore;
use crate::page::{Page, PageRequest};

/// The key of signatures. It is not shown.
#[derive(Clone, PartialEq, Eq)]
pub struct SigningKey(pub String);

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(hidden)")
    }
}

/// A receiver that is to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewWebhook {
    /// Id.
    pub webhook_id: String,
    /// Where it listens.
    pub url: String,
    /// Names of types of events; empty for all.
    pub types: Vec<String>,
    /// How subjects begin; empty for all.
    pub subject_prefix: String,
    /// The key of its signatures.
    pub secret: SigningKey,
}

/// How far a receiver was told.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WebhookProgress {
    /// Sequence in the journal up to which everything was told, or laid aside.
    pub told_sequence: i64,
    /// Failed attempts with the next event.
    pub attempts: i64,
    /// When the next attempt is due, in µs since 1970 (UTC).
    pub next_us: i64,
    /// Why the last attempt failed; empty if it did not.
    pub last_error: String,
}

/// A receiver as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredWebhook {
    /// What was asked for.
    pub webhook: NewWebhook,
    /// Whether the receiver said that it is gone for good.
    pub gone: bool,
    /// How far it was told.
    pub progress: WebhookProgress,
    /// Events that were laid aside, those to be sent again among them.
    pub letters: i64,
    /// Events among them that are to be sent again.
    pub queued: i64,
    /// When it was created, in µs since 1970 (UTC).
    pub created_us: i64,
}

/// An event that could not be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeadLetter {
    /// Sequence of its entry in the journal.
    pub sequence: i64,
    /// Whether it is to be sent again.
    pub queued: bool,
    /// Attempts so far.
    pub attempts: i64,
    /// When the last one failed, in µs since 1970 (UTC).
    pub failed_us: i64,
    /// Why.
    pub last_error: String,
}

/// What came of telling a receiver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It stands here now: an event was told, skipped since it is not wanted, or failed and is tried again.
    Progress(WebhookProgress),
    /// The event was tried often enough and is laid aside.
    LaidAside(WebhookProgress, DeadLetter),
    /// The receiver is gone for good; it is not told any more. That is an entry of the journal, since it changes what is told to whom.
    Gone {
        /// It stands here.
        progress: WebhookProgress,
        /// When it said so, in µs since 1970 (UTC).
        gone_us: i64,
    },
    /// A letter was told after all.
    LetterTold {
        /// Sequence of its entry.
        sequence: i64,
    },
    /// A letter failed again.
    LetterFailed(DeadLetter),
}

/// Keeps receivers.
#[async_trait]
pub trait WebhookStore: JournalStore {
    /// Stores a receiver, which is told what is committed after this.
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`], and those of every write.
    async fn create_webhook(
        &self,
        ctx: &WriteContext,
        webhook: NewWebhook,
        answer: Answer<StoredWebhook>,
    ) -> Result<Written, StoreError>;

    /// Removes a receiver with its letters.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], and those of every write.
    async fn delete_webhook(
        &self,
        ctx: &WriteContext,
        webhook_id: &str,
        answer: Answer<()>,
    ) -> Result<Written, StoreError>;

    /// Marks letters to be sent again: those with these sequences, or all if there are none. Gives their number.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], and those of every write.
    async fn queue_letters(
        &self,
        ctx: &WriteContext,
        webhook_id: &str,
        sequences: Vec<i64>,
        answer: Answer<i64>,
    ) -> Result<Written, StoreError>;

    /// Receivers by id.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn list_webhooks(&self, page: &PageRequest) -> Result<Page<StoredWebhook>, StoreError>;

    /// Letters of a receiver by sequence; only those to be sent again if `queued`.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`], [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn list_letters(
        &self,
        webhook_id: &str,
        queued: bool,
        page: &PageRequest,
    ) -> Result<Page<DeadLetter>, StoreError>;

    /// Takes or keeps the lease for `ttl_us`, and returns its fence; `None` while another one holds it. An engine that several
    /// replicas share goes by its own clock, which is the one that they have in common; `now_us` is for the others. A lease that ends
    /// later than any could is one of before a clock jumped, and void.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn take_lease(&self, holder: &str, now_us: i64, ttl_us: i64) -> Result<Option<i64>, StoreError>;

    /// Notes what came of telling a receiver. Nothing is noted, and `false` returned, if the fence is not that of the lease, or the receiver
    /// no longer stands at `told_sequence`.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn note_outcome(
        &self,
        fence: i64,
        webhook_id: &str,
        told_sequence: i64,
        outcome: &Outcome,
    ) -> Result<bool, StoreError>;

    /// Drops the oldest events that could not be told and need no longer be kept, and returns how many; 0 if the fence is not that of the
    /// lease. Those that are to be sent again stay.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn drop_letters(&self, fence: i64, old: &Outdated) -> Result<u64, StoreError>;
}
