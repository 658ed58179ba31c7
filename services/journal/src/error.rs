//! Why the journal is not shown.

use becket_api::errors::ErrorReason;
use becket_service_kit::{RequestError, StatusBuilder, from_faults, internal};
use becket_store::StoreError;
use becket_units::Fault;
use tonic::Status;

/// Why the journal is not shown.
#[derive(Debug, thiserror::Error)]
pub(crate) enum JournalError {
    /// The page size is not allowed.
    #[error("{0}")]
    PageSize(Fault),
    /// The page token is not one of this list.
    #[error(
        "the page token is not one that this list gave with this filter; begin again with the first page"
    )]
    PageToken,
    /// The store fails.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An entry cannot be read: a fault of the service, or damage.
    #[error("entry {sequence} of the journal is no JSON object")]
    Damaged {
        /// Sequence of the entry.
        sequence: i64,
    },
}

impl From<RequestError> for JournalError {
    fn from(error: RequestError) -> Self {
        match error {
            RequestError::Fault(fault) => Self::PageSize(fault),
            RequestError::PageToken => Self::PageToken,
            RequestError::Store(error) => Self::Store(error),
            RequestError::Damaged(error) => Self::Store(StoreError::Corrupt { what: error.to_string() }),
        }
    }
}

impl From<JournalError> for Status {
    fn from(error: JournalError) -> Self {
        let text = error.to_string();
        match error {
            JournalError::PageSize(fault) => from_faults(&[fault]),
            JournalError::PageToken => StatusBuilder::new(ErrorReason::PageTokenInvalid, text.clone())
                .violation("page_token", text)
                .build(),
            JournalError::Store(StoreError::TextUnstorable) => {
                StatusBuilder::new(ErrorReason::FieldInvalid, text).build()
            }
            JournalError::Store(StoreError::Busy) => {
                StatusBuilder::new(ErrorReason::Overloaded, text).build()
            }
            JournalError::Store(StoreError::Unavailable(source)) => {
                tracing::error!(%source, "the store is unavailable");
                StatusBuilder::new(ErrorReason::UpstreamUnavailable, text).build()
            }
            JournalError::Store(other) => internal(format!("unexpected error of the store: {other:?}")),
            JournalError::Damaged { .. } => internal(text),
        }
    }
}
