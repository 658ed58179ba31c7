//! Errors of use cases as callers see them.

use becket_api::cutting;
use becket_api::document::enum_name;
use becket_api::errors::ErrorReason;
use becket_api::stringing::JobState;
use becket_floor::{CoilState, CutListState, FloorError};
use becket_purchase::EstimateError;
use becket_service_kit::{StatusBuilder, from_faults, internal};
use becket_store::StoreError;
use becket_units::Fault;
use tonic::Status;

use crate::error::UseCaseError;
use crate::upstream::UpstreamError;

impl From<UseCaseError> for Status {
    fn from(error: UseCaseError) -> Self {
        let text = error.to_string();
        let refuse = |reason| StatusBuilder::new(reason, text.clone());
        match error {
            UseCaseError::Faults(faults) => from_faults(&faults),
            UseCaseError::PageToken => {
                refuse(ErrorReason::PageTokenInvalid).violation("page_token", text.clone()).build()
            }
            UseCaseError::EtagStale { list_id, version } => refuse(ErrorReason::EtagStale)
                .meta("kind", "cutLists")
                .meta("id", list_id)
                .meta("etag", version)
                .build(),
            UseCaseError::NotFound { kind, id } => {
                refuse(ErrorReason::NotFound).meta("kind", kind).meta("id", id).build()
            }
            UseCaseError::ReferenceMissing(missing) => {
                let named = missing.iter().fold(refuse(ErrorReason::ReferenceMissing), |builder, m| {
                    builder.violation(m.field.clone(), format!("{}/{} is not there", m.kind, m.id))
                });
                match missing.first() {
                    Some(first) => named.meta("kind", first.kind).meta("id", &first.id).build(),
                    None => named.build(),
                }
            }
            UseCaseError::JobEnded { serial_id, state } => refuse(ErrorReason::StateForbids)
                .meta("serial_id", serial_id)
                .meta("state", job_state(state))
                .build(),
            UseCaseError::JobsEnded(ended) => {
                let named = ended.iter().fold(refuse(ErrorReason::StateForbids), |builder, job| {
                    let what = format!("jobs/{} is {}", job.serial_id, job_state(job.state));
                    builder.violation(job.field.clone(), what)
                });
                match ended.first() {
                    Some(first) => named
                        .meta("serial_id", &first.serial_id)
                        .meta("state", job_state(first.state))
                        .build(),
                    None => named.build(),
                }
            }
            UseCaseError::NothingToCut => refuse(ErrorReason::StateForbids).build(),
            UseCaseError::NoOpenJob { station_id } => {
                refuse(ErrorReason::StateForbids).meta("station_id", station_id).build()
            }
            UseCaseError::StationBusy { station_id, running } => refuse(ErrorReason::StateForbids)
                .meta("station_id", station_id)
                .meta("running_list_id", running)
                .build(),
            UseCaseError::SetChanged { serial_id, list_id } => {
                refuse(ErrorReason::SetChanged).meta("serial_id", serial_id).meta("list_id", list_id).build()
            }
            UseCaseError::Upstream(error) => of_upstream(error),
            UseCaseError::Floor(error) => of_floor(error),
            UseCaseError::Estimate(error) => of_estimate(error),
            UseCaseError::Plan(error) => from_faults(&[Fault::new("serial_ids", "these", error.to_string())]),
            UseCaseError::Store(error) => of_store(error),
            UseCaseError::Stopping => refuse(ErrorReason::Overloaded).build(),
            UseCaseError::Internal(detail) => internal(detail),
        }
    }
}

/// Errors of the stringing service.
fn of_upstream(error: UpstreamError) -> Status {
    let text = error.to_string();
    match error {
        UpstreamError::NotFound => {
            internal("a thing that the stringing service lacks was not told by its name")
        }
        UpstreamError::SetChanged => StatusBuilder::new(ErrorReason::SetChanged, text).build(),
        UpstreamError::Unavailable(detail) => {
            tracing::warn!(%detail, "the stringing service is unavailable");
            StatusBuilder::new(ErrorReason::UpstreamUnavailable, text)
                .meta("service", "becket.stringing.v1")
                .build()
        }
        UpstreamError::Deadline => StatusBuilder::new(ErrorReason::Deadline, text).build(),
        UpstreamError::Refused(status) => *status,
        UpstreamError::Faulty(detail) => internal(detail),
    }
}

