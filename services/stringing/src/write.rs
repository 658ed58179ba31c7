//! What every write does before and after its work.

use becket_api::digest::request_digest;
use becket_api::stringing::{
    AmendJobRequest, CloseJobRequest, CreateScaleRequest, FreezeStringSetRequest, ImportWiresRequest,
    OpenJobRequest, ReleaseScaleRequest, ReleaseWindingOrderRequest, UpdateScaleRequest, UpdateWireRequest,
};
use becket_service_kit::{CallContext, check_request_id};
use becket_store::{Document, WriteContext, Written};
use prost::{Message, Name};

use crate::app::App;
use crate::error::UseCaseError;

/// A request that changes something.
pub(crate) trait WriteRequest: Message {
    /// Full name of the method.
    const METHOD: &'static str;

    /// The request id.
    fn request_id(&mut self) -> &mut String;

    /// Whether everything is checked and nothing stored.
    fn validate_only(&self) -> bool;
}

macro_rules! write_requests {
    ($($request:ty: $method:literal, $validate_only:expr;)*) => {$(
        impl WriteRequest for $request {
            const METHOD: &'static str = concat!("becket.stringing.v1.", $method);

            fn request_id(&mut self) -> &mut String {
                &mut self.request_id
            }

            fn validate_only(&self) -> bool {
                let validate_only: fn(&Self) -> bool = $validate_only;
                validate_only(self)
            }
        }
    )*};
}

write_requests! {
    ImportWiresRequest: "WireService/ImportWires", |request| request.validate_only;
    UpdateWireRequest: "WireService/UpdateWire", |request| request.validate_only;
    CreateScaleRequest: "ScaleService/CreateScale", |request| request.validate_only;
    UpdateScaleRequest: "ScaleService/UpdateScale", |request| request.validate_only;
    ReleaseScaleRequest: "ScaleService/ReleaseScale", |_| false;
    OpenJobRequest: "JobService/OpenJob", |request| request.validate_only;
    AmendJobRequest: "JobService/AmendJob", |request| request.validate_only;
    CloseJobRequest: "JobService/CloseJob", |_| false;
    FreezeStringSetRequest: "StringSetService/FreezeStringSet", |_| false;
    ReleaseWindingOrderRequest: "WindingOrderService/ReleaseWindingOrder", |request| request.validate_only;
}

/// How a write begins.
pub(crate) enum Begun<R> {
    /// The request was answered before; this is the answer.
    Answered(R),
    /// It is new.
    New(WriteContext),
}

impl App {
    /// Checks the request id, takes it out of the request and looks whether the request was answered before.
    ///
    /// A repeat gets its first answer even if the request would be refused by now, so this comes before any
    /// other check. With validate_only nothing is stored, so nothing can be repeated, and no id is needed.
    pub(crate) async fn begin<Q: WriteRequest, R: Message + Default>(
        &self,
        call: &CallContext,
        request: &mut Q,
    ) -> Result<Begun<R>, UseCaseError> {
        let request_id = std::mem::take(request.request_id());
        let validate_only = request.validate_only();
        if !(validate_only && request_id.is_empty()) {
            check_request_id(&request_id)?;
        }
        let context = WriteContext {
            method: Q::METHOD,
            request_id,
            request_digest: request_digest(Q::METHOD, &request.encode_to_vec()),
            actor: call.actor.clone(),
            origin: call.origin.clone(),
            now_us: self.clock.now_us(),
        };
        if validate_only {
            return Ok(Begun::New(context));
        }
        match self.store.find_answer(&context).await? {
            Some(answer) => decode(&answer).map(Begun::Answered),
            None => Ok(Begun::New(context)),
        }
    }
}

/// The answer of a write as a message.
pub(crate) fn answer<R: Message + Default>(written: &Written) -> Result<R, UseCaseError> {
    decode(&written.answer)
}

/// Reads a message that this service has stored.
pub(crate) fn decode<M: Message + Default>(bytes: &[u8]) -> Result<M, UseCaseError> {
    M::decode(bytes)
        .map_err(|error| UseCaseError::Internal(format!("a stored message cannot be read: {error}")))
}

/// A message as state.
pub(crate) fn document<M: Message + Name>(message: &M) -> Result<Document, UseCaseError> {
    let json = becket_api::json::to_json(message)
        .map_err(|error| UseCaseError::Internal(format!("a message has no JSON form: {error}")))?;
    Ok(Document { bytes: message.encode_to_vec(), json: json.to_string() })
}
