//! Why a use case refuses or fails.

use becket_api::stringing::JobState;
use becket_floor::{FloorError, ListId, SerialId, StationId};
use becket_planner::PlanError;
use becket_purchase::EstimateError;
use becket_service_kit::RequestError;
use becket_store::StoreError;
use becket_units::Fault;

use crate::upstream::UpstreamError;

/// Something that a request names and that is not there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Missing {
    /// Path of the field that names it.
    pub(crate) field: String,
    /// Kind of thing, as in a name: "jobs".
    pub(crate) kind: &'static str,
    /// Its id.
    pub(crate) id: String,
}

/// A job that a request names and that has ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct EndedJob {
    /// Path of the field that names it.
    pub(crate) field: String,
    /// Serial.
    pub(crate) serial_id: SerialId,
    /// State.
    pub(crate) state: JobState,
}

/// Why a use case refuses or fails. In every case nothing was stored.
#[derive(Debug, thiserror::Error)]
pub(crate) enum UseCaseError {
    /// Fields of the request are faulty; all of them are listed.
    #[error("the request is faulty")]
    Faults(Vec<Fault>),
    /// The page token is not one of this list.
    #[error(
        "the page token is not one that this list gave with this filter; begin again with the first page"
    )]
    PageToken,
    /// The etag is not the current one.
    #[error("cut list {list_id} has changed; read it again and decide again")]
    EtagStale {
        /// List.
        list_id: ListId,
        /// Its version now.
        version: i64,
    },
    /// The thing that the request is about is not there.
    #[error("{kind}/{id} is not there")]
    NotFound {
        /// Kind.
        kind: &'static str,
        /// Id.
        id: String,
    },
    /// The request names things that are not there; all of them are listed.
    #[error("the request names {} that {} not there; create it first", names(.0), if .0.len() == 1 { "is" } else { "are" })]
    ReferenceMissing(Vec<Missing>),
    /// A job has ended.
    #[error("job {serial_id} has ended, so nothing is cut for it")]
    JobEnded {
        /// Serial.
        serial_id: SerialId,
        /// State.
        state: JobState,
    },
    /// Several jobs have ended; all of them are listed.
    #[error("jobs {} have ended, so nothing is cut for them", ended_names(.0))]
    JobsEnded(Vec<EndedJob>),
    /// Every piece that is asked for is cut or on a list.
    #[error("every piece of these jobs is cut already or on a cut list; there is nothing to plan")]
    NothingToCut,
    /// No job is open.
    #[error("station {station_id} has no open job that is due by then")]
    NoOpenJob {
        /// Station.
        station_id: StationId,
    },
    /// Another list runs at the station.
    #[error("cut list {running} is running at station {station_id}; finish it first")]
    StationBusy {
        /// Station.
        station_id: StationId,
        /// List that is running.
        running: ListId,
    },
    /// The string set is not the one that was planned.
    #[error(
        "the string set of {serial_id} changed after cut list {list_id} was planned; re-plan the list, then go on"
    )]
    SetChanged {
        /// Serial.
        serial_id: SerialId,
        /// List.
        list_id: ListId,
    },
    /// The stringing service refuses or fails.
    #[error(transparent)]
    Upstream(#[from] UpstreamError),
    /// The floor forbids it.
    #[error(transparent)]
    Floor(#[from] FloorError),
    /// The schedule cannot be reckoned with.
    #[error(transparent)]
    Estimate(#[from] EstimateError),
    /// The pieces and coils are not a problem that can be planned.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The store refuses or fails.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The service is stopping.
    #[error("the service is stopping")]
    Stopping,
    /// A fault of the service.
    #[error("{0}")]
    Internal(String),
}

fn names(missing: &[Missing]) -> String {
    let mut names: Vec<String> = missing.iter().map(|m| format!("{}/{}", m.kind, m.id)).collect();
    names.dedup();
    names.join(", ")
}

fn ended_names(ended: &[EndedJob]) -> String {
    let names: Vec<&str> = ended.iter().map(|job| job.serial_id.as_str()).collect();
    names.join(", ")
}

impl UseCaseError {
    /// Whether somebody else was faster, so that reading and deciding again can help.
    pub(crate) fn is_contended(&self) -> bool {
        matches!(
            self,
            Self::Store(
                StoreError::VersionStale { .. }
                    | StoreError::StockChanged { .. }
                    | StoreError::PieceClaimed { .. }
            )
        )
    }
}

impl From<Fault> for UseCaseError {
    fn from(fault: Fault) -> Self {
        Self::Faults(vec![fault])
    }
}

impl From<Vec<Fault>> for UseCaseError {
    fn from(faults: Vec<Fault>) -> Self {
        Self::Faults(faults)
    }
}

impl From<RequestError> for UseCaseError {
    fn from(error: RequestError) -> Self {
        match error {
            RequestError::Fault(fault) => Self::from(fault),
            RequestError::PageToken => Self::PageToken,
            RequestError::Store(error) => Self::Store(error),
            RequestError::Damaged(_) => Self::Internal(error.to_string()),
        }
    }
}

impl From<becket_service_kit::ComputeError> for UseCaseError {
    fn from(error: becket_service_kit::ComputeError) -> Self {
        match error {
            becket_service_kit::ComputeError::Closed => Self::Stopping,
            becket_service_kit::ComputeError::Panicked(text) => Self::Internal(text),
        }
    }
}

/// How often a decision is taken again because somebody else was faster.
#[derive(Debug)]
pub(crate) struct Tries {
    left: u32,
}

impl Tries {
    /// Allows so many tries after the first.
    pub(crate) fn more(left: u32) -> Self {
        Self { left }
    }

    /// Whether to try again after this error.
    pub(crate) fn again(&mut self, error: &UseCaseError) -> bool {
        self.once_more(error.is_contended())
    }

    /// Whether to try again, if trying again can help.
    pub(crate) fn once_more(&mut self, can_help: bool) -> bool {
        if !can_help || self.left == 0 {
            return false;
        }
        self.left -= 1;
        true
    }
}
