//! Errors as callers see them: a code, a reason of the domain "becket" and details.

use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::time::Duration;

use becket_api::errors::ErrorReason;
use becket_units::Fault;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt};

use crate::call::Call;

/// The domain of all reasons, in `google.rpc.ErrorInfo`.
pub const DOMAIN: &str = "becket";

/// How long a caller is asked to wait before it tries again, unless something better is known.
const DEFAULT_RETRY_DELAY: Duration = Duration::from_millis(250);

/// Longest message in bytes. It is sent twice, in a header of its own and within the details.
const MAX_MESSAGE: usize = 400;
/// Longest value of the metadata, field path and description of a violation, in bytes.
const MAX_TEXT: usize = 400;
/// Of the bytes that a caller takes, those for other headers, message and metadata.
const OTHER_BYTES: usize = 3072;

/// Builds a [`Status`] with `google.rpc.ErrorInfo` and, where they apply, `BadRequest` and `RetryInfo`.
///
/// The code follows from the reason, so that one reason always has one code; only
/// [`ErrorReason::Overloaded`] has two.
#[derive(Debug, Clone)]
#[must_use = "a builder does nothing until build() is called"]
pub struct StatusBuilder {
    code: Code,
    reason: ErrorReason,
    message: String,
    metadata: BTreeMap<String, String>,
    violations: Vec<FieldViolation>,
    retry_delay: Option<Duration>,
}

impl StatusBuilder {
    /// Begins an error with its reason and a sentence for a person that says what to do.
    pub fn new(reason: ErrorReason, message: impl Into<String>) -> Self {
        let code = code_of(reason);
        let retry_delay = (code == Code::Unavailable).then_some(DEFAULT_RETRY_DELAY);
        Self {
            code,
            reason,
            message: message.into(),
            metadata: BTreeMap::new(),
            violations: Vec::new(),
            retry_delay,
        }
    }

    /// Refuses a call because the service has enough to do: RESOURCE_EXHAUSTED with a delay after which to
    /// try again.
    pub fn overloaded(message: impl Into<String>) -> Self {
        let mut builder = Self::new(ErrorReason::Overloaded, message);
        builder.code = Code::ResourceExhausted;
        builder
    }

    /// Adds an entry to the error's metadata, such as the id of the thing concerned.
    pub fn meta(mut self, key: &str, value: impl fmt::Display) -> Self {
        self.metadata.insert(key.to_owned(), value.to_string());
        self
    }

    /// Adds a faulty field by its path in the request.
    pub fn violation(mut self, field: impl Into<String>, description: impl Into<String>) -> Self {
        self.violations.push(FieldViolation::new(field, description));
        self
    }

    /// Asks the caller to wait this long before it tries again.
    pub fn retry_after(mut self, delay: Duration) -> Self {
        self.retry_delay = Some(delay);
        self
    }

    /// Adds faults as violations, each by the path of its field in the request.
    pub fn faults(self, faults: &[Fault]) -> Self {
        faults.iter().fold(self, |builder, fault| {
            let value = shortened(&fault.value, MAX_TEXT / 2);
            builder.violation(&fault.field, format!("{value:?} is not allowed; allowed: {}", fault.allowed))
        })
    }

    /// Builds the status.
    ///
    /// An error travels in headers, of which clients take so much and no more; one with too many details
    /// would not reach its caller at all. So long texts are shortened, and violations beyond what the caller
    /// takes are left out and counted in the metadata as `violations_left_out`. A caller that takes more says
    /// so in the metadata of its call, [`ERROR_BYTES_KEY`](crate::ERROR_BYTES_KEY).
    pub fn build(mut self) -> Status {
        let left_out = self.drop_violations_beyond(Call::current().error_bytes);
        if left_out > 0 {
            self = self.meta("violations_left_out", left_out);
        }
        let metadata: HashMap<String, String> =
            self.metadata.into_iter().map(|(key, value)| (key, shortened(&value, MAX_TEXT))).collect();
        let mut details = ErrorDetails::with_error_info(reason_text(self.reason), DOMAIN, metadata);
        if !self.violations.is_empty() {
            details.set_bad_request(self.violations);
        }
        if self.retry_delay.is_some() {
            details.set_retry_info(self.retry_delay);
        }
        Status::with_error_details(self.code, shortened(&self.message, MAX_MESSAGE), details)
    }

