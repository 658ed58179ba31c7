//! Fixing a string set for good.

use becket_api::convert::timestamp;
use becket_api::stringing::{FreezeStringSetRequest, FreezeStringSetResponse, StringSet};
use becket_service_kit::CallContext;
use becket_store::{Frozen, FrozenSet, JobState, WriteContext};
use becket_units::Fault;
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::write::answer;
use becket_service_kit::Begun;

impl App {
    /// Fixes the set with the digest that the caller means; another digest is refused.
    pub(crate) async fn freeze_string_set(
        &self,
        call: &CallContext,
        mut request: FreezeStringSetRequest,
    ) -> Result<FreezeStringSetResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        if request.digest.is_empty() {
            return Err(Fault::new("digest", "", "the digest of the string set that is meant").into());
        }
        let job = self.store.job(&request.serial_id).await?;
        let set = match job.state {
            // Whoever freezes is about to cut, and for a job that has ended nothing is cut, whatever was before.
            state @ (JobState::Done | JobState::GivenUp) => {
                return Err(UseCaseError::JobEnded { serial_id: request.serial_id, state });
            }
            // The store compares the digest with that of the frozen set and changes nothing.
            JobState::Frozen => FrozenSet { digest: request.digest, bytes: Vec::new() },
            JobState::Open => {
                let set = self.set_of(&job).await?;
                fixed(&set, &request.serial_id, request.digest, &context)?
            }
        };
        let make_answer = Box::new(|frozen: &Frozen| {
            FreezeStringSetResponse { freeze_time: Some(timestamp(frozen.freeze_us)) }.encode_to_vec()
        });
        let version = job.stored.version;
        answer(&self.store.freeze_set(&context, &request.serial_id, version, set, make_answer).await?)
    }
}

/// A computed set as it is kept, if it is the one that is meant.
fn fixed(
    set: &StringSet,
    serial_id: &str,
    digest: String,
    context: &WriteContext,
) -> Result<FrozenSet, UseCaseError> {
    if set.digest != digest {
        let (serial_id, digest) = (serial_id.to_owned(), set.digest.clone());
        return Err(UseCaseError::SetChanged { serial_id, digest });
    }
    let set = StringSet { frozen: true, freeze_time: Some(timestamp(context.now_us)), ..set.clone() };
    Ok(FrozenSet { digest, bytes: set.encode_to_vec() })
}
