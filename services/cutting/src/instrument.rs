//! What one instrument of a kind needs of each wire.

use std::collections::BTreeMap;

use becket_api::convert::serial_need;
use becket_api::stringing::StringSet;
use becket_floor::{PlanFrame, PlanPolicy, Station, StationId};
use becket_purchase::{InstrumentNeed, PieceNeed};
use becket_units::Um;

use crate::error::UseCaseError;

/// Need by wire id.
pub(crate) type WireUse = BTreeMap<String, InstrumentNeed>;

/// Any id: a set that belongs to no serial is laid out as if it did.
const NOBODY: &str = "none";

/// Pieces and windings of a set by wire. Where cores are not cut, since wound strings are bought ready-made, their windings
/// are not needed either.
///
/// Groups of pieces are those that a cut list makes.
pub(crate) fn wire_uses(set: &StringSet, policy: &PlanPolicy) -> Result<WireUse, UseCaseError> {
    let fault = |what: String| UseCaseError::Internal(format!("the set of {}: {what}", set.model_id));
    let named = StringSet { serial_id: NOBODY.to_owned(), ..set.clone() };
    let need = serial_need(&named, "").map_err(|faults| fault(format!("{faults:?}")))?;
    let station_id = StationId::new(NOBODY).map_err(|error| fault(error.to_string()))?;
    let station =
        Station { station_id, title: String::new(), reel_positions: 1, trays: 1, mounted: BTreeMap::new() };
    let wire_ids: Vec<String> = need.pieces.iter().map(|piece| piece.wire_id.to_string()).collect();
    let frame =
        PlanFrame::build(vec![need], Vec::new(), &station, &PlanPolicy { wound_cores: true, ..*policy });
    let mut uses = WireUse::new();
    let cores = set.pieces.iter().map(|piece| piece.kind() == becket_api::stringing::PieceKind::WoundCore);
    for ((piece, wire_id), is_core) in frame.problem().pieces.iter().zip(wire_ids).zip(cores) {
        if policy.wound_cores || !is_core {
            let need = PieceNeed { length: piece.length, group: piece.group.0 };
            uses.entry(wire_id).or_default().pieces.push(need);
        }
    }
    if policy.wound_cores {
        for winding in set.strings.iter().flat_map(|string| &string.windings) {
            let length = Um::from_mm_f64(winding.wire_length_mm).map_err(|error| fault(error.to_string()))?;
            let sum = &mut uses.entry(winding.wire_id.clone()).or_default().winding;
            *sum = sum.checked_add(length).ok_or_else(|| fault("its windings are too long".to_owned()))?;
        }
    }
    Ok(uses)
}
