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
use crate::write::begin;
use crate::write::decode;

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
        let (coils, known) = self.received(call, &request.coils).await?;
        if request.validate_only {
            if !known.is_empty() {
                return Err(StoreError::AlreadyExists { kind: Kind::Coil, ids: known }.into());
            }
            return Ok(shown(&coils.iter().map(|coil| unsaved(coil, context.now_us)).collect::<Vec<_>>()));
        }
        let answer = Box::new(|stored: &Vec<StoredCoil>| shown(stored).encode_to_vec());
        decode(&self.store.receive_coils(&context, coils, answer).await?.answer)
    }

    /// The coils with their lengths, and ids among them that are there already; all faults of all coils at once.
    ///
    /// Ids alone that are there already are the store's to refuse, since it also knows a repeat of the same request.
    async fn received(
        &self,
        call: &CallContext,
        coils: &[NewCoil],
    ) -> Result<(Vec<Coil>, Vec<String>), UseCaseError> {
        let densities = self.linear_densities(call, coils).await?;
        let known = self.known_ids(coils).await?;
        let mut faults = Vec::new();
        let mut missing = Vec::new();
        let mut received = Vec::with_capacity(coils.len());
        for (index, coil) in coils.iter().enumerate() {
            let path = format!("coils[{index}]");
            let density = densities.get(coil.wire_id.as_str()).copied();
            // No number makes a coil of a wire that is not there, and all else of it is checked.
            let draft = read_new_coil(coil, density.unwrap_or(f64::NAN)).map(becket_floor::NewCoil::receive);
            let is_missing = density.is_none() && becket_floor::WireId::new(coil.wire_id.as_str()).is_ok();
            match draft {
                Ok(Ok(coil)) => received.push(coil),
                Ok(Err(FloorError::Invalid(found))) | Err(found) => {
                    let found = found.into_iter().filter(|fault| !(is_missing && fault.field == "wire_id"));
                    faults.extend(within(found.collect(), &path));
                }
                Ok(Err(error)) => return Err(error.into()),
            }
            if is_missing {
                let (field, id) = (format!("{path}.wire_id"), coil.wire_id.clone());
                missing.push(Missing { field, kind: "wires", id });
            }
        }
        if faults.is_empty() && (missing.is_empty() || known.is_empty()) {
            if missing.is_empty() {
                return Ok((received, known.into_values().collect::<BTreeSet<_>>().into_iter().collect()));
            }
            return Err(UseCaseError::ReferenceMissing(missing));
        }
        let unknown = |Missing { field, id, .. }| Fault::new(field, id, "a wire of the catalogue");
        faults.extend(missing.into_iter().map(unknown));
        let taken =
            |(index, id)| Fault::new(format!("coils[{index}].coil_id"), id, "an id that no coil has yet");
        faults.extend(known.into_iter().map(taken));
        Err(faults.into())
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

    /// Ids that a coil in stock has, or a coil before it in the request, by their place.
    async fn known_ids(&self, coils: &[NewCoil]) -> Result<BTreeMap<usize, String>, UseCaseError> {
        let ids = coils.iter().enumerate();
        let ids: Vec<(usize, CoilId)> =
            ids.filter_map(|(at, coil)| Some((at, CoilId::new(coil.coil_id.as_str()).ok()?))).collect();
        let asked: Vec<CoilId> = ids.iter().map(|(_, id)| id.clone()).collect();
        let stored = self.store.floor_coils(&asked, None).await?;
        let mut seen: BTreeSet<&CoilId> = stored.iter().map(|coil| &coil.coil.coil_id).collect();
        Ok(ids.iter().filter(|(_, id)| !seen.insert(id)).map(|(at, id)| (*at, id.to_string())).collect())
    }
}

fn unsaved(coil: &Coil, now_us: i64) -> StoredCoil {
    StoredCoil {
        coil: coil.clone(),
        reserved: Um::ZERO,
        held_evidence: 0,
        last_finding: 0,
        version: 1,
        created_us: now_us,
        updated_us: now_us,
    }
}

fn shown(coils: &[StoredCoil]) -> ReceiveCoilsResponse {
    ReceiveCoilsResponse { coils: coils.iter().map(messages::coil).collect() }
}
