//! Who calls, from where, and until when.

use becket_access::{Caller, Role};
use becket_units::Fault;
use tonic::{Request, Status};

use crate::call::Call;
use crate::deadline::Deadline;
use crate::errors::from_faults;
use crate::listening::Peer;

/// Key of the metadata in which a caller says who acts.
pub const ACTOR_KEY: &str = "becket-actor";

/// Longest actor and longest request id, in characters.
const LONGEST_NAME: usize = 64;
/// Longest actor that a service passes on: a caller and whom it states.
const LONGEST_COMBINED: usize = 2 * LONGEST_NAME + 3;

/// What a use case may know of the call that it serves.
#[derive(Debug, Clone)]
pub struct CallContext {
    /// Who acts: the caller if callers are known, else who the call says that it is; empty if it says nothing.
    pub actor: String,
    /// Address of the peer, without its port; empty where the transport has none.
    pub origin: String,
    /// When the answer is due.
    pub deadline: Option<Deadline>,
}

impl CallContext {
    /// Reads the context of a call.
    ///
    /// Where callers are known, the name of the caller is the actor; if the call states another one, such as the person at a
    /// station that all share, it follows in brackets: `bench-1 (A. Stringer)`. A service that calls for somebody states whom.
    ///
    /// # Errors
    /// INVALID_ARGUMENT if `becket-actor` is longer than 64 characters or not printable ASCII.
    pub fn of<T>(request: &Request<T>) -> Result<Self, Status> {
        let caller = request.extensions().get::<Caller>();
        let for_somebody = caller.is_some_and(|caller| caller.roles.has(Role::Service));
        let longest = if for_somebody { LONGEST_COMBINED } else { LONGEST_NAME };
        let stated = match request.metadata().get(ACTOR_KEY) {
            None => "",
            Some(value) => {
                let text = std::str::from_utf8(value.as_bytes()).ok().filter(|text| is_name(text, longest));
                text.ok_or_else(|| {
                    let value = String::from_utf8_lossy(value.as_bytes());
                    from_faults(&[Fault::new(ACTOR_KEY, value, "1 to 64 printable ASCII characters")])
                })?
            }
        };
        let actor = match caller {
            None => stated.to_owned(),
            Some(_) if for_somebody && !stated.is_empty() => stated.to_owned(),
            Some(caller) if stated.is_empty() || stated == caller.name => caller.name.clone(),
            Some(caller) => format!("{} ({stated})", caller.name),
        };
        let peer = request.extensions().get::<Peer>();
        let origin = peer.and_then(Peer::ip).map(|ip| ip.to_string()).unwrap_or_default();
        Ok(Self { actor, origin, deadline: request.extensions().get::<Deadline>().copied() })
    }
}

/// Checks the request id of a write: 1 to 64 printable ASCII characters. A good one is shown in the call's
/// line in the log.
///
/// # Errors
/// A fault of the field `request_id`.
pub fn check_request_id(request_id: &str) -> Result<(), Fault> {
    if is_name(request_id, LONGEST_NAME) {
        // A call has one request id; of several the first is shown.
        let _ = Call::current().request_id.set(request_id.to_owned());
        return Ok(());
    }
    Err(Fault::new("request_id", request_id, "1 to 64 printable ASCII characters, a UUID for instance"))
}

/// Whether a text is 1 to `longest` printable ASCII characters.
fn is_name(text: &str, longest: usize) -> bool {
    (1..=longest).contains(&text.len()) && text.bytes().all(|byte| (b' '..=b'~').contains(&byte))
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

    #[test]
    fn a_known_caller_cannot_pass_for_another() {
        use becket_access::RoleSet;
        let actor = |role, name: &str, stated: Option<&str>| {
            let mut request = Request::new(());
            request.extensions_mut().insert(Caller { name: name.to_owned(), roles: RoleSet::of(&[role]) });
            if let Some(stated) = stated {
                request.metadata_mut().insert(ACTOR_KEY, stated.parse().unwrap());
            }
            CallContext::of(&request).unwrap().actor
        };
        assert_eq!(actor(Role::Station, "bench-1", None), "bench-1");
        assert_eq!(actor(Role::Station, "bench-1", Some("office")), "bench-1 (office)");
        assert_eq!(actor(Role::Station, "bench-1", Some("bench-1")), "bench-1");
        assert_eq!(actor(Role::Service, "cutting", Some("bench-1 (office)")), "bench-1 (office)");
        assert_eq!(actor(Role::Service, "cutting", None), "cutting");
    }
}
