//! Errors of use cases as callers see them.

use becket_api::errors::ErrorReason;
use becket_api::stringing::{FieldFault, SetRefusal};
use becket_service_kit::{StatusBuilder, from_faults, internal};
use becket_store::{JobState, StoreError};
use becket_winding::OrderError;
use tonic::Status;
use tonic_types::StatusExt;

use crate::error::UseCaseError;

impl From<UseCaseError> for Status {
    fn from(error: UseCaseError) -> Self {
        let text = error.to_string();
        match error {
            UseCaseError::Faults(faults) => from_faults(&faults),
            UseCaseError::PageToken => StatusBuilder::new(ErrorReason::PageTokenInvalid, text.clone())
                .violation("page_token", text)
                .build(),
            UseCaseError::ReferenceMissing { kind, id, remedy: _ } => {
                StatusBuilder::new(ErrorReason::ReferenceMissing, text)
                    .meta("kind", kind)
                    .meta("id", id)
                    .build()
            }
            UseCaseError::ScaleUnfit { id, faults } => {
                StatusBuilder::new(ErrorReason::ReferenceMissing, text)
                    .faults(&faults)
                    .meta("kind", "scales")
                    .meta("id", id)
                    .build()
            }
            UseCaseError::ScaleNotReleased { id } => {
                StatusBuilder::new(ErrorReason::ScaleNotReleased, text).meta("id", id).build()
            }
            UseCaseError::SetFrozen { serial_id, fields } => StatusBuilder::new(ErrorReason::SetFrozen, text)
                .meta("serial_id", serial_id)
                .meta("fields", fields)
                .build(),
            UseCaseError::SetChanged { serial_id, digest } => set_changed(text, &serial_id, &digest),
            UseCaseError::JobEnded { serial_id, state } => job_state(text, &serial_id, state),
            UseCaseError::NotComputable(_) => StatusBuilder::new(ErrorReason::NotComputable, text).build(),
            UseCaseError::NotOrderable(error) => not_orderable(&error, text),
            UseCaseError::TargetUnreachable { text, faults } => {
                StatusBuilder::new(ErrorReason::TargetUnreachable, text).faults(&faults).build()
            }
            UseCaseError::Unanswerable(_) => StatusBuilder::new(ErrorReason::NotComputable, text).build(),
            UseCaseError::Store(error) => of_store(error),
            UseCaseError::Stopping => StatusBuilder::new(ErrorReason::Overloaded, text).build(),
            UseCaseError::Internal(detail) => internal(detail),
        }
    }
}

/// An error as a message of a stream that goes on.
pub(crate) fn refusal(status: &Status) -> SetRefusal {
    let details = status.get_error_details();
    let faults = details.bad_request().map(|bad| bad.field_violations.as_slice()).unwrap_or_default();
    SetRefusal {
        code: status.code().into(),
        reason: details.error_info().map(|info| info.reason.clone()).unwrap_or_default(),
        message: status.message().to_owned(),
        faults: faults
            .iter()
            .map(|fault| FieldFault { field: fault.field.clone(), description: fault.description.clone() })
            .collect(),
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
        StoreError::ScaleReleased { id } => {
            StatusBuilder::new(ErrorReason::ScaleReleased, format!("{text}; make a new revision"))
                .meta("id", id)
                .build()
        }
        StoreError::JobState { serial_id, state } => job_state(text, &serial_id, state),
        StoreError::SetFrozen { serial_id, digest } => set_changed(text, &serial_id, &digest),
        StoreError::WindingOrdered { serial_id, order_id } => {
            StatusBuilder::new(ErrorReason::StateForbids, text)
                .meta("serial_id", serial_id)
                .meta("order_id", order_id)
                .meta("state", "ordered")
                .build()
        }
        StoreError::WindingReasonMissing { order_id, revision } => {
            StatusBuilder::new(ErrorReason::StateForbids, format!("{text}; state the reason of the change"))
                .violation("reason", "is empty, and the content has changed since the latest revision")
                .meta("order_id", order_id)
                .meta("revision", revision)
                .meta("state", "released")
                .build()
        }
        StoreError::CursorInvalid => UseCaseError::PageToken.into(),
        StoreError::TextUnstorable => StatusBuilder::new(ErrorReason::FieldInvalid, text).build(),
        StoreError::Busy => StatusBuilder::new(ErrorReason::Overloaded, text).build(),
        StoreError::Unavailable(source) => {
            tracing::error!(%source, "the store is unavailable");
            StatusBuilder::new(ErrorReason::UpstreamUnavailable, text).build()
        }
        // The rest belongs to the floor, which this service never touches, or tells of damage.
        other => internal(format!("unexpected error of the store: {other:?}")),
    }
}

fn not_orderable(error: &OrderError, text: String) -> Status {
    match error {
        OrderError::NothingWound { serial_id } => {
            StatusBuilder::new(ErrorReason::NotComputable, text).meta("serial_id", serial_id).build()
        }
        OrderError::Packs { wire_id, .. } => {
            StatusBuilder::new(ErrorReason::NotComputable, text).meta("wire_id", wire_id).build()
        }
        OrderError::Inconsistent { .. } => internal(text),
    }
}

fn set_changed(text: String, serial_id: &str, digest: &str) -> Status {
    StatusBuilder::new(ErrorReason::SetChanged, text)
        .meta("serial_id", serial_id)
        .meta("digest", digest)
        .build()
}

fn job_state(text: String, serial_id: &str, state: JobState) -> Status {
    let name = match state {
        JobState::Open => "open",
        JobState::Frozen => "frozen",
        JobState::Done => "done",
        JobState::GivenUp => "given_up",
    };
    StatusBuilder::new(ErrorReason::StateForbids, text)
        .meta("serial_id", serial_id)
        .meta("state", name)
        .build()
}