/// Refusals of the floor.
fn of_floor(error: FloorError) -> Status {
    let text = error.to_string();
    let forbid = |advice: &str| StatusBuilder::new(ErrorReason::StateForbids, format!("{text}; {advice}"));
    const REPLAN: &str = "re-plan the list";
    match error {
        FloorError::Invalid(faults) => from_faults(&faults),
        FloorError::CoilStateForbids { coil_id, state } => {
            forbid("if it is set aside, return it to stock; else re-plan the list that counts on it")
                .meta("coil_id", coil_id)
                .meta("state", coil_state(state))
                .build()
        }
        FloorError::ListStateForbids { list_id, state } => {
            StatusBuilder::new(ErrorReason::StateForbids, text.clone())
                .meta("list_id", list_id)
                .meta("state", list_state(state))
                .build()
        }
        FloorError::StepNotNext { step_number, next } => {
            let next = next.map_or_else(|| "none".to_owned(), |next| next.to_string());
            StatusBuilder::new(
                ErrorReason::StepNotNext,
                format!("step {step_number} is not next; next is {next}"),
            )
            .meta("step_number", step_number)
            .meta("next_step_number", next)
            .build()
        }
        FloorError::CountOutOfRange { count, pending, max } => {
            from_faults(&[Fault::new("count", count, format!("1 to {}", pending.min(max)))])
        }
        FloorError::CoilNotMounted { step_number, coil_id, reel_position } => forbid(REPLAN)
            .meta("step_number", step_number)
            .meta("coil_id", coil_id)
            .meta("reel_position", reel_position)
            .build(),
        FloorError::PositionTaken { reel_position, coil_id } => {
            forbid(REPLAN).meta("reel_position", reel_position).meta("coil_id", coil_id).build()
        }
        FloorError::PositionMissing { reel_position } => {
            forbid(REPLAN).meta("reel_position", reel_position).build()
        }
        FloorError::CoilMountedElsewhere { coil_id, station_id, reel_position } => {
            forbid("take it off there first, or re-plan the list")
                .meta("coil_id", coil_id)
                .meta("station_id", station_id)
                .meta("reel_position", reel_position)
                .build()
        }
        FloorError::NotSpoilable { step_number } => {
            forbid("name a cut that is done, or the next one").meta("step_number", step_number).build()
        }
        FloorError::NoRunOut { step_number } => {
            forbid("a coil runs out at the next step of a running list, if that is a cut")
                .meta("step_number", step_number)
                .build()
        }
        FloorError::EvidenceClosed { coil_id, number, .. } => {
            forbid("weigh the coil again").meta("coil_id", coil_id).meta("evidence_number", number).build()
        }
        FloorError::StepMissing { step_number } => {
            from_faults(&[Fault::new("step_number", step_number, "a step of the list")])
        }
        FloorError::StepsPending { pending } => {
            forbid("confirm them, or give them up with give_up_pending").meta("pending", pending).build()
        }
        FloorError::PiecesCut { cut } => forbid("finish the list instead").meta("cut", cut).build(),
        // What is left cannot come from a request.
        other => internal(format!("unexpected refusal of the floor: {other:?}")),
    }
}

/// Refusals of an estimate.
fn of_estimate(error: EstimateError) -> Status {
    let text = error.to_string();
    match error {
        EstimateError::SurplusOutOfRange { share } => {
            from_faults(&[Fault::new("surplus_share", share, "0 to 1")])
        }
        EstimateError::TooLong | EstimateError::Plan(_) => {
            from_faults(&[Fault::new("lines", "this schedule", format!("a smaller schedule: {text}"))])
        }
        other => internal(format!("unexpected refusal of an estimate: {other:?}")),
    }
}

