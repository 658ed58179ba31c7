//! What all requests for a page, and all requests that change something, have in common.

use prost::Message;

use crate::{cutting, feed, journal, stringing};

/// A request for a page of a list.
pub trait ListRequest: Message {
    /// Full name of the method.
    const METHOD: &'static str;

    /// Takes page size and token out, so that what is left is the filter.
    fn take_page(&mut self) -> (i32, String);
}

/// A request that changes something.
pub trait WriteRequest: Message {
    /// Full name of the method.
    const METHOD: &'static str;

    /// The request id.
    fn request_id(&mut self) -> &mut String;

    /// Whether everything is checked and nothing stored.
    fn validate_only(&self) -> bool;
}

macro_rules! list_requests {
    ($package:ident, $prefix:literal; $($request:ident: $method:literal;)*) => {$(
        impl ListRequest for $package::$request {
            const METHOD: &'static str = concat!($prefix, $method);

            fn take_page(&mut self) -> (i32, String) {
                (std::mem::take(&mut self.page_size), std::mem::take(&mut self.page_token))
            }
        }
    )*};
}

macro_rules! write_requests {
    ($package:ident, $prefix:literal; $($request:ident: $method:literal, $validate_only:expr;)*) => {$(
        impl WriteRequest for $package::$request {
            const METHOD: &'static str = concat!($prefix, $method);

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

list_requests! {
    journal, "becket.journal.v1.";
    ListEntriesRequest: "JournalService/ListEntries";
}

list_requests! {
    feed, "becket.feed.v1.";
    ListWebhooksRequest: "WebhookService/ListWebhooks";
    ListDeadLettersRequest: "WebhookService/ListDeadLetters";
}

list_requests! {
    stringing, "becket.stringing.v1.";
    ListWiresRequest: "WireService/ListWires";
    ListScalesRequest: "ScaleService/ListScales";
    ListWindingOrdersRequest: "WindingOrderService/ListWindingOrders";
    ListJobsRequest: "JobService/ListJobs";
}

list_requests! {
    cutting, "becket.cutting.v1.";
    ListCoilsRequest: "CoilService/ListCoils";
    ListCoilEvidenceRequest: "CoilService/ListCoilEvidence";
    ListStockRulesRequest: "CoilService/ListStockRules";
    ListStationsRequest: "StationService/ListStations";
    ListCutListsRequest: "CutListService/ListCutLists";
    ListLotSerialsRequest: "RecordService/ListLotSerials";
}

write_requests! {
    feed, "becket.feed.v1.";
    CreateWebhookRequest: "WebhookService/CreateWebhook", |_| false;
    DeleteWebhookRequest: "WebhookService/DeleteWebhook", |_| false;
    RedeliverDeadLettersRequest: "WebhookService/RedeliverDeadLetters", |_| false;
}

write_requests! {
    stringing, "becket.stringing.v1.";
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

write_requests! {
    cutting, "becket.cutting.v1.";
    ReceiveCoilsRequest: "CoilService/ReceiveCoils", |request| request.validate_only;
    WeighCoilRequest: "CoilService/WeighCoil", |_| false;
    DecideCoilEvidenceRequest: "CoilService/DecideCoilEvidence", |_| false;
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
    ReportRunOutRequest: "CutListService/ReportRunOut", |_| false;
    ReplanCutListRequest: "CutListService/ReplanCutList", |_| false;
    FinishCutListRequest: "CutListService/FinishCutList", |_| false;
    CancelCutListRequest: "CutListService/CancelCutList", |_| false;
}
