//! What every write does before and after its work.

use becket_api::cutting::{
    CancelCutListRequest, ConfirmStepRequest, FinishCutListRequest, PlanCutListRequest, ReceiveCoilsRequest,
    ReplanCutListRequest, ReportSpoiledPieceRequest, ReturnCoilRequest, SaveStationRequest, ScrapCoilRequest,
    SetAsideCoilRequest, SetStockRuleRequest, StartCutListRequest, UnmountCoilRequest, WeighCoilRequest,
};
use becket_api::digest::request_digest;
use becket_service_kit::{CallContext, check_request_id};
use becket_store::WriteContext;
use prost::Message;

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
            const METHOD: &'static str = concat!("becket.cutting.v1.", $method);

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
    ReceiveCoilsRequest: "CoilService/ReceiveCoils", |request| request.validate_only;
    WeighCoilRequest: "CoilService/WeighCoil", |_| false;
    SetAsideCoilRequest: "CoilService/SetAsideCoil", |_| false;
    ReturnCoilRequest: "CoilService/ReturnCoil", |_| false;
    ScrapCoilRequest: "CoilService/ScrapCoil", |_| false;
    SetStockRuleRequest: "CoilService/SetStockRule", |_| false;
    SaveStationRequest: "StationService/SaveStation", |_| false;
    UnmountCoilRequest: "StationService/UnmountCoil", |_| false;
    PlanCutListRequest: "CutListService/PlanCutList", |request| request.validate_only;
    StartCutListRequest: "CutListService/StartCutList", |_| false;
    ConfirmStepRequest: "CutListService/ConfirmStep", |_| false;
    ReportSpoiledPieceRequest: "CutListService/ReportSpoiledPiece", |_| false;
    ReplanCutListRequest: "CutListService/ReplanCutList", |_| false;
    FinishCutListRequest: "CutListService/FinishCutList", |_| false;
    CancelCutListRequest: "CutListService/CancelCutList", |_| false;
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
    /// A repeat gets its first answer even if the request would be refused by now, so this comes before any other check. With
    /// validate_only nothing is stored, so nothing can be repeated, and no id is needed.
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

/// Reads a message that this service has stored.
pub(crate) fn decode<M: Message + Default>(bytes: &[u8]) -> Result<M, UseCaseError> {
    M::decode(bytes)
        .map_err(|error| UseCaseError::Internal(format!("a stored message cannot be read: {error}")))
}

/// Begins a write, or returns from the use case with the answer that was given before.
macro_rules! begin {
    ($app:expr, $call:expr, $request:expr) => {
        match $app.begin($call, $request).await? {
            $crate::write::Begun::Answered(answer) => return Ok(answer),
            $crate::write::Begun::New(context) => context,
        }
    };
}
pub(crate) use begin;
