//! Adding wires to the catalogue.

use std::collections::BTreeMap;

use becket_api::convert::within;
use becket_api::stringing::{self, ImportWiresRequest, ImportWiresResponse};
use becket_service_kit::CallContext;
use becket_store::{Imported, Kind, NewWire, StoreError};
use becket_units::Fault;
use becket_wire::{SizeSeries, WireDraft, standard_wires};
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages::wire_content;
use crate::write::{answer, document};
use becket_service_kit::Begun;

/// Most wires of one request.
const MAX_WIRES: usize = 2000;
/// Most entries of `standard_series`: there are two.
const MAX_SERIES: usize = 16;

impl App {
    /// Adds wires: all of them or, if one is faulty, none.
    pub(crate) async fn import_wires(
        &self,
        call: &CallContext,
        mut request: ImportWiresRequest,
    ) -> Result<ImportWiresResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let wires = new_wires(request.wires, &request.standard_series)?;
        if request.validate_only {
            return Ok(response(&self.preview(wires).await?));
        }
        let make_answer = Box::new(|imported: &Imported| response(imported).encode_to_vec());
        answer(&self.store.import_wires(&context, wires, make_answer).await?)
    }

    /// What an import would do.
    async fn preview(&self, wires: Vec<NewWire>) -> Result<Imported, UseCaseError> {
        let ids: Vec<String> = wires.iter().map(|wire| wire.wire_id.clone()).collect();
        let there = self.store.wires(&ids).await?;
        let mut known: BTreeMap<String, Vec<u8>> =
            there.into_iter().map(|wire| (wire.wire_id, wire.stored.bytes)).collect();
        let mut imported = Imported::default();
        let mut taken = Vec::new();
        for wire in wires {
            match known.get(&wire.wire_id) {
                Some(bytes) if *bytes == wire.document.bytes => imported.unchanged.push(wire.wire_id),
                Some(_) => taken.push(wire.wire_id),
                None => {
                    known.insert(wire.wire_id.clone(), wire.document.bytes);
                    imported.added.push(wire.wire_id);
                }
            }
        }
        if taken.is_empty() {
            return Ok(imported);
        }
        Err(StoreError::AlreadyExists { kind: Kind::Wire, ids: taken }.into())
    }
}

fn response(imported: &Imported) -> ImportWiresResponse {
    ImportWiresResponse {
        added_wire_ids: imported.added.clone(),
        unchanged_wire_ids: imported.unchanged.clone(),
    }
}

/// The wires of a request, checked: those given, then those of the series.
fn new_wires(wires: Vec<stringing::Wire>, series: &[i32]) -> Result<Vec<NewWire>, UseCaseError> {
    let mut faults = Vec::new();
    for (field, count, limit) in
        [("wires", wires.len(), MAX_WIRES), ("standard_series", series.len(), MAX_SERIES)]
    {
        if count > limit {
            faults.push(Fault::new(field, format!("{count} entries"), format!("up to {limit} entries")));
        }
    }
    if !faults.is_empty() {
        return Err(UseCaseError::Faults(faults));
    }
    for (index, wire) in wires.iter().enumerate() {
        if let Err(list) = WireDraft::from(wire).validate() {
            faults.extend(within(list, &format!("wires[{index}]")));
        }
    }
    let mut all: Vec<stringing::Wire> = wires.into_iter().map(wire_content).collect();
    for (index, number) in series.iter().enumerate() {
        match stringing::SizeSeries::try_from(*number) {
            Ok(stringing::SizeSeries::Inch) => all.extend(standard(SizeSeries::Inch)),
            Ok(stringing::SizeSeries::Millimetre) => all.extend(standard(SizeSeries::Millimetre)),
            Ok(stringing::SizeSeries::Unspecified) | Err(_) => {
                faults.push(Fault::new(format!("standard_series[{index}]"), number, "inch or millimetre"));
            }
        }
    }
    if !faults.is_empty() {
        return Err(UseCaseError::Faults(faults));
    }
    all.into_iter().map(new_wire).collect()
}

/// The wires of a series that are shipped.
fn standard(series: SizeSeries) -> impl Iterator<Item = stringing::Wire> {
    standard_wires(series).into_iter().map(|wire| stringing::Wire::from(&wire))
}

/// A checked wire as it is stored.
pub(super) fn new_wire(content: stringing::Wire) -> Result<NewWire, UseCaseError> {
    Ok(NewWire {
        wire_id: content.wire_id.clone(),
        material: content.material,
        document: document(&content)?,
    })
}