    /// Keeps as many violations as a caller takes, and returns how many were dropped.
    fn drop_violations_beyond(&mut self, error_bytes: usize) -> usize {
        // Details are sent in base64, which makes four bytes of three.
        let mut left = error_bytes.saturating_sub(OTHER_BYTES) / 4 * 3;
        let mut kept = 0;
        for violation in &mut self.violations {
            violation.field = shortened(&violation.field, MAX_TEXT);
            violation.description = shortened(&violation.description, MAX_TEXT);
            // Both texts have a tag and a length of up to two bytes, and so has the whole.
            let size = violation.field.len() + violation.description.len() + 9;
            if size > left {
                break;
            }
            left -= size;
            kept += 1;
        }
        let dropped = self.violations.len() - kept;
        self.violations.truncate(kept);
        dropped
    }
}

/// Cuts a text that is longer than `limit` bytes, and shows that it was cut.
fn shortened(text: &str, limit: usize) -> String {
    if text.len() <= limit {
        return text.to_owned();
    }
    let end = text.floor_char_boundary(limit.saturating_sub('…'.len_utf8()));
    format!("{}…", text.get(..end).unwrap_or_default())
}

/// Builds the INVALID_ARGUMENT error that names every fault, each by the path of its field in the request.
///
/// The message carries the first fault, so that a caller who reads no details still learns something.
pub fn from_faults(faults: &[Fault]) -> Status {
    let message = match faults {
        [] => "the request is faulty".to_owned(),
        [only] => only.to_string(),
        [first, rest @ ..] => format!("{} fields are faulty, among them {first}", rest.len() + 1),
    };
    StatusBuilder::new(ErrorReason::FieldInvalid, message).faults(faults).build()
}

/// Builds the INTERNAL error for a fault of the service itself.
///
/// `detail` goes to the log only. The caller gets a fixed text and the id of the call, which is in the log
/// line too.
pub fn internal(detail: impl fmt::Display) -> Status {
    let call_id = Call::current().id;
    tracing::error!(%call_id, %detail, "fault of the service");
    StatusBuilder::new(
        ErrorReason::Internal,
        format!("the service has a fault; incident {call_id} in its log tells more"),
    )
    .meta("incident_id", call_id.to_string())
    .build()
}

/// The name of a reason as `ErrorInfo` carries it, such as `FIELD_INVALID`.
fn reason_text(reason: ErrorReason) -> &'static str {
    let name = reason.as_str_name();
    name.strip_prefix("ERROR_REASON_").unwrap_or(name)
}

