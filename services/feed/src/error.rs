//! Why events are not told.

use becket_api::errors::ErrorReason;
use becket_service_kit::{RequestError, StatusBuilder, from_faults, internal};
use becket_store::StoreError;
use becket_units::Fault;
use tonic::Status;

use crate::events::Untellable;

/// Why events are not told, or no more of them.
#[derive(Debug, thiserror::Error)]
pub(crate) enum FeedError {
    /// Fields of the request are faulty; all of them are listed.
    #[error("the request is faulty")]
    Faults(Vec<Fault>),
    /// The page token is not one of this list.
    #[error(
        "the page token is not one that this list gave with this filter; begin again with the first page"
    )]
    PageToken,
    /// Events behind the token are no longer told.
    #[error(
        "events behind the resume token are no longer delivered: {0}; read the state and begin anew with a start position"
    )]
    Expired(&'static str),
    /// The caller does not read.
    #[error("the stream was not read for {after_s} s and is cut off; resume with the last token")]
    TooSlow {
        /// How long was waited.
        after_s: u64,
    },
    /// The store fails.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An entry is damaged.
    #[error(transparent)]
    Untellable(#[from] Untellable),
}

impl From<RequestError> for FeedError {
    fn from(error: RequestError) -> Self {
        match error {
            RequestError::Fault(fault) => Self::Faults(vec![fault]),
            RequestError::PageToken => Self::PageToken,
            RequestError::Store(error) => Self::Store(error),
            RequestError::Damaged(error) => Self::Store(StoreError::Corrupt { what: error.to_string() }),
        }
    }
}

impl From<FeedError> for Status {
    fn from(error: FeedError) -> Self {
        let text = error.to_string();
        match error {
            FeedError::PageToken | FeedError::Store(StoreError::CursorInvalid) => {
                StatusBuilder::new(ErrorReason::PageTokenInvalid, text.clone())
                    .violation("page_token", text)
                    .build()
            }
            FeedError::Store(StoreError::NotFound { kind, id }) => {
                StatusBuilder::new(ErrorReason::NotFound, text).meta("kind", kind).meta("id", id).build()
            }
            FeedError::Store(StoreError::AlreadyExists { .. }) => {
                StatusBuilder::new(ErrorReason::AlreadyExists, text).build()
            }
            FeedError::Store(StoreError::RequestIdReused) => {
                StatusBuilder::new(ErrorReason::RequestIdReused, text).build()
            }
            FeedError::Store(StoreError::AnswerDropped { sequence }) => {
                StatusBuilder::new(ErrorReason::AnswerDropped, text).meta("sequence", sequence).build()
            }
            FeedError::Store(StoreError::TextUnstorable) => {
                StatusBuilder::new(ErrorReason::FieldInvalid, text).build()
            }
            FeedError::Faults(faults) => from_faults(&faults),
            FeedError::Expired(_) => StatusBuilder::new(ErrorReason::ResumeTokenExpired, text).build(),
            FeedError::TooSlow { .. } => StatusBuilder::new(ErrorReason::ReaderTooSlow, text).build(),
            FeedError::Store(StoreError::Busy) => StatusBuilder::new(ErrorReason::Overloaded, text).build(),
            FeedError::Store(StoreError::Unavailable(source)) => {
                tracing::error!(%source, "the store is unavailable");
                StatusBuilder::new(ErrorReason::UpstreamUnavailable, text).build()
            }
            FeedError::Store(other) => internal(format!("unexpected error of the store: {other:?}")),
            FeedError::Untellable(_) => internal(text),
        }
    }
}
