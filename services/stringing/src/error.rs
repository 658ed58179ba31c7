//! Why a use case refuses or fails.

use becket_design::DesignError;
use becket_scale::ComputeError;
use becket_service_kit::RequestError;
use becket_store::{JobState, StoreError};
use becket_units::Fault;
use becket_winding::OrderError;

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
    /// Something is named that is not there.
    #[error("{kind} {id} is not there; {remedy}")]
    ReferenceMissing {
        /// What kind of thing.
        kind: &'static str,
        /// Its id.
        id: String,
        /// What the caller can do.
        remedy: &'static str,
    },
    /// A stored scale does not fit the catalogue as it is now.
    #[error("scale {id} no longer fits the wire catalogue; correct the wires or make a new revision")]
    ScaleUnfit {
        /// "model/revision".
        id: String,
        /// Where.
        faults: Vec<Fault>,
    },
    /// A job names a draft.
    #[error("scale {id} is a draft; release it first")]
    ScaleNotReleased {
        /// "model/revision".
        id: String,
    },
    /// The job's string set is frozen, so what it follows from may not change.
    #[error("the string set of {serial_id} is frozen: only due date and station may change, not {fields}")]
    SetFrozen {
        /// Serial.
        serial_id: String,
        /// What else was to change.
        fields: String,
    },
    /// The string set is not the one that the caller means.
    #[error("the string set of {serial_id} has another digest by now; read it again and plan again")]
    SetChanged {
        /// Serial.
        serial_id: String,
        /// Its digest now.
        digest: String,
    },
    /// The state of the job forbids the call.
    #[error("job {serial_id} has ended and does not change any more")]
    JobEnded {
        /// Serial.
        serial_id: String,
        /// State.
        state: JobState,
    },
    /// The scale has no string set at this pitch.
    #[error("the string set cannot be computed: {0}")]
    NotComputable(#[from] ComputeError),
    /// The serials have no order of wound strings.
    #[error("there is no order: {0}")]
    NotOrderable(#[from] OrderError),
    /// No wire in stock, or no sequence of wires, keeps to the limits and rules of a design.
    #[error("{text}")]
    TargetUnreachable {
        /// What is the matter and what can be done.
        text: String,
        /// Every note that has no wire.
        faults: Vec<Fault>,
    },
    /// A formula of a design refuses a note, or an iteration does not settle.
    #[error("the question has no answer: {0}")]
    Unanswerable(DesignError),
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

impl From<Fault> for UseCaseError {
    fn from(fault: Fault) -> Self {
        Self::Faults(vec![fault])
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
