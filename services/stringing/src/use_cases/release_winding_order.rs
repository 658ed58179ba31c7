//! Releasing an order of wound strings.

use std::collections::BTreeSet;

use becket_api::convert::{winding_order, winding_order_digest};
use becket_api::stringing::{
    OrderedSerial, ReleaseWindingOrderRequest, ReleaseWindingOrderResponse, WindingOrder,
};
use becket_service_kit::{CallContext, CancelFlag};
use becket_store::{JobState, NewWindingOrder, WindingRelease};
use becket_units::Fault;
use becket_winding::{Instrument, wound_strings};
use prost::Message;

use crate::app::App;
use crate::compute::{SetSource, computed_set};
use crate::error::UseCaseError;
use crate::messages::{self, shown_winding_order};
use crate::write::{answer, document};
use becket_service_kit::Begun;

/// Most serials of one order.
const MOST_SERIALS: usize = 200;
/// Longest reason in characters.
const LONGEST_REASON: usize = 500;

/// A serial whose strings are ordered: what its set is computed from, and the digest that the set must have if it is
/// frozen.
struct Ordered {
    source: SetSource,
    frozen_digest: Option<String>,
}

impl App {
    /// Computes the wound strings of serials and releases the order of them, unless they are ordered like this already.
    pub(crate) async fn release_winding_order(
        &self,
        call: &CallContext,
        mut request: ReleaseWindingOrderRequest,
    ) -> Result<ReleaseWindingOrderResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let ReleaseWindingOrderRequest { request_id: _, serial_ids, reason, validate_only } = request;
        let serial_ids = checked(serial_ids, &reason)?;
        let mut ordered = Vec::with_capacity(serial_ids.len());
        for serial_id in &serial_ids {
            ordered.push(self.ordered(serial_id).await?);
        }
        let content = self.pool.run(move |cancel| order_of(&ordered, cancel)).await??;
        let digest = winding_order_digest(&content);
        if validate_only {
            return self.previewed_order(&serial_ids, content, &digest, reason).await;
        }
        let new = NewWindingOrder { serial_ids, digest, reason, document: document(&content)? };
        let make_answer = Box::new(move |release: &WindingRelease| {
            // Of an order that was there already the stored content counts; it can differ in what is not ordered.
            let shown = messages::winding_order(&release.order);
            let shown = shown.unwrap_or_else(|_| shown_winding_order(content, &release.order));
            let released = release.released;
            ReleaseWindingOrderResponse { winding_order: Some(shown), released }.encode_to_vec()
        });
        answer(&self.store.release_winding_order(&context, new, make_answer).await?)
    }

    async fn ordered(&self, serial_id: &str) -> Result<Ordered, UseCaseError> {
        let job = self.store.job(serial_id).await?;
        if let state @ (JobState::Done | JobState::GivenUp) = job.state {
            return Err(UseCaseError::JobEnded { serial_id: serial_id.to_owned(), state });
        }
        let frozen = if job.freeze_us.is_some() { self.store.frozen_set(serial_id).await? } else { None };
        let source = self.inputs_of_serial(serial_id).await?;
        Ok(Ordered { source, frozen_digest: frozen.map(|(set, _)| set.digest) })
    }

    /// The order as it would be released, with every refusal that releasing it would meet.
    async fn previewed_order(
        &self,
        serial_ids: &[String],
        content: WindingOrder,
        digest: &str,
        reason: String,
    ) -> Result<ReleaseWindingOrderResponse, UseCaseError> {
        let order = match self.store.winding_order_of(serial_ids).await? {
            None => WindingOrder { revision: 1, reason, ..content },
            Some(there) if there.digest == digest => messages::winding_order(&there)?,
            Some(there) if reason.is_empty() => {
                let (order_id, revision) = (there.order_id, there.revision);
                return Err(becket_store::StoreError::WindingReasonMissing { order_id, revision }.into());
            }
            Some(there) => {
                let revision = messages::revision_number(there.revision.saturating_add(1));
                WindingOrder { order_id: there.order_id, revision, reason, ..content }
            }
        };
        Ok(ReleaseWindingOrderResponse { winding_order: Some(order), released: false })
    }
}

/// The serials in order, if they and the reason are sound.
fn checked(serial_ids: Vec<String>, reason: &str) -> Result<Vec<String>, UseCaseError> {
    let mut faults = Vec::new();
    let given = serial_ids.len();
    if given == 0 || given > MOST_SERIALS {
        faults.push(Fault::new("serial_ids", given, format!("1 to {MOST_SERIALS} serials")));
    }
    let mut seen = BTreeSet::new();
    for (index, serial_id) in serial_ids.into_iter().take(MOST_SERIALS).enumerate() {
        if seen.contains(&serial_id) {
            faults.push(Fault::new(format!("serial_ids[{index}]"), &serial_id, "each serial once"));
        }
        seen.insert(serial_id);
    }
    let length = reason.chars().count();
    if length > LONGEST_REASON {
        let value = format!("{length} characters");
        faults.push(Fault::new("reason", value, format!("up to {LONGEST_REASON} characters")));
    }
    if faults.is_empty() { Ok(seen.into_iter().collect()) } else { Err(UseCaseError::Faults(faults)) }
}

/// The order of some serials. It stops between two of them once nobody waits for it.
fn order_of(ordered: &[Ordered], cancel: &CancelFlag) -> Result<WindingOrder, UseCaseError> {
    let mut serials = Vec::with_capacity(ordered.len());
    let mut sets = Vec::with_capacity(ordered.len());
    for Ordered { source, frozen_digest } in ordered {
        if cancel.is_cancelled() {
            return Err(UseCaseError::Stopping);
        }
        let (set, shown) = computed_set(source)?;
        // Pieces are cut to the frozen set; strings of another one would not fit them.
        if frozen_digest.as_ref().is_some_and(|digest| *digest != shown.digest) {
            let (serial_id, digest) = (source.serial_id.clone(), shown.digest);
            return Err(UseCaseError::SetChanged { serial_id, digest });
        }
        serials.push(OrderedSerial {
            serial_id: shown.serial_id,
            model_id: shown.model_id,
            revision_id: shown.revision_id,
            set_digest: shown.digest,
        });
        sets.push(set);
    }
    let instruments: Vec<_> = ordered
        .iter()
        .zip(&sets)
        .map(|(Ordered { source, .. }, set)| Instrument {
            serial_id: &source.serial_id,
            scale: &source.scale,
            set,
            catalogue: &source.catalogue,
        })
        .collect();
    Ok(winding_order(serials, &wound_strings(&instruments)?))
}
