//! Who calls, from where, and until when.

use becket_units::Fault;
use tonic::{Request, Status};

use crate::call::Call;
use crate::deadline::Deadline;
use crate::errors::from_faults;

/// Key of the metadata in which a caller says who acts.
pub const ACTOR_KEY: &str = "becket-actor";

/// Longest actor and longest request id, in characters.
const LONGEST_NAME: usize = 64;

/// What a use case may know of the call that it serves.
#[derive(Debug, Clone)]
pub struct CallContext {
    /// Who acts, as the caller says; empty if it says nothing.
    pub actor: String,
    /// Address of the peer, without its port; empty where the transport has none.
    pub origin: String,
    /// When the answer is due.
    pub deadline: Option<Deadline>,
}

impl CallContext {
    /// Reads the context of a call.
    ///
    /// # Errors
    /// INVALID_ARGUMENT if `becket-actor` is longer than 64 characters or not printable ASCII.
    pub fn of<T>(request: &Request<T>) -> Result<Self, Status> {
        let actor = match request.metadata().get(ACTOR_KEY) {
            None => String::new(),
            Some(value) => match std::str::from_utf8(value.as_bytes()).ok().filter(|text| is_name(text)) {
                Some(text) => text.to_owned(),
                None => {
                    let fault = Fault::new(
                        ACTOR_KEY,
                        String::from_utf8_lossy(value.as_bytes()),
                        "1 to 64 printable ASCII characters",
                    );
                    return Err(from_faults(&[fault]));
                }
            },
        };
        let origin = request.remote_addr().map(|address| address.ip().to_string()).unwrap_or_default();
        Ok(Self { actor, origin, deadline: request.extensions().get::<Deadline>().copied() })
    }
}

/// Checks the request id of a write: 1 to 64 printable ASCII characters. A good one is shown in the call's
/// line in the log.
///
/// # Errors
/// A fault of the field `request_id`.
pub fn check_request_id(request_id: &str) -> Result<(), Fault> {
    if is_name(request_id) {
        // A call has one request id; of several the first is shown.
        let _ = Call::current().request_id.set(request_id.to_owned());
        return Ok(());
    }
    Err(Fault::new("request_id", request_id, "1 to 64 printable ASCII characters, a UUID for instance"))
}

/// Whether a text is 1 to 64 printable ASCII characters.
fn is_name(text: &str) -> bool {
    (1..=LONGEST_NAME).contains(&text.len()) && text.bytes().all(|byte| (b' '..=b'~').contains(&byte))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tonic_types::StatusExt;

    #[test]
    fn request_ids() {
        assert!(check_request_id("9b2d").is_ok());
        assert!(check_request_id(&"x".repeat(64)).is_ok());
        for bad in ["", "a\nb", "grün", &"x".repeat(65)] {
            let fault = check_request_id(bad).unwrap_err();
            assert_eq!((fault.field.as_str(), fault.value.as_str()), ("request_id", bad));
        }
    }

    #[test]
    fn the_actor_is_taken_from_metadata() {
        let mut request = Request::new(());
        assert_eq!(CallContext::of(&request).unwrap().actor, "");
        request.metadata_mut().insert(ACTOR_KEY, "stringer 2".parse().unwrap());
        assert_eq!(CallContext::of(&request).unwrap().actor, "stringer 2");
        request.metadata_mut().insert(ACTOR_KEY, "x".repeat(65).parse().unwrap());
        let status = CallContext::of(&request).unwrap_err();
        assert_eq!(status.get_error_details().bad_request().unwrap().field_violations[0].field, ACTOR_KEY);
    }
}
