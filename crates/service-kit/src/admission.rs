//! How many calls are worked on at the same time.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::Status;

use crate::errors::StatusBuilder;

/// Methods under these prefixes are always admitted: a full service must still say how it is.
const ALWAYS_ADMITTED: [&str; 2] = ["/grpc.health.", "/grpc.reflection."];

/// Admits calls up to a limit and refuses the rest at once. Refusing beats queueing: the caller learns at
/// once that it should come back, instead of waiting for an answer that may come after its deadline.
#[derive(Debug, Clone)]
pub(crate) struct Admission {
    places: Arc<Semaphore>,
}

impl Admission {
    pub(crate) fn new(limit: usize) -> Self {
        Self { places: Arc::new(Semaphore::new(limit.clamp(1, Semaphore::MAX_PERMITS))) }
    }

    /// Takes a place for a call. The place is held until the answer begins: a stream that only waits for news
    /// takes none; streams are bounded by the limit of each connection.
    pub(crate) fn admit(&self, path: &str) -> Result<Option<OwnedSemaphorePermit>, Status> {
        if ALWAYS_ADMITTED.iter().any(|prefix| path.starts_with(prefix)) {
            return Ok(None);
        }
        Arc::clone(&self.places).try_acquire_owned().map(Some).map_err(|_| {
            StatusBuilder::overloaded("the service has enough calls to work on; try again in a moment")
                .retry_after(std::time::Duration::from_millis(250))
                .build()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_service_refuses_work_but_answers_about_its_health() {
        let admission = Admission::new(1);
        let place = admission.admit("/becket.x/Y").unwrap();
        assert_eq!(admission.admit("/becket.x/Y").unwrap_err().code(), tonic::Code::ResourceExhausted);
        assert!(admission.admit("/grpc.health.v1.Health/Check").unwrap().is_none());
        drop(place);
        assert!(admission.admit("/becket.x/Y").is_ok());
    }
}