/// Errors of the store.
fn of_store(error: StoreError) -> Status {
    let text = error.to_string();
    match error {
        StoreError::NotFound { kind, id } => {
            StatusBuilder::new(ErrorReason::NotFound, text).meta("kind", kind).meta("id", id).build()
        }
        StoreError::AlreadyExists { kind, ids } => StatusBuilder::new(ErrorReason::AlreadyExists, text)
            .meta("kind", kind)
            .meta("ids", ids.join(","))
            .build(),
        StoreError::VersionStale { kind, id, current } => StatusBuilder::new(
            ErrorReason::EtagStale,
            format!("{kind}/{id} has changed; read it again and decide again"),
        )
        .meta("kind", kind)
        .meta("id", id)
        .meta("etag", current)
        .build(),
        StoreError::RequestIdReused => StatusBuilder::new(ErrorReason::RequestIdReused, text).build(),
        StoreError::AnswerDropped { sequence } => {
            StatusBuilder::new(ErrorReason::AnswerDropped, text).meta("sequence", sequence).build()
        }
        StoreError::StockChanged { coil_id } => {
            StatusBuilder::new(ErrorReason::StockChanged, format!("{text}; try again"))
                .meta("coil_id", coil_id)
                .build()
        }
        StoreError::PieceClaimed { serial_id, piece_id, list_id } => {
            StatusBuilder::new(ErrorReason::StockChanged, format!("{text}; try again"))
                .meta("serial_id", serial_id)
                .meta("piece_id", piece_id)
                .meta("list_id", list_id)
                .build()
        }
        StoreError::CoilReserved { coil_id, list_ids } => {
            let lists: Vec<&str> = list_ids.iter().map(|id| id.as_str()).collect();
            StatusBuilder::new(
                ErrorReason::StateForbids,
                format!("{text}; re-plan, finish or cancel them first"),
            )
            .meta("coil_id", coil_id)
            .meta("list_ids", lists.join(","))
            .build()
        }
        StoreError::PositionEmpty { station_id, reel_position } => {
            StatusBuilder::new(ErrorReason::StateForbids, text)
                .meta("station_id", station_id)
                .meta("reel_position", reel_position)
                .build()
        }
        StoreError::PositionsInUse { positions } => {
            let positions: Vec<String> = positions.iter().map(ToString::to_string).collect();
            StatusBuilder::new(
                ErrorReason::StateForbids,
                format!("{text}; take them off first: confirm the steps that do so, or unmount what a list has left"),
            )
            .meta("reel_positions", positions.join(","))
            .build()
        }
        StoreError::StationBusy { station_id, running } => {
            UseCaseError::StationBusy { station_id, running }.into()
        }
        StoreError::ListState { list_id, state } => StatusBuilder::new(ErrorReason::StateForbids, text)
            .meta("list_id", list_id)
            .meta("state", list_state(state))
            .build(),
        StoreError::CursorInvalid => UseCaseError::PageToken.into(),
        StoreError::TextUnstorable => StatusBuilder::new(ErrorReason::FieldInvalid, text).build(),
        StoreError::Busy => StatusBuilder::new(ErrorReason::Overloaded, text).build(),
        StoreError::Unavailable(source) => {
            tracing::error!(%source, "the store is unavailable");
            StatusBuilder::new(ErrorReason::UpstreamUnavailable, text).meta("service", "store").build()
        }
        // The rest belongs to scales and jobs, which this service never touches, or tells of damage.
        other => internal(format!("unexpected error of the store: {other:?}")),
    }
}

/// The state as files and tables show it, such as "set_aside".
fn coil_state(state: CoilState) -> String {
    let unspecified = cutting::CoilState::Unspecified;
    enum_name(unspecified.as_str_name(), cutting::CoilState::from(state).as_str_name())
}

/// The state as files and tables show it, such as "given_up".
fn job_state(state: JobState) -> String {
    enum_name(JobState::Unspecified.as_str_name(), state.as_str_name())
}

/// The state as files and tables show it, such as "running".
fn list_state(state: CutListState) -> String {
    let unspecified = cutting::CutListState::Unspecified;
    enum_name(unspecified.as_str_name(), cutting::CutListState::from(state).as_str_name())
}

#[cfg(test)]
mod tests {
    use becket_floor::{ListId, StationId};
    use tonic::Code;
    use tonic_types::StatusExt;

    use super::*;

    #[test]
    fn a_start_refused_by_the_store_is_told_as_one_refused_before() {
        let (station_id, running) = (StationId::new("bench-1").unwrap(), ListId::numbered(7));
        let busy = StoreError::StationBusy { station_id: station_id.clone(), running: running.clone() };
        let told =
            [UseCaseError::Store(busy), UseCaseError::StationBusy { station_id, running }].map(Status::from);
        for status in &told {
            assert_eq!((status.code(), status.message()), (Code::FailedPrecondition, told[0].message()));
            let info = status.get_details_error_info().unwrap();
            assert_eq!(
                (info.reason.as_str(), info.metadata["running_list_id"].as_str()),
                ("STATE_FORBIDS", "L-0007")
            );
        }
    }
}
