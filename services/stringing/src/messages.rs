//! Messages as they are stored and as they are shown: stored without what the service itself adds, shown with
//! it.

use becket_api::convert::{etag_version, timestamp};
use becket_api::stringing::{self, Job, Scale, ScaleState, WindingOrder, Wire};
use becket_store::{JobState, Stored, StoredJob, StoredScale, StoredWindingOrder, StoredWire};
use becket_units::Fault;

use crate::error::UseCaseError;
use crate::write::decode;

/// A wire without what is output only.
pub(crate) fn wire_content(wire: Wire) -> Wire {
    Wire { etag: String::new(), create_time: None, update_time: None, ..wire }
}

/// A wire as it is shown, from its content.
pub(crate) fn shown_wire(content: Wire, stored: &Stored) -> Wire {
    Wire {
        etag: stored.version.to_string(),
        create_time: Some(timestamp(stored.created_us)),
        update_time: Some(timestamp(stored.updated_us)),
        ..content
    }
}

/// A stored wire as it is shown.
pub(crate) fn wire(stored: &StoredWire) -> Result<Wire, UseCaseError> {
    Ok(shown_wire(decode(&stored.stored.bytes)?, &stored.stored))
}

/// A scale without what is output only.
pub(crate) fn scale_content(scale: Scale) -> Scale {
    Scale {
        state: ScaleState::Unspecified.into(),
        etag: String::new(),
        create_time: None,
        update_time: None,
        release_time: None,
        ..scale
    }
}

/// A scale as it is shown, from its content.
pub(crate) fn shown_scale(content: Scale, stored: &StoredScale) -> Scale {
    let state = if stored.released_us.is_some() { ScaleState::Released } else { ScaleState::Draft };
    Scale {
        state: state.into(),
        etag: stored.stored.version.to_string(),
        create_time: Some(timestamp(stored.stored.created_us)),
        update_time: Some(timestamp(stored.stored.updated_us)),
        release_time: stored.released_us.map(timestamp),
        ..content
    }
}

/// A stored scale as it is shown.
pub(crate) fn scale(stored: &StoredScale) -> Result<Scale, UseCaseError> {
    Ok(shown_scale(decode(&stored.stored.bytes)?, stored))
}

/// A job without what is output only.
pub(crate) fn job_content(job: Job) -> Job {
    Job {
        state: stringing::JobState::Unspecified.into(),
        etag: String::new(),
        create_time: None,
        update_time: None,
        freeze_time: None,
        ..job
    }
}

/// A job as it is shown, from its content.
pub(crate) fn shown_job(content: Job, stored: &StoredJob) -> Job {
    let state = match stored.state {
        JobState::Open => stringing::JobState::Open,
        JobState::Frozen => stringing::JobState::Frozen,
        JobState::Done => stringing::JobState::Done,
        JobState::GivenUp => stringing::JobState::GivenUp,
    };
    Job {
        state: state.into(),
        etag: stored.stored.version.to_string(),
        create_time: Some(timestamp(stored.stored.created_us)),
        update_time: Some(timestamp(stored.stored.updated_us)),
        freeze_time: stored.freeze_us.map(timestamp),
        ..content
    }
}

/// A stored job as it is shown.
pub(crate) fn job(stored: &StoredJob) -> Result<Job, UseCaseError> {
    Ok(shown_job(decode(&stored.stored.bytes)?, stored))
}

/// A winding order as it is shown, from its content.
pub(crate) fn shown_winding_order(content: WindingOrder, stored: &StoredWindingOrder) -> WindingOrder {
    WindingOrder {
        order_id: stored.order_id.clone(),
        revision: revision_number(stored.revision),
        reason: stored.reason.clone(),
        release_time: Some(timestamp(stored.release_us)),
        ..content
    }
}

/// A stored winding order as it is shown.
pub(crate) fn winding_order(stored: &StoredWindingOrder) -> Result<WindingOrder, UseCaseError> {
    Ok(shown_winding_order(decode(&stored.bytes)?, stored))
}

/// A revision as the API has it. No order has so many that it would not fit.
pub(crate) fn revision_number(revision: i64) -> i32 {
    i32::try_from(revision).unwrap_or(i32::MAX)
}

/// The message of a request, which must be there.
pub(crate) fn required<M>(message: Option<M>, field: &str) -> Result<M, UseCaseError> {
    message.ok_or_else(|| Fault::new(field, "absent", "it must be stated").into())
}

/// The version that an etag names. One that this service never gave names a version that never was, and is
/// stale.
pub(crate) fn version_of(etag: &str, field: &str) -> Result<i64, Fault> {
    if etag.is_empty() {
        return Err(Fault::new(field, etag, "the etag that was read with the content that is to change"));
    }
    Ok(etag_version(etag).unwrap_or(0))
}
