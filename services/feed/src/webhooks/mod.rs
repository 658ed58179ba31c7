//! Receivers that are told by HTTP: who they are, and telling them.
//!
//! The journal is the outbox: `becket_store::WebhookStore` keeps only how far each receiver was told, and moves that together with a look at
//! the fence of the lease. `sender` holds the lease and starts a `course` for each receiver that has something to be told; a receiver that
//! is slow or away holds up nobody else. `post` sends one event, to a `target` that may be called, with a `signature`.

mod course;
mod pause;
mod post;
mod sender;
mod signature;
mod target;
mod use_cases;

use std::sync::Arc;

use becket_service_kit::{Clock, WebhookSettings};
use becket_store::WebhookStore;

pub(crate) use post::Poster;
pub use post::TrustError;
pub(crate) use sender::Sender;
pub(crate) use use_cases::Receivers;

/// What telling needs.
pub(crate) struct Teller {
    pub(crate) store: Arc<dyn WebhookStore>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) settings: WebhookSettings,
    pub(crate) source: String,
    pub(crate) poster: Poster,
    /// Tells this process from other replicas.
    pub(crate) holder: String,
}
