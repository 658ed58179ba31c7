//! What reading a request can come to, before a use case looks at it.

use becket_store::StoreError;
use becket_units::Fault;
use prost::Message;

/// Why a request is not begun. Nothing was stored.
#[derive(Debug, thiserror::Error)]
pub enum RequestError {
    /// A field that all such requests have is faulty.
    #[error("{0}")]
    Fault(Fault),
    /// The page token is not one of this list.
    #[error(
        "the page token is not one that this list gave with this filter; begin again with the first page"
    )]
    PageToken,
    /// The store refuses or fails.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A stored message cannot be read: a fault of the service, or damage.
    #[error("a stored message cannot be read: {0}")]
    Damaged(#[from] prost::DecodeError),
}

impl From<Fault> for RequestError {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// Reads a message that the service has stored.
///
/// # Errors
/// [`RequestError::Damaged`].
pub fn decode<M: Message + Default>(bytes: &[u8]) -> Result<M, RequestError> {
    Ok(M::decode(bytes)?)
}
