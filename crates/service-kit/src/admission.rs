//! How many calls are worked on at the same time.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::Status;

use becket_access::Caller;

use crate::errors::StatusBuilder;
use crate::listening::Peer;

/// Methods under these prefixes are always admitted: a full service must still say how it is.
const ALWAYS_ADMITTED: [&str; 2] = ["/grpc.health.", "/grpc.reflection."];

/// Whose calls are counted together.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) enum Client {
    /// A caller who is known.
    Named(String),
    /// Whoever calls from an address.
    From(IpAddr),
    /// A service of this process, or a connection without an address.
    Own,
}

impl Client {
    pub(crate) fn of(caller: Option<&Caller>, peer: Option<&Peer>) -> Self {
        match (caller, peer) {
            (_, Some(Peer { same_process: true, .. })) => Self::Own,
            (Some(caller), _) => Self::Named(caller.name.clone()),
            (None, peer) => peer.and_then(Peer::ip).map_or(Self::Own, Self::From),
        }
    }
}

/// Admits calls up to a limit, in all and of each client, and refuses the rest at once. Refusing beats queueing: the caller learns
/// at once that it should come back, instead of waiting for an answer that may come after its deadline.
#[derive(Debug, Clone)]
pub(crate) struct Admission {
    places: Arc<Semaphore>,
    of: Arc<Mutex<HashMap<Client, usize>>>,
    most_of_one: usize,
}

/// The place of a call; given back when it is dropped.
#[derive(Debug)]
pub(crate) struct Place {
    _place: OwnedSemaphorePermit,
    of: Arc<Mutex<HashMap<Client, usize>>>,
    client: Client,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut of = self.of.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(taken) = of.get_mut(&self.client) {
            *taken -= 1;
            // Only clients with calls are in the map, so it is no longer than the number of places.
            if *taken == 0 {
                of.remove(&self.client);
            }
        }
    }
}

impl Admission {
    pub(crate) fn new(limit: usize, most_of_one: usize) -> Self {
        let places = Arc::new(Semaphore::new(limit.clamp(1, Semaphore::MAX_PERMITS)));
        Self { places, of: Arc::default(), most_of_one }
    }

    /// Takes a place for a call. The place is held until the answer begins: a stream that only waits for news
    /// takes none; streams are bounded by the limit of each connection. The services of one process do not count as one client.
    pub(crate) fn admit(&self, path: &str, client: Client) -> Result<Option<Place>, Status> {
        if ALWAYS_ADMITTED.iter().any(|prefix| path.starts_with(prefix)) {
            return Ok(None);
        }
        let full = |what: &str| {
            StatusBuilder::overloaded(format!("{what} enough calls to work on; try again in a moment"))
                .retry_after(std::time::Duration::from_millis(250))
                .build()
        };
        let place = Arc::clone(&self.places).try_acquire_owned().map_err(|_| full("the service has"))?;
        let mut of = self.of.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = of.entry(client.clone()).or_default();
        if *taken >= self.most_of_one && client != Client::Own {
            return Err(full("this caller has given the service"));
        }
        *taken += 1;
        drop(of);
        Ok(Some(Place { _place: place, of: Arc::clone(&self.of), client }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PATH: &str = "/becket.x/Y";

    fn named(name: &str) -> Client {
        Client::Named(name.to_owned())
    }

    #[test]
    fn a_full_service_refuses_work_but_answers_about_its_health() {
        let admission = Admission::new(1, 1);
        let place = admission.admit(PATH, named("a")).unwrap();
        let refused = admission.admit(PATH, named("b")).unwrap_err();
        assert_eq!(refused.code(), tonic::Code::ResourceExhausted);
        assert!(admission.admit("/grpc.health.v1.Health/Check", named("b")).unwrap().is_none());
        drop(place);
        assert!(admission.admit(PATH, named("b")).is_ok());
    }

    #[test]
    fn one_caller_cannot_take_all_places() {
        let admission = Admission::new(3, 2);
        let first = admission.admit(PATH, named("a")).unwrap();
        let _second = admission.admit(PATH, named("a")).unwrap();
        assert!(admission.admit(PATH, named("a")).is_err());
        assert!(admission.admit(PATH, named("b")).is_ok());
        drop(first);
        assert!(admission.admit(PATH, named("a")).is_ok());
    }

    #[test]
    fn callers_without_calls_are_forgotten() {
        let admission = Admission::new(3, 2);
        for name in 0..100 {
            drop(admission.admit(PATH, named(&name.to_string())));
        }
        assert!(admission.of.lock().unwrap().is_empty());
    }
}
