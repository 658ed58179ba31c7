//! Accepting or rejecting a weighing that disagreed.

use becket_api::cutting::{DecideCoilEvidenceRequest, DecideCoilEvidenceResponse};
use becket_floor::{CoilId, CoilState, EvidenceState, FloorError};
use becket_service_kit::CallContext;
use becket_store::{CoilChange, Decision, EvidenceRecord, RefuseIf, StoredCoil, WriteContext};
use becket_units::Fault;

use super::change_coil::{CoilTurn, CountingLists, new_state};
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::{id, keep, note};
use crate::messages;
use crate::write::begin;

/// What is decided.
struct Wanted {
    coil_id: CoilId,
    decision: Decision,
    note: String,
}

impl App {
    /// Decides upon evidence that is held.
    pub(crate) async fn decide_coil_evidence(
        &self,
        call: &CallContext,
        mut request: DecideCoilEvidenceRequest,
    ) -> Result<DecideCoilEvidenceResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let wanted = read(&request)?;
        let mut tries = Tries::more(5);
        loop {
            let turn = self.coil_turn(&wanted.coil_id, CountingLists::unless(request.keep_lists)).await?;
            match self.try_decide(call, &context, &turn, &wanted).await {
                Err(error) if tries.once_more(turn.can_help(&error)) => {}
                done => return done,
            }
        }
    }

    async fn try_decide(
        &self,
        call: &CallContext,
        context: &WriteContext,
        turn: &CoilTurn,
        wanted: &Wanted,
    ) -> Result<DecideCoilEvidenceResponse, UseCaseError> {
        let coil = self.store.coil(&wanted.coil_id).await?;
        let record = self.store.coil_evidence(&wanted.coil_id, wanted.decision.number).await?;
        let change = decide(&coil, &record, wanted)?;
        let answer = |change: &CoilChange, changed: &becket_store::CoilChanged, replanned| {
            DecideCoilEvidenceResponse {
                coil: Some(messages::coil(&changed.coil)),
                adjusted_by_um: change.booking.as_ref().map_or(0, |booking| booking.amount.get()),
                short_list_ids: changed.short_list_ids().iter().map(ToString::to_string).collect(),
                evidence: changed.evidence.as_ref().map(messages::evidence),
                replanned,
            }
        };
        self.store_change(call, context, turn, &coil, change, answer).await
    }
}

/// What follows from a decision. That nothing is learnt between reading and storing, the version of the coil guards.
fn decide(coil: &StoredCoil, record: &EvidenceRecord, wanted: &Wanted) -> Result<CoilChange, UseCaseError> {
    let number = record.number;
    let closed = |why| FloorError::EvidenceClosed { coil_id: wanted.coil_id.clone(), number, why };
    if record.evidence.state != EvidenceState::Held {
        return Err(closed("it is not held").into());
    }
    let change =
        CoilChange { decision: Some(wanted.decision), ..new_state(coil, coil.coil.state, &wanted.note) };
    if !wanted.decision.accepted {
        return Ok(change);
    }
    if coil.last_finding > number {
        return Err(closed("later evidence has told the length since").into());
    }
    let (finding, state) = coil.coil.accept(number, &record.evidence)?;
    let booking = Some(coil.coil.settle(finding.length, finding)?);
    let refuse_if = if state == CoilState::UsedUp { RefuseIf::Named } else { RefuseIf::Never };
    Ok(CoilChange { booking, state, refuse_if, ..change })
}

fn read(request: &DecideCoilEvidenceRequest) -> Result<Wanted, UseCaseError> {
    let mut faults: Vec<Fault> = note("note", &request.note).err().into_iter().collect();
    let coil_id = keep(id("coil_id", &request.coil_id, CoilId::new), &mut faults);
    let number = u32::try_from(request.evidence_number).ok().filter(|number| *number > 0);
    let number = number.ok_or_else(|| {
        Fault::new("evidence_number", request.evidence_number, "the number of evidence of the coil, from 1")
    });
    match (coil_id, keep(number, &mut faults), faults.is_empty()) {
        (Some(coil_id), Some(number), true) => {
            let decision = Decision { number, accepted: request.accept };
            Ok(Wanted { coil_id, decision, note: request.note.clone() })
        }
        _ => Err(faults.into()),
    }
}
