//! From entries of the journal to events for other programs.
//!
//! The journal tells everything; the feed tells what another program of the shop has a use for. What an entry becomes is decided
//! here, by what was changed and by which method, and what an event shows of it in `data.rs`, field by field: a field that is new in
//! the journal is not shown by itself.

mod data;

use becket_api::cloud_event::{Parts, event};
use becket_api::digest::hex;
use becket_api::feed::CloudEvent;
use becket_store::Entry;
use sha2::{Digest, Sha256};

/// What happened, and the message that describes the data.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct EventType {
    /// The type, as events name it.
    pub(crate) name: &'static str,
    /// Full name of the message of its data.
    pub(crate) schema: &'static str,
    /// What it happens to: the first part of the subject.
    kind: &'static str,
    /// The methods of the entries that become this; none for all that have no line of their own.
    methods: &'static [&'static str],
}

macro_rules! event_types {
    ($($kind:literal $schema:literal: { $($name:literal from [$($method:literal),*],)+ })+) => {
        &[$($(EventType {
            name: concat!("becket.", $name, ".v1"),
            schema: concat!("becket.feed.v1.", $schema),
            kind: $kind,
            methods: &[$($method),*],
        },)+)+]
    };
}

/// Every type of event. The changes of one kind of thing stand together; the line without methods catches all that have no line.
pub(crate) const EVENT_TYPES: &[EventType] = event_types! {
    "wires" "WireData": {
        "wire.added" from ["ImportWires"],
        "wire.changed" from [],
    }
    // Drafts are nobody's business outside.
    "scales" "ScaleData": {
        "scale.released" from ["ReleaseScale"],
    }
    "jobs" "JobData": {
        "job.opened" from ["OpenJob"],
        "job.set_frozen" from ["FreezeStringSet"],
        "job.closed" from ["CloseJob"],
        "job.amended" from [],
    }
    "coils" "CoilData": {
        "coil.received" from ["ReceiveCoils"],
        "coil.weighed" from ["WeighCoil"],
        "coil.set_aside" from ["SetAsideCoil"],
        "coil.returned" from ["ReturnCoil"],
        "coil.scrapped" from ["ScrapCoil"],
        "coil.changed" from [],
    }
    "cutLists" "CutListData": {
        "cut_list.planned" from ["PlanCutList"],
        "cut_list.started" from ["StartCutList"],
        "cut_list.steps_confirmed" from ["ConfirmStep"],
        "cut_list.piece_spoiled" from ["ReportSpoiledPiece"],
        "cut_list.coil_ran_out" from ["ReportRunOut"],
        // Besides the call for it, a coil that has gone has the lists planned anew that counted on it.
        "cut_list.replanned" from ["ReplanCutList", "SetAsideCoil", "ScrapCoil", "WeighCoil", "DecideCoilEvidence"],
        "cut_list.finished" from ["FinishCutList"],
        "cut_list.cancelled" from ["CancelCutList"],
        "cut_list.changed" from [],
    }
    "windingOrders" "WindingOrderData": {
        "winding_order.released" from ["ReleaseWindingOrder"],
    }
};

/// An entry of the journal does not hold what one of its kind holds.
#[derive(Debug, thiserror::Error)]
#[error("entry {sequence} of the journal cannot be told as an event: {why}")]
pub(crate) struct Untellable {
    /// Sequence of the entry.
    pub(crate) sequence: i64,
    /// What is wrong.
    pub(crate) why: String,
}

/// The type of the event that an entry becomes; `None` if it is told to nobody.
pub(crate) fn type_of(entry: &Entry) -> Option<&'static EventType> {
    let (kind, _) = entry.subject.split_once('/')?;
    let method = entry.method.rsplit('/').next().unwrap_or_default();
    let of_kind = || EVENT_TYPES.iter().filter(|line| line.kind == kind);
    of_kind()
        .find(|line| line.methods.contains(&method))
        .or_else(|| of_kind().find(|line| line.methods.is_empty()))
}

/// The event that an entry becomes.
///
/// # Errors
/// [`Untellable`]: damage, or a fault of the service.
pub(crate) fn event_of(
    entry: &Entry,
    event_type: &EventType,
    source: &str,
) -> Result<CloudEvent, Untellable> {
    let untellable = |why: String| Untellable { sequence: entry.sequence, why };
    let data = data::of(entry, event_type.schema).map_err(untellable)?;
    Ok(event(Parts {
        id: entry.sequence.to_string(),
        source,
        kind: event_type.name,
        subject: &entry.subject,
        time_us: entry.entry_us,
        schema: event_type.schema,
        data: &data,
    }))
}

/// The source of all events of a database, from the key that it was given when it was made. The key is secret, and cannot be found from
/// this.
pub(crate) fn source_of(token_key: &[u8; 32]) -> String {
    let mut hasher = Sha256::new();
    hasher.update(b"becket feed source 1");
    hasher.update(token_key);
    let digest: [u8; 32] = hasher.finalize().into();
    let name: String = hex(&digest).chars().take(32).collect();
    format!("urn:becket:shop:{name}")
}

#[cfg(test)]
mod tests;
