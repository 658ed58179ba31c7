//! The string sets of serials, as needs.

use becket_api::convert::serial_need;
use becket_floor::SerialNeed;
use becket_service_kit::CallContext;

use crate::app::App;
use crate::error::{Missing, UseCaseError};
use crate::gather::gather;
use crate::upstream::UpstreamError;

/// A serial whose set is wanted.
#[derive(Debug, Clone)]
pub(crate) struct WantedSet {
    /// Path of the field that names it, for errors.
    pub(crate) field: String,
    /// Serial.
    pub(crate) serial_id: String,
    /// Day by which it is due.
    pub(crate) due_date: String,
}

impl App {
    /// What the string sets of serials need, in the order given, whatever is cut of it.
    pub(crate) async fn needs_of_sets(
        &self,
        call: &CallContext,
        wanted: Vec<WantedSet>,
    ) -> Result<Vec<SerialNeed>, UseCaseError> {
        let answers = gather(wanted.clone(), |WantedSet { serial_id, .. }| {
            let (client, call) = (self.stringing.clone(), call.clone());
            async move { client.string_set(&call, &serial_id).await }
        });
        let mut needs = Vec::with_capacity(wanted.len());
        let mut missing = Vec::new();
        for (WantedSet { field, serial_id, due_date }, answer) in wanted.into_iter().zip(answers.await?) {
            match answer {
                Ok(set) => needs.push(serial_need(&set, &due_date).map_err(|faults| {
                    UseCaseError::Internal(format!(
                        "the string set of {serial_id} cannot be read: {faults:?}"
                    ))
                })?),
                Err(UpstreamError::NotFound) => missing.push(Missing { field, kind: "jobs", id: serial_id }),
                Err(error) => return Err(error.into()),
            }
        }
        if missing.is_empty() { Ok(needs) } else { Err(UseCaseError::ReferenceMissing(missing)) }
    }
}
