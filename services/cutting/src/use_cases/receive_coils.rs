//! Booking coils into the stock.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::convert::{read_new_coil, within};
use becket_api::cutting::{NewCoil, ReceiveCoilsRequest, ReceiveCoilsResponse};
use becket_floor::{Coil, CoilId, FloorError};
use becket_service_kit::CallContext;
use becket_store::{Kind, StoreError, StoredCoil};
use becket_units::{Fault, Um};
use prost::Message;

use crate::app::App;
use crate::error::{Missing, UseCaseError};
use crate::messages;
use crate::write::{begin, decode};

/// Most coils of one request.
const MAX_COILS: usize = 1000;

impl App {
    /// Books coils: all of them or, if one is faulty, none.
    pub(crate) async fn receive_coils(
        &self,
        call: &CallContext,
        mut request: ReceiveCoilsRequest,
    ) -> Result<ReceiveCoilsResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let count = request.coils.len();
        if !(1..=MAX_COILS).contains(&count) {
            return Err(
                Fault::new("coils", format!("{count} coils"), format!("1 to {MAX_COILS} coils")).into()
            );
        }
        let coils = self.received(call, &request.coils).await?;
        if request.validate_only {
            self.refuse_known(&coils).await?;
            return Ok(shown(&coils.iter().map(|coil| unsaved(coil, context.now_us)).collect::<Vec<_>>()));
        }
        let answer = Box::new(|stored: &Vec<StoredCoil>| shown(stored).encode_to_vec());
        decode(&self.store.receive_coils(&context, coils, answer).await?.answer)
    }

    /// The coils with their lengths; all faults of all coils at once.
    async fn received(&self, call: &CallContext, coils: &[NewCoil]) -> Result<Vec<Coil>, UseCaseError> {
        let densities = self.linear_densities(call, coils).await?;
        let mut faults = Vec::new();
        let mut missing = Vec::new();
        let mut received = Vec::with_capacity(coils.len());
        for (index, coil) in coils.iter().enumerate() {
            let path = format!("coils[{index}]");
            let known = densities.get(coil.wire_id.as_str());
            // A density of nothing else than the wire's own is never stored: a wire that is not there is refused below.
            let draft =
                read_new_coil(coil, known.copied().unwrap_or(1.0)).map(becket_floor::NewCoil::receive);
            match draft {
                Ok(Ok(coil)) => received.push(coil),
                Ok(Err(FloorError::Invalid(found))) | Err(found) => faults.extend(within(found, &path)),
                Ok(Err(error)) => return Err(error.into()),
            }
            if known.is_none() {
                missing.push(Missing {
                    field: format!("{path}.wire_id"),
                    kind: "wires",
                    id: coil.wire_id.clone(),
                });
            }
        }
        match (faults.is_empty(), missing.is_empty()) {
            (false, _) => Err(faults.into()),
            (true, false) => Err(UseCaseError::ReferenceMissing(missing)),
            (true, true) => Ok(received),
        }
    }

    /// Linear density in g/m of each wire that is in the catalogue.
    async fn linear_densities(
        &self,
        call: &CallContext,
        coils: &[NewCoil],
    ) -> Result<BTreeMap<String, f64>, UseCaseError> {
        let wires: BTreeSet<&str> = coils.iter().map(|coil| coil.wire_id.as_str()).collect();
        let known = self.catalogue_wires(call, wires.into_iter().map(str::to_owned).collect()).await?;
        Ok(known.into_iter().map(|(id, wire)| (id, wire.linear_density_g_m())).collect())
    }

    /// Refuses coils that the store would refuse.
    async fn refuse_known(&self, coils: &[Coil]) -> Result<(), UseCaseError> {
        let ids: Vec<CoilId> = coils.iter().map(|coil| coil.coil_id.clone()).collect();
        let stored = self.store.floor_coils(&ids, None).await?;
        let mut seen: BTreeSet<&CoilId> = stored.iter().map(|coil| &coil.coil.coil_id).collect();
        let known: BTreeSet<String> =
            ids.iter().filter(|id| !seen.insert(id)).map(ToString::to_string).collect();
        if known.is_empty() {
            return Ok(());
        }
        Err(StoreError::AlreadyExists { kind: Kind::Coil, ids: known.into_iter().collect() }.into())
    }
}

fn unsaved(coil: &Coil, now_us: i64) -> StoredCoil {
    StoredCoil { coil: coil.clone(), reserved: Um::ZERO, version: 1, created_us: now_us, updated_us: now_us }
}

fn shown(coils: &[StoredCoil]) -> ReceiveCoilsResponse {
    ReceiveCoilsResponse { coils: coils.iter().map(messages::coil).collect() }
}
