//! Evidence of the lengths on coils.

use becket_floor::{Evidence, EvidenceKind, ListId, Scales};

use super::enums::Known;
use super::{count, timestamp};
use crate::cutting::{self, CoilEvidence, WeighCoilRequest};

/// A line of a coil's ledger as it is kept.
#[derive(Debug, Clone, Copy)]
pub struct EvidenceLine<'a> {
    /// Number within the coil.
    pub number: u32,
    /// The line.
    pub evidence: &'a Evidence,
    /// List whose step it was, if any.
    pub list_id: Option<&'a ListId>,
    /// Why, for people.
    pub note: &'a str,
    /// Who added it.
    pub actor: &'a str,
    /// When, in µs since 1970 (UTC).
    pub created_us: i64,
    /// Who decided upon it, and when, in µs since 1970 (UTC).
    pub decided: Option<(&'a str, i64)>,
}

/// Shows a line of a coil's ledger.
#[must_use]
pub fn coil_evidence(line: &EvidenceLine<'_>) -> CoilEvidence {
    let EvidenceLine { number, evidence, list_id, note, actor, created_us, decided } = *line;
    let Evidence { kind, state, length, sd_mm, deviation_sds, before, after } = *evidence;
    let scales = match kind {
        EvidenceKind::Weighing(scales) => Some(scales),
        _ => None,
    };
    let accepted = match kind {
        EvidenceKind::Acceptance(accepted) => accepted,
        _ => 0,
    };
    CoilEvidence {
        evidence_number: count(number),
        kind: cutting::EvidenceKind::from(kind).into(),
        state: state.number(),
        length_um: length.get(),
        length_sd_mm: sd_mm,
        deviation_sds,
        remaining_before_um: before.remaining.get(),
        remaining_before_sd_mm: before.sd_mm,
        remaining_after_um: after.remaining.get(),
        remaining_after_sd_mm: after.sd_mm,
        gross_g: scales.map(|scales| scales.gross_g),
        tare_g: scales.map(|scales| scales.tare_g),
        resolution_g: scales.map(|scales| scales.resolution_g),
        tare_sd_g: scales.map(|scales| scales.tare_sd_g),
        accepted_number: count(accepted),
        list_id: list_id.map(ToString::to_string).unwrap_or_default(),
        note: note.to_owned(),
        actor: actor.to_owned(),
        create_time: Some(timestamp(created_us)),
        decided_by: decided.map(|(by, _)| by.to_owned()).unwrap_or_default(),
        decide_time: decided.map(|(_, us)| timestamp(us)),
    }
}

impl From<EvidenceKind> for cutting::EvidenceKind {
    fn from(kind: EvidenceKind) -> Self {
        match kind {
            EvidenceKind::Receipt => Self::Receipt,
            EvidenceKind::BroughtForward => Self::BroughtForward,
            EvidenceKind::Cut => Self::Cut,
            EvidenceKind::Scrap => Self::Scrap,
            EvidenceKind::Correction => Self::Correction,
            EvidenceKind::Weighing(_) => Self::Weighing,
            EvidenceKind::RunOut => Self::RunOut,
            EvidenceKind::Acceptance(_) => Self::Acceptance,
        }
    }
}

/// What the scales showed, with the defaults of what is not stated. Ranges are for [`becket_floor::Coil::weigh`] to check.
#[must_use]
pub fn read_scales(request: &WeighCoilRequest) -> Scales {
    let WeighCoilRequest {
        request_id: _,
        coil_id: _,
        gross_g,
        tare_g,
        resolution_g,
        tare_sd_g,
        accept: _,
        keep_lists: _,
    } = request;
    let plain = Scales::plain(*gross_g, *tare_g);
    Scales {
        resolution_g: resolution_g.unwrap_or(plain.resolution_g),
        tare_sd_g: tare_sd_g.unwrap_or(plain.tare_sd_g),
        ..plain
    }
}
