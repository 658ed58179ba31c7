//! What the stringing service answers if it does not answer well.

use becket_api::errors::ErrorReason;
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// Why the stringing service gave no answer.
#[derive(Debug, Clone, thiserror::Error)]
pub(crate) enum UpstreamError {
    /// The thing asked for is not there.
    #[error("the stringing service does not have it")]
    NotFound,
    /// The string set is not the one that is meant.
    #[error("the string set has changed; plan again")]
    SetChanged,
    /// It cannot be reached, or is busy or stopping.
    #[error("the stringing service does not answer; try again")]
    Unavailable(String),
    /// The deadline passed before it answered.
    #[error("the deadline passed before the stringing service answered")]
    Deadline,
    /// It refuses for a reason that the caller of this service can act on.
    #[error("the stringing service refuses: {}", .0.message())]
    Refused(Box<Status>),
    /// It failed, or its answer is not what it should be.
    #[error("the stringing service failed: {0}")]
    Faulty(String),
}

impl UpstreamError {
    /// Whether the same question can be answered a little later.
    pub(crate) fn is_transient(&self) -> bool {
        matches!(self, Self::Unavailable(_))
    }
}

impl From<Status> for UpstreamError {
    fn from(status: Status) -> Self {
        match status.code() {
            Code::NotFound => Self::NotFound,
            Code::Aborted if has_reason(&status, ErrorReason::SetChanged) => Self::SetChanged,
            Code::Unavailable | Code::ResourceExhausted => Self::Unavailable(status.message().to_owned()),
            // The client library reports its own time-out as CANCELLED.
            Code::DeadlineExceeded | Code::Cancelled => Self::Deadline,
            // A connection that breaks in the middle of a call.
            Code::Unknown if std::error::Error::source(&status).is_some() => {
                Self::Unavailable(status.to_string())
            }
            Code::InvalidArgument | Code::FailedPrecondition | Code::Aborted => {
                Self::Refused(Box::new(status))
            }
            _ => Self::Faulty(status.to_string()),
        }
    }
}

fn has_reason(status: &Status, reason: ErrorReason) -> bool {
    let details = status.get_error_details();
    let name = reason.as_str_name().trim_start_matches("ERROR_REASON_");
    details.error_info().is_some_and(|info| info.domain == becket_service_kit::DOMAIN && info.reason == name)
}
