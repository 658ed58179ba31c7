//! How writes begin, and their answers.

use becket_api::requests::WriteRequest;
use becket_service_kit::{Begun, CallContext, RequestError, begin_write, or_first_answer};
use becket_store::{Document, Written};
use prost::{Message, Name};

use crate::app::App;
use crate::error::UseCaseError;

impl App {
    /// Begins a write, as [`begin_write`] tells.
    pub(crate) async fn begin<Q: WriteRequest, R: Message + Default>(
        &self,
        call: &CallContext,
        request: &mut Q,
    ) -> Result<Begun<R>, RequestError> {
        begin_write(&*self.store, &*self.clock, call, request).await
    }

    /// Ends a write, as [`or_first_answer`] tells; `again` is its request.
    pub(crate) async fn end<Q: WriteRequest, R: Message + Default>(
        &self,
        call: &CallContext,
        again: Q,
        write: impl Future<Output = Result<R, UseCaseError>>,
    ) -> Result<R, UseCaseError> {
        or_first_answer(&*self.store, &*self.clock, call, again, write).await
    }
}

/// The answer of a write as a message.
pub(crate) fn answer<R: Message + Default>(written: &Written) -> Result<R, UseCaseError> {
    decode(&written.answer)
}

/// Reads a message that this service has stored.
pub(crate) fn decode<M: Message + Default>(bytes: &[u8]) -> Result<M, UseCaseError> {
    Ok(becket_service_kit::decode(bytes)?)
}

/// A message as state.
pub(crate) fn document<M: Message + Name>(message: &M) -> Result<Document, UseCaseError> {
    let json = becket_api::json::to_json(message)
        .map_err(|error| UseCaseError::Internal(format!("a message has no JSON form: {error}")))?;
    Ok(Document { bytes: message.encode_to_vec(), json: json.to_string() })
}