/// The code that belongs to a reason, as the documentation of [`ErrorReason`] says.
fn code_of(reason: ErrorReason) -> Code {
    match reason {
        ErrorReason::Unspecified => Code::Unknown,
        ErrorReason::FieldInvalid | ErrorReason::PageTokenInvalid => Code::InvalidArgument,
        ErrorReason::NotFound => Code::NotFound,
        ErrorReason::AlreadyExists | ErrorReason::RequestIdReused => Code::AlreadyExists,
        ErrorReason::EtagStale | ErrorReason::SetChanged | ErrorReason::StockChanged => Code::Aborted,
        ErrorReason::AnswerDropped
        | ErrorReason::ScaleReleased
        | ErrorReason::ScaleNotReleased
        | ErrorReason::SetFrozen
        | ErrorReason::StateForbids
        | ErrorReason::StepNotNext
        | ErrorReason::ReferenceMissing
        | ErrorReason::NotComputable
        | ErrorReason::TargetUnreachable => Code::FailedPrecondition,
        ErrorReason::UpstreamUnavailable | ErrorReason::Overloaded => Code::Unavailable,
        ErrorReason::Internal => Code::Internal,
        ErrorReason::Deadline => Code::DeadlineExceeded,
        ErrorReason::NotAuthenticated => Code::Unauthenticated,
        ErrorReason::NotPermitted => Code::PermissionDenied,
        ErrorReason::ResumeTokenExpired => Code::OutOfRange,
        ErrorReason::ReaderTooSlow => Code::Aborted,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::CALL;

    #[test]
    fn all_faults_are_in_the_details() {
        let faults = [
            Fault::new("scale.notes[3].speaking_mm", -1, "20 to 3000 mm"),
            Fault::new("scale.title", "", "1 to 120"),
        ];
        let status = from_faults(&faults);
        assert_eq!(status.code(), Code::InvalidArgument);
        let message = "2 fields are faulty, among them scale.notes[3].speaking_mm";
        assert!(status.message().starts_with(message), "{status:?}");
        let details = status.get_error_details();
        let info = details.error_info().unwrap();
        assert_eq!((info.reason.as_str(), info.domain.as_str()), ("FIELD_INVALID", "becket"));
        let fields: Vec<_> =
            details.bad_request().unwrap().field_violations.iter().map(|v| v.field.clone()).collect();
        assert_eq!(fields, ["scale.notes[3].speaking_mm", "scale.title"]);
        assert!(details.retry_info().is_none());
    }

    #[tokio::test]
    async fn an_error_fits_into_what_its_caller_takes() {
        let long = "ü".repeat(5000);
        let faults: Vec<Fault> = (0..500)
            .map(|note| Fault::new(format!("scale.notes[{note}].speaking_mm"), &long, "20 to 3000 mm"))
            .collect();
        for error_bytes in [8192, 65_536] {
            let call = Call { error_bytes, ..Call::begin(&http::HeaderMap::new()) };
            let status = CALL.scope(call, async { from_faults(&faults) }).await;
            let mut headers = http::HeaderMap::new();
            status.add_header(&mut headers).unwrap();
            // As HTTP/2 counts a list of headers: 32 bytes for each besides name and value (RFC 9113, 6.5.2).
            let size: usize =
                headers.iter().map(|(name, value)| name.as_str().len() + value.len() + 32).sum();
            assert!(size < error_bytes, "{size}");
            assert!(size > error_bytes / 2, "{size}: more would have fitted");
            let details = status.get_error_details();
            let shown = details.bad_request().unwrap().field_violations.len();
            assert_eq!(
                details.error_info().unwrap().metadata["violations_left_out"],
                (500 - shown).to_string()
            );
        }
    }

    #[test]
    fn long_texts_are_cut_between_characters() {
        assert_eq!(shortened("short", 5), "short");
        assert_eq!(shortened("shorter", 6), "sho…");
        assert_eq!(shortened("üüüü", 6), "ü…");
        let status = StatusBuilder::new(ErrorReason::AlreadyExists, "x".repeat(9999))
            .meta("ids", "y".repeat(9999))
            .build();
        assert_eq!(status.message().len(), MAX_MESSAGE);
        assert_eq!(status.get_details_error_info().unwrap().metadata["ids"].len(), MAX_TEXT);
    }

    #[test]
    fn a_retry_is_suggested_where_it_can_help() {
        let busy = StatusBuilder::overloaded("full").retry_after(Duration::from_secs(2)).build();
        assert_eq!(busy.code(), Code::ResourceExhausted);
        assert_eq!(busy.get_error_details().retry_info().unwrap().retry_delay, Some(Duration::from_secs(2)));
        let stopping = StatusBuilder::new(ErrorReason::Overloaded, "stopping").build();
        assert_eq!(stopping.code(), Code::Unavailable);
        assert_eq!(stopping.get_error_details().retry_info().unwrap().retry_delay, Some(DEFAULT_RETRY_DELAY));
        let stale = StatusBuilder::new(ErrorReason::EtagStale, "read again").build();
        assert!(stale.get_error_details().retry_info().is_none());
    }

    #[test]
    fn an_internal_error_shows_nothing_of_its_cause() {
        let status = internal("table strings has no column tension");
        assert_eq!(status.code(), Code::Internal);
        assert!(!status.message().contains("column"));
        let details = status.get_error_details();
        let incident = details.error_info().unwrap().metadata.get("incident_id").unwrap();
        assert!(status.message().contains(incident));
        assert!(details.debug_info().is_none());
    }
}
