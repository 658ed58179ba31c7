//! How writes begin.

use becket_api::requests::WriteRequest;
use becket_service_kit::{Begun, CallContext, RequestError, begin_write, or_first_answer};
use prost::Message;

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

/// Reads a message that this service has stored.
pub(crate) fn decode<M: Message + Default>(bytes: &[u8]) -> Result<M, UseCaseError> {
    Ok(becket_service_kit::decode(bytes)?)
}

/// Begins a write, or returns from the use case with the answer that was given before.
macro_rules! begin {
    ($app:expr, $call:expr, $request:expr) => {
        match $app.begin($call, $request).await? {
            becket_service_kit::Begun::Answered(answer) => return Ok(answer),
            becket_service_kit::Begun::New(context) => context,
        }
    };
}
pub(crate) use begin;
