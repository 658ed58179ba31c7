//! Codes of the server library that are not what the gRPC documentation asks for.

use becket_api::errors::ErrorReason;
use http::HeaderMap;
use tonic::{Code, Status};

use crate::errors::{StatusBuilder, internal};

/// The library's texts for messages beyond the limit, with a colon and figures after them.
const TOO_LARGE: [&str; 2] =
    ["Error, decoded message length too large", "Error, encoded message length too large"];
/// The library's text for a message that is not protobuf.
const NOT_PROTOBUF: &str = "failed to decode Protobuf message";
/// Header with the details of an error. The library's own errors have none, ours always do.
const DETAILS: &str = "grpc-status-details-bin";

/// Returns the status that should stand in place of the one in `headers` or trailers, if that one was made by
/// the library.
///
/// - OUT_OF_RANGE for a message beyond the size limit becomes RESOURCE_EXHAUSTED;
/// - INTERNAL for a message that is not protobuf becomes INVALID_ARGUMENT, for the caller is at fault;
/// - INTERNAL or UNKNOWN of any other origin loses its text, which belongs into the log.
pub(crate) fn corrected(headers: &HeaderMap) -> Option<Status> {
    if headers.contains_key(DETAILS) {
        return None;
    }
    let status = Status::from_header_map(headers)?;
    let message = status.message();
    match status.code() {
        Code::OutOfRange if TOO_LARGE.iter().any(|text| message.starts_with(text)) => {
            Some(Status::resource_exhausted(format!("the message is too large: {}", figures(message))))
        }
        Code::Internal if message.contains(NOT_PROTOBUF) => Some(
            StatusBuilder::new(
                ErrorReason::FieldInvalid,
                format!("the request is not what the method takes: {message}"),
            )
            .build(),
        ),
        Code::Internal | Code::Unknown => Some(internal(message)),
        _ => None,
    }
}

/// What the library says after the colon: the size found and the limit.
fn figures(message: &str) -> &str {
    message.split_once(": ").map_or(message, |(_, figures)| figures)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn correct(status: Status) -> Option<Status> {
        let (parts, ()) = status.into_http::<()>().into_parts();
        corrected(&parts.headers)
    }

    #[test]
    fn errors_of_the_library_are_corrected_and_ours_are_left_alone() {
        let large = Status::out_of_range(
            "Error, decoded message length too large: found 9 bytes, the limit is: 4 bytes",
        );
        let large = correct(large).unwrap();
        assert_eq!(large.code(), Code::ResourceExhausted);
        assert_eq!(large.message(), "the message is too large: found 9 bytes, the limit is: 4 bytes");
        let broken = correct(Status::internal("failed to decode Protobuf message: invalid tag")).unwrap();
        assert_eq!(broken.code(), Code::InvalidArgument);
        let leaking = correct(Status::unknown("h2 protocol error in frame 7")).unwrap();
        assert_eq!(leaking.code(), Code::Internal);
        assert!(!leaking.message().contains("frame 7"));
        assert!(correct(Status::out_of_range("the token is older than the journal")).is_none());
        assert!(correct(internal("cause")).is_none());
        assert!(correct(Status::unimplemented("")).is_none());
    }
}
