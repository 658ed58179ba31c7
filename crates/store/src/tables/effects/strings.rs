//! Effects on wires, scales, jobs, frozen sets and winding orders.

use super::coils::Stamp;
use crate::context::Document;
use crate::effect::{Effect, Fields, digest};
use crate::string_store::{FrozenSet, JobColumns, JobState, NewWire};
use crate::tables::{Code, KnownJob, KnownScale, KnownWire, ScaleKey, Value};
use crate::winding_orders::NewWindingOrder;

fn document_fields(document: &Document) -> Fields {
    let Document { bytes, json } = document;
    vec![("bytes", digest(bytes)), ("json", digest(json.as_bytes()))]
}

/// Version and time of a row after a change that rests on `version`.
fn changed(version: i64, now_us: i64) -> Fields {
    vec![("version", (version + 1).into()), ("updated_us", now_us.into())]
}

/// A wire is new.
pub(in crate::tables) fn new_wire(wire: &NewWire, now_us: i64) -> Effect {
    let NewWire { wire_id, material, document } = wire;
    let mut row = vec![("wire_id", wire_id.as_str().into()), ("material", i64::from(*material).into())];
    row.extend(document_fields(document));
    row.extend(Stamp::new(now_us).fields());
    Effect::Put { table: "wires", row }
}

/// A wire is another one.
pub(in crate::tables) fn changed_wire(before: &KnownWire, wire: &NewWire, now_us: i64) -> Option<Effect> {
    let mut to = vec![("material", i64::from(wire.material).into())];
    to.extend(document_fields(&wire.document));
    to.extend(changed(before.version, now_us));
    Effect::difference("wires", vec![("wire_id", wire.wire_id.as_str().into())], &before.row, to)
}

fn scale_key(key: ScaleKey<'_>) -> Fields {
    vec![("model_id", key.model_id.into()), ("revision_id", key.revision_id.into())]
}

/// A scale revision is new.
pub(in crate::tables) fn new_scale(key: ScaleKey<'_>, document: &Document, now_us: i64) -> Effect {
    let mut row = scale_key(key);
    row.extend(document_fields(document));
    row.push(("released_us", Value::Null));
    row.extend(Stamp::new(now_us).fields());
    Effect::Put { table: "scales", row }
}

/// A draft of a scale is another one.
pub(in crate::tables) fn changed_scale(
    key: ScaleKey<'_>,
    before: &KnownScale,
    document: &Document,
    now_us: i64,
) -> Option<Effect> {
    let mut to = document_fields(document);
    to.extend(changed(before.version, now_us));
    Effect::difference("scales", scale_key(key), &before.row, to)
}

/// A scale revision is released.
pub(in crate::tables) fn released_scale(
    key: ScaleKey<'_>,
    before: &KnownScale,
    now_us: i64,
) -> Option<Effect> {
    let mut to = vec![("released_us", now_us.into())];
    to.extend(changed(before.version, now_us));
    Effect::difference("scales", scale_key(key), &before.row, to)
}

fn job_fields(columns: &JobColumns, document: &Document) -> Fields {
    let JobColumns { serial_id: _, due_date, station_id } = columns;
    let mut fields = vec![("due_date", due_date.as_str().into()), ("station_id", station_id.as_str().into())];
    fields.extend(document_fields(document));
    fields
}

/// A job is new.
pub(in crate::tables) fn new_job(columns: &JobColumns, document: &Document, now_us: i64) -> Effect {
    let mut row = vec![
        ("serial_id", columns.serial_id.as_str().into()),
        ("state", JobState::Open.code().into()),
        ("freeze_us", Value::Null),
    ];
    row.extend(job_fields(columns, document));
    row.extend(Stamp::new(now_us).fields());
    Effect::Put { table: "jobs", row }
}

/// A job is another one.
pub(in crate::tables) fn changed_job(
    before: &KnownJob,
    columns: &JobColumns,
    document: &Document,
    now_us: i64,
) -> Option<Effect> {
    let mut to = job_fields(columns, document);
    to.extend(changed(before.version, now_us));
    Effect::difference("jobs", vec![("serial_id", columns.serial_id.as_str().into())], &before.row, to)
}

/// A job has another state.
pub(in crate::tables) fn job_state(
    serial_id: &str,
    before: &KnownJob,
    state: JobState,
    now_us: i64,
) -> Option<Effect> {
    let mut to = vec![("state", state.code().into())];
    if state == JobState::Frozen {
        to.push(("freeze_us", now_us.into()));
    }
    to.extend(changed(before.version, now_us));
    Effect::difference("jobs", vec![("serial_id", serial_id.into())], &before.row, to)
}

/// A string set is frozen.
pub(in crate::tables) fn new_set(serial_id: &str, set: &FrozenSet, now_us: i64) -> Effect {
    let FrozenSet { digest: set_digest, bytes } = set;
    let row = vec![
        ("serial_id", serial_id.into()),
        ("digest", set_digest.as_str().into()),
        ("bytes", digest(bytes)),
        ("freeze_us", now_us.into()),
    ];
    Effect::Put { table: "string_sets", row }
}

/// A winding order is new, without a revision yet.
pub(in crate::tables) fn new_winding_order(number: i64, serial_ids: &[String]) -> Vec<Effect> {
    let order = vec![("order_number", number.into()), ("order_id", format!("W-{number:04}").into())];
    let serial = |serial_id: &String| Effect::Put {
        table: "winding_order_serials",
        row: vec![("serial_id", serial_id.as_str().into()), ("order_number", number.into())],
    };
    let order = Effect::Put { table: "winding_orders", row: order };
    std::iter::once(order).chain(serial_ids.iter().map(serial)).collect()
}

/// A winding order has a new revision.
pub(in crate::tables) fn new_winding_revision(
    number: i64,
    revision: i64,
    order: &NewWindingOrder,
    now_us: i64,
) -> Effect {
    // The JSON of the document stands in the entry alone, and the serials have a table of their own.
    let NewWindingOrder { serial_ids: _, digest: order_digest, reason, document } = order;
    let row = vec![
        ("order_number", number.into()),
        ("revision", revision.into()),
        ("reason", reason.as_str().into()),
        ("digest", order_digest.as_str().into()),
        ("bytes", digest(&document.bytes)),
        ("release_us", now_us.into()),
    ];
    Effect::Put { table: "winding_order_revisions", row }
}
