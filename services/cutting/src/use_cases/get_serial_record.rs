//! What a serial is strung with.

use std::collections::BTreeMap;

use becket_api::convert::{Known, kilograms, metres, pieces, timestamp};
use becket_api::cutting::{
    CutRecord, GetSerialRecordRequest, GetSerialRecordResponse, RecordLine, RecordTotal,
};
use becket_api::stringing::{Piece, PieceKind, StringFigures, StringSet, WindingFigures, WireTotal};
use becket_floor::SerialId;
use becket_service_kit::CallContext;
use becket_store::CutRecord as StoredCut;
use becket_units::Um;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::upstream::UpstreamError;

impl App {
    /// The string set of a serial as order lines, with the coils and lots used as far as it is cut.
    pub(crate) async fn get_serial_record(
        &self,
        call: &CallContext,
        request: GetSerialRecordRequest,
    ) -> Result<GetSerialRecordResponse, UseCaseError> {
        let serial_id = id("serial_id", &request.serial_id, SerialId::new)?;
        let not_found = |error: UpstreamError| match error {
            UpstreamError::NotFound => UseCaseError::NotFound { kind: "jobs", id: serial_id.to_string() },
            other => other.into(),
        };
        let job = self.stringing.job(call, serial_id.as_str()).await.map_err(not_found)?;
        let set = self.stringing.string_set(call, serial_id.as_str()).await.map_err(not_found)?;
        let cuts = Cuts::of(self.store.cuts_of_serials(std::slice::from_ref(&serial_id)).await?);
        let pieces_cut = set.pieces.iter().filter(|piece| cuts.good(piece).is_some()).count();
        Ok(GetSerialRecordResponse {
            lines: lines(&set, &cuts)?,
            totals: totals(&set, &cuts)?,
            pieces: Some(pieces(count(set.pieces.len()))),
            pieces_cut: Some(pieces(count(pieces_cut))),
            serial_id: set.serial_id,
            model_id: set.model_id,
            revision_id: set.revision_id,
            job_state: job.state,
            set_digest: set.digest,
        })
    }
}

/// Cuts of a serial by piece, in the order of cutting.
struct Cuts {
    by_piece: BTreeMap<String, Vec<StoredCut>>,
    in_order: Vec<StoredCut>,
}

impl Cuts {
    fn of(cuts: Vec<StoredCut>) -> Self {
        let mut by_piece: BTreeMap<String, Vec<StoredCut>> = BTreeMap::new();
        for cut in &cuts {
            by_piece.entry(cut.piece_id.to_string()).or_default().push(cut.clone());
        }
        Self { by_piece, in_order: cuts }
    }

    fn of_piece(&self, piece: &Piece) -> &[StoredCut] {
        self.by_piece.get(&piece.piece_id).map_or(&[], Vec::as_slice)
    }

    /// The cut of the piece that is in the instrument.
    fn good(&self, piece: &Piece) -> Option<&StoredCut> {
        self.of_piece(piece).iter().rfind(|cut| cut.spoil_cause.is_none())
    }

    /// Lots of a wire's good pieces, in the order of cutting, each once.
    fn lots(&self, wire_id: &str) -> Vec<String> {
        let mut lots: Vec<String> = Vec::new();
        for cut in self.in_order.iter().filter(|c| c.spoil_cause.is_none() && c.wire_id.as_str() == wire_id) {
            if !lots.iter().any(|lot| lot == cut.lot_id.as_str()) {
                lots.push(cut.lot_id.to_string());
            }
        }
        lots
    }
}

/// Each piece, followed by the windings of its strings.
fn lines(set: &StringSet, cuts: &Cuts) -> Result<Vec<RecordLine>, UseCaseError> {
    let strings: BTreeMap<&str, &StringFigures> =
        set.strings.iter().map(|string| (string.string_id.as_str(), string)).collect();
    let mut lines = Vec::with_capacity(set.pieces.len());
    for piece in &set.pieces {
        let spoiled = cuts.of_piece(piece).iter().filter(|cut| cut.spoil_cause.is_some());
        lines.push(RecordLine {
            piece_id: piece.piece_id.clone(),
            kind: piece.kind,
            string_ids: piece.string_ids.clone(),
            layer: 0,
            wire_id: piece.wire_id.clone(),
            length: Some(metres(Um::new(piece.length_um))),
            mass: Some(kilograms(piece.mass_g)),
            cut: cuts.good(piece).map(cut_record),
            spoiled: spoiled.map(cut_record).collect(),
        });
        for string in piece.string_ids.iter().filter_map(|id| strings.get(id.as_str())) {
            for (layer, winding) in (1..).zip(&string.windings) {
                lines.push(winding_line(piece, string, layer, winding)?);
            }
        }
    }
    Ok(lines)
}

fn winding_line(
    piece: &Piece,
    string: &StringFigures,
    layer: i32,
    winding: &WindingFigures,
) -> Result<RecordLine, UseCaseError> {
    Ok(RecordLine {
        piece_id: piece.piece_id.clone(),
        kind: PieceKind::WoundCore.into(),
        string_ids: vec![string.string_id.clone()],
        layer,
        wire_id: winding.wire_id.clone(),
        length: Some(metres(length(winding.wire_length_mm)?)),
        mass: Some(kilograms(winding.wire_mass_g)),
        cut: None,
        spoiled: Vec::new(),
    })
}

fn totals(set: &StringSet, cuts: &Cuts) -> Result<Vec<RecordTotal>, UseCaseError> {
    let total = |total: &WireTotal| {
        Ok(RecordTotal {
            wire_id: total.wire_id.clone(),
            pieces: Some(pieces(u32::try_from(total.pieces).unwrap_or_default())),
            length: Some(metres(length(total.length_mm)?)),
            mass: Some(kilograms(total.mass_g)),
            lot_ids: cuts.lots(&total.wire_id),
        })
    };
    set.wire_totals.iter().map(total).collect()
}

/// A length of a set, which is always one that can be represented.
fn length(mm: f64) -> Result<Um, UseCaseError> {
    Um::from_mm_f64(mm).map_err(|error| UseCaseError::Internal(format!("a length of a string set: {error}")))
}

fn cut_record(cut: &StoredCut) -> CutRecord {
    CutRecord {
        coil_id: cut.coil_id.to_string(),
        lot_id: cut.lot_id.to_string(),
        list_id: cut.list_id.to_string(),
        step_number: i32::try_from(cut.step_number).unwrap_or(i32::MAX),
        cut_time: Some(timestamp(cut.cut_us)),
        cut_by: cut.cut_by.clone(),
        spoil_cause: cut.spoil_cause.map(Known::number),
    }
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
