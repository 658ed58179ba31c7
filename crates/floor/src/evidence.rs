//! The ledger of a coil: each piece of evidence of its length, with what was believed before and after it.

use becket_units::Um;

use crate::coil::{Coil, CoilState};
use crate::error::FloorError;
use crate::estimate::{CUT_SD_MM, DISAGREES_FROM_SDS, LengthEstimate, SCRAP_SD_MM};
use crate::weigh::Scales;

/// What was seen, measured or done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EvidenceKind {
    /// The coil came into stock.
    Receipt,
    /// What was known of a coil when such ledgers began.
    BroughtForward,
    /// A piece was cut.
    Cut,
    /// A trim, a tail or a lost piece came off.
    Scrap,
    /// More wire came off than was believed to be there.
    Correction,
    /// The coil was weighed.
    Weighing(Scales),
    /// The wire came to its end on the reel.
    RunOut,
    /// Evidence that had been held was accepted: its number.
    Acceptance(u32),
}

impl EvidenceKind {
    /// Whether it tells the length anew, rather than how much came off.
    #[must_use]
    pub fn is_finding(self) -> bool {
        !matches!(self, Self::Cut | Self::Scrap)
    }
}

/// What became of a piece of evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum EvidenceState {
    /// It is part of what is believed.
    Merged,
    /// It disagrees, and is kept out until somebody decides.
    Held,
    /// It disagreed and was taken instead of what was believed before.
    Accepted,
    /// It disagreed and was found to be wrong.
    Rejected,
}

/// What is believed of a coil's length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    /// Mean.
    pub remaining: Um,
    /// Standard deviation in mm.
    pub sd_mm: f64,
}

/// What an observation says of the length on a coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// What was observed.
    pub kind: EvidenceKind,
    /// Whether it is believed.
    pub state: EvidenceState,
    /// Length that it tells.
    pub length: Um,
    /// Standard deviation of that, by itself, in mm.
    pub sd_mm: f64,
    /// How far it lies from what was believed, in standard deviations of the difference.
    pub deviation_sds: f64,
    /// What is known once it is believed.
    pub estimate: LengthEstimate,
}

impl Finding {
    /// Whether it lies so far from what was believed that one of the two is wrong: another wire, a miscount, a wrong tare.
    #[must_use]
    pub fn disagrees(&self) -> bool {
        self.deviation_sds.abs() > DISAGREES_FROM_SDS
    }
}

/// One line of a coil's ledger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// What was seen, measured or done.
    pub kind: EvidenceKind,
    /// What became of it.
    pub state: EvidenceState,
    /// Length that it tells or, of cut and scrapped wire and of corrections, that it concerns.
    pub length: Um,
    /// Standard deviation of that length in mm.
    pub sd_mm: f64,
    /// How far it lay from what was believed, in standard deviations; `None` where nothing is compared.
    pub deviation_sds: Option<f64>,
    /// What was believed before.
    pub before: Belief,
    /// What was believed after.
    pub after: Belief,
}

impl Coil {
    /// What is believed of the coil's length now.
    #[must_use]
    pub fn belief(&self) -> Belief {
        Belief { remaining: self.remaining, sd_mm: self.estimate.sd_mm() }
    }

    /// The first line of the ledger of a coil that is received.
    #[must_use]
    pub fn receipt(&self) -> Evidence {
        let after = self.belief();
        Evidence {
            kind: EvidenceKind::Receipt,
            state: EvidenceState::Merged,
            length: after.remaining,
            sd_mm: after.sd_mm,
            deviation_sds: None,
            before: after,
            after,
        }
    }

    /// The line of evidence that is kept out of what is believed.
    #[must_use]
    pub fn held(&self, finding: &Finding) -> Evidence {
        let belief = self.belief();
        Evidence { state: EvidenceState::Held, ..found(finding, belief, belief) }
    }

    /// Takes held evidence instead of all that was believed before it. What has come off since is taken off it, and makes it less
    /// certain.
    ///
    /// # Errors
    /// [`FloorError::EvidenceClosed`] if the evidence is not held, is no weighing, or tells less than has come off since;
    /// [`FloorError::CoilStateForbids`] for a scrapped coil. That no later evidence told the length only the store can see; it
    /// refuses the change then.
    pub fn accept(&self, number: u32, held: &Evidence) -> Result<(Finding, CoilState), FloorError> {
        let closed = |why| FloorError::EvidenceClosed { coil_id: self.coil_id.clone(), number, why };
        let EvidenceKind::Weighing(scales) = held.kind else {
            return Err(closed("it is no weighing"));
        };
        if held.state != EvidenceState::Held {
            return Err(closed("it is not held"));
        }
        if self.state == CoilState::Scrapped {
            return Err(FloorError::CoilStateForbids { coil_id: self.coil_id.clone(), state: self.state });
        }
        let since = held.before.remaining.checked_sub(self.remaining);
        let length = since.and_then(|since| held.length.checked_sub(since));
        let length = length.filter(|length| *length >= Um::ZERO);
        let length = length.ok_or_else(|| closed("more wire than it tells has come off since"))?;
        let grown = (self.estimate.variance_mm2 - held.before.sd_mm * held.before.sd_mm).max(0.0);
        let estimate = self.by_weight_alone(held.length, &scales).after_taking(grown.sqrt());
        let finding = Finding {
            kind: EvidenceKind::Acceptance(number),
            state: EvidenceState::Accepted,
            length,
            sd_mm: estimate.sd_mm(),
            deviation_sds: held.deviation_sds.unwrap_or_default(),
            estimate,
        };
        Ok((finding, self.state_with(length)))
    }
}

/// The line of evidence that tells a length.
pub(crate) fn found(finding: &Finding, before: Belief, after: Belief) -> Evidence {
    let Finding { kind, state, length, sd_mm, deviation_sds, estimate: _ } = *finding;
    Evidence { kind, state, length, sd_mm, deviation_sds: Some(deviation_sds), before, after }
}

/// The line of wire that came off, or came off beyond what was believed.
pub(crate) fn came_off(kind: EvidenceKind, length: Um, before: Belief, after: Belief) -> Evidence {
    let sd_mm = if kind == EvidenceKind::Cut { CUT_SD_MM } else { SCRAP_SD_MM };
    Evidence { kind, state: EvidenceState::Merged, length, sd_mm, deviation_sds: None, before, after }
}
