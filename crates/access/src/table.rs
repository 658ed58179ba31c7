//! The table of permissions: every RPC, and the roles that may call it.

use crate::role::{Role, RoleSet};

/// Who may call one method.
#[derive(Debug, Clone, Copy)]
pub struct Permission {
    /// Full name of the service.
    pub service: &'static str,
    /// Name of the method.
    pub method: &'static str,
    /// Roles that may call it.
    pub roles: RoleSet,
}

use Role::{Administrator, Engineering, ErpReader, Purchasing, Service, Station, StockKeeper};

/// People and programs that only look.
const READERS: &[Role] = &[Station, Engineering, StockKeeper, Purchasing, ErpReader, Administrator];
/// As [`READERS`], and the other service.
const READERS_AND_SERVICE: &[Role] =
    &[Station, Engineering, StockKeeper, Purchasing, ErpReader, Administrator, Service];
const ENGINEERS: &[Role] = &[Engineering, Administrator];
const FLOOR: &[Role] = &[Station, Administrator];
const PLANNERS: &[Role] = &[Station, Engineering, Administrator];
const STOCK: &[Role] = &[StockKeeper, Administrator];
const STOCK_AND_FLOOR: &[Role] = &[StockKeeper, Station, Administrator];
const OFFICE: &[Role] = &[Engineering, StockKeeper, Purchasing, Administrator];

macro_rules! permissions {
    ($($service:literal: { $($method:ident: $roles:expr,)+ })+) => {
        &[$($(Permission { service: $service, method: stringify!($method), roles: RoleSet::of($roles) },)+)+]
    };
}

/// Every RPC of becket. A method that is missing here cannot be called by anyone, and a test fails.
pub const PERMISSIONS: &[Permission] = permissions! {
    "becket.stringing.v1.WireService": {
        ImportWires: ENGINEERS,
        UpdateWire: ENGINEERS,
        GetWire: READERS_AND_SERVICE,
        ListWires: READERS_AND_SERVICE,
    }
    "becket.stringing.v1.ScaleService": {
        CreateScale: ENGINEERS,
        UpdateScale: ENGINEERS,
        ReleaseScale: ENGINEERS,
        GetScale: READERS,
        ListScales: READERS,
    }
    "becket.stringing.v1.JobService": {
        OpenJob: ENGINEERS,
        AmendJob: ENGINEERS,
        CloseJob: ENGINEERS,
        GetJob: READERS_AND_SERVICE,
        ListJobs: READERS_AND_SERVICE,
    }
    "becket.stringing.v1.StringSetService": {
        ComputeStringSet: READERS_AND_SERVICE,
        GetStringSet: READERS_AND_SERVICE,
        // Only the cutting service knows when the first piece is cut.
        FreezeStringSet: &[Service, Administrator],
        ComputePartials: READERS,
        ComputeJobSets: READERS,
    }
    "becket.stringing.v1.DesignService": {
        DesignBass: ENGINEERS,
        DesignPlainWires: ENGINEERS,
        MatchReplacement: READERS,
        CompareSets: READERS,
        ComputeStretch: READERS,
        ComputeBands: READERS,
        ListSpecialStrings: READERS,
    }
    "becket.stringing.v1.WindingOrderService": {
        ReleaseWindingOrder: &[Engineering, Purchasing, Administrator],
        GetWindingOrder: READERS,
        ListWindingOrders: READERS,
    }
    "becket.cutting.v1.CoilService": {
        ReceiveCoils: STOCK,
        WeighCoil: STOCK_AND_FLOOR,
        DecideCoilEvidence: STOCK,
        ListCoilEvidence: READERS,
        SetAsideCoil: STOCK_AND_FLOOR,
        ReturnCoil: STOCK,
        ScrapCoil: STOCK,
        GetCoil: READERS,
        ListCoils: READERS,
        SetStockRule: &[StockKeeper, Purchasing, Administrator],
        ListStockRules: READERS,
    }
    "becket.cutting.v1.StationService": {
        SaveStation: ENGINEERS,
        GetStation: READERS,
        UnmountCoil: STOCK_AND_FLOOR,
        ListStations: READERS,
    }
    "becket.cutting.v1.PlanService": {
        PlanCuts: READERS,
    }
    "becket.cutting.v1.CutListService": {
        PlanCutList: PLANNERS,
        StartCutList: FLOOR,
        ConfirmStep: FLOOR,
        ReportSpoiledPiece: FLOOR,
        ReportRunOut: FLOOR,
        ReplanCutList: PLANNERS,
        FinishCutList: FLOOR,
        CancelCutList: PLANNERS,
        GetCutList: READERS,
        GetWorkSheet: READERS,
        ListCutLists: READERS,
        WatchCutList: READERS,
    }
    "becket.cutting.v1.PurchasingService": {
        EstimateWire: OFFICE,
    }
    "becket.cutting.v1.RecordService": {
        GetSerialRecord: READERS,
        ListLotSerials: READERS,
    }
    "becket.journal.v1.JournalService": {
        ListEntries: &[ErpReader, Administrator],
    }
    "becket.feed.v1.FeedService": {
        WatchEvents: &[ErpReader, Administrator],
    }
    // What is sent out of the shop is the administrator's to say.
    "becket.feed.v1.WebhookService": {
        CreateWebhook: &[Administrator],
        ListWebhooks: &[Administrator],
        DeleteWebhook: &[Administrator],
        ListDeadLetters: &[Administrator],
        RedeliverDeadLetters: &[Administrator],
    }
    "grpc.reflection.v1.ServerReflection": {
        ServerReflectionInfo: READERS_AND_SERVICE,
    }
    "grpc.reflection.v1alpha.ServerReflection": {
        ServerReflectionInfo: READERS_AND_SERVICE,
    }
};

/// The roles that may call a method, given as `/package.Service/Method`; `None` for a method that is not in the table.
#[must_use]
pub fn roles_of(path: &str) -> Option<RoleSet> {
    let (service, method) = path.strip_prefix('/')?.split_once('/')?;
    PERMISSIONS
        .iter()
        .find(|permission| permission.service == service && permission.method == method)
        .map(|permission| permission.roles)
}
