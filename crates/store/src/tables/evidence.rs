//! Evidence of the lengths on coils, as rows.

use becket_floor::{Belief, CoilId, Evidence, EvidenceKind, EvidenceState, ListId, Scales};
use becket_units::Um;

use super::columns::Columns;
use super::{Code, corrupt, unsigned};
use crate::cut_store::{Decided, EvidenceRecord};
use crate::error::StoreError;

/// A line that is added to the ledger of a coil.
#[derive(Debug, Clone, Copy)]
pub struct EvidenceRow<'a> {
    /// Coil.
    pub coil_id: &'a CoilId,
    /// List whose step it was, if any.
    pub list_id: Option<&'a ListId>,
    /// The line.
    pub evidence: &'a Evidence,
    /// Why, for people; may be empty.
    pub note: &'a str,
}

impl EvidenceRow<'_> {
    /// The word of its kind.
    #[must_use]
    pub fn kind_code(&self) -> &'static str {
        kind_code(self.evidence.kind)
    }

    /// The word of its state.
    #[must_use]
    pub fn state_code(&self) -> &'static str {
        self.evidence.state.code()
    }

    /// What the scales showed, of a weighing.
    #[must_use]
    pub fn scales(&self) -> Option<Scales> {
        match self.evidence.kind {
            EvidenceKind::Weighing(scales) => Some(scales),
            _ => None,
        }
    }

    /// Number of the evidence that was accepted, of an acceptance.
    #[must_use]
    pub fn accepted_number(&self) -> Option<u32> {
        match self.evidence.kind {
            EvidenceKind::Acceptance(number) => Some(number),
            _ => None,
        }
    }
}

/// The word of a kind of evidence.
pub(crate) fn kind_code(kind: EvidenceKind) -> &'static str {
    match kind {
        EvidenceKind::Receipt => "receipt",
        EvidenceKind::BroughtForward => "brought_forward",
        EvidenceKind::Cut => "cut",
        EvidenceKind::Scrap => "scrap",
        EvidenceKind::Correction => "correction",
        EvidenceKind::Weighing(_) => "weighing",
        EvidenceKind::RunOut => "run_out",
        EvidenceKind::Acceptance(_) => "acceptance",
    }
}

/// A line of a coil's ledger.
///
/// # Errors
/// As [`Columns`].
pub fn evidence_of(row: &impl Columns) -> Result<EvidenceRecord, StoreError> {
    let um = |column| row.integer(column).map(Um::new);
    let evidence = Evidence {
        kind: kind_of(row)?,
        state: EvidenceState::of(&row.text("state")?)?,
        length: um("length_um")?,
        sd_mm: row.real("length_sd_mm")?,
        deviation_sds: row.optional_real("deviation_sds")?,
        before: Belief { remaining: um("before_um")?, sd_mm: row.real("before_sd_mm")? },
        after: Belief { remaining: um("after_um")?, sd_mm: row.real("after_sd_mm")? },
    };
    let decided = match (row.optional_integer("decided_us")?, row.optional_text("decided_by")?) {
        (Some(decided_us), Some(decided_by)) => Some(Decided { decided_us, decided_by }),
        _ => None,
    };
    Ok(EvidenceRecord {
        number: unsigned(row.integer("evidence_number")?)?,
        evidence,
        list_id: row.optional_text("list_id")?.map(ListId::new).transpose().map_err(corrupt)?,
        note: row.text("note")?,
        actor: row.text("actor")?,
        created_us: row.integer("created_us")?,
        decided,
    })
}

fn kind_of(row: &impl Columns) -> Result<EvidenceKind, StoreError> {
    Ok(match row.text("kind")?.as_str() {
        "receipt" => EvidenceKind::Receipt,
        "brought_forward" => EvidenceKind::BroughtForward,
        "cut" => EvidenceKind::Cut,
        "scrap" => EvidenceKind::Scrap,
        "correction" => EvidenceKind::Correction,
        "weighing" => EvidenceKind::Weighing(Scales {
            gross_g: row.real("gross_g")?,
            tare_g: row.real("tare_g")?,
            resolution_g: row.real("resolution_g")?,
            tare_sd_g: row.real("tare_sd_g")?,
        }),
        "run_out" => EvidenceKind::RunOut,
        "acceptance" => EvidenceKind::Acceptance(unsigned(row.integer("accepted_number")?)?),
        other => return Err(corrupt(format!("{other:?} is no kind of evidence"))),
    })
}
