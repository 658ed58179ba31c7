//! What events show of the entries that they are made from.

use becket_api::feed::{
    BookingData, CoilData, CoilStateData, CutListData, JobData, PieceData, ScaleData, WindingOrderData,
    WireData,
};
use becket_api::json::to_json;
use becket_store::Entry;
use prost::Name;
use serde_json::Value;

/// The data of an event by the full name of their message.
pub(super) fn of(entry: &Entry, schema: &str) -> Result<Value, String> {
    let after: Value = match &entry.after {
        Some(text) => serde_json::from_str(text).map_err(|error| error.to_string())?,
        None => Value::Null,
    };
    let id = entry.subject.split_once('/').map(|(_, id)| id).unwrap_or_default();
    match schema {
        "becket.feed.v1.WireData" => json(&WireData { wire_id: id.to_owned() }),
        "becket.feed.v1.ScaleData" => json(&scale(id)),
        "becket.feed.v1.JobData" => json(&job(id, &after)),
        "becket.feed.v1.CoilData" => json(&coil(id, &after)),
        "becket.feed.v1.CutListData" => json(&cut_list(id, &after)),
        "becket.feed.v1.WindingOrderData" => json(&winding_order(id, &after)),
        other => Err(format!("there is no message {other}")),
    }
}

fn json<M: Name>(message: &M) -> Result<Value, String> {
    to_json(message).map_err(|error| error.to_string())
}

fn text(object: &Value, field: &str) -> String {
    object.get(field).and_then(Value::as_str).unwrap_or_default().to_owned()
}

fn number(object: &Value, field: &str) -> i64 {
    object.get(field).and_then(Value::as_i64).unwrap_or_default()
}

fn items<'a>(object: &'a Value, field: &str) -> impl Iterator<Item = &'a Value> {
    object.get(field).and_then(Value::as_array).into_iter().flatten()
}

/// A scale's id is its model and its revision.
fn scale(id: &str) -> ScaleData {
    let (model_id, revision_id) = id.split_once('/').unwrap_or((id, ""));
    ScaleData { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() }
}

/// The entry holds the job as protobuf JSON, or only what changed of its state.
fn job(id: &str, after: &Value) -> JobData {
    let (state, set_digest) = (text(after, "state"), text(after, "set_digest"));
    JobData {
        serial_id: id.to_owned(),
        model_id: text(after, "modelId"),
        revision_id: text(after, "revisionId"),
        due_date: text(after, "dueDate"),
        station_id: text(after, "stationId"),
        state: state.trim_start_matches("JOB_STATE_").to_owned(),
        set_digest,
    }
}

fn coil(id: &str, after: &Value) -> CoilData {
    CoilData {
        coil_id: id.to_owned(),
        wire_id: text(after, "wire_id"),
        lot_id: text(after, "lot_id"),
        state: text(after, "state"),
        received_um: number(after, "received_um"),
        remaining_um: number(after, "remaining_um"),
        cut_um: number(after, "cut_um"),
        scrapped_um: number(after, "scrapped_um"),
        adjusted_um: number(after, "adjusted_um"),
    }
}

fn cut_list(id: &str, after: &Value) -> CutListData {
    // Of a new list the steps are only planned; what was done stands in these two.
    let changed = || items(after, "changed_steps").chain(items(after, "added_steps"));
    let pieces = |state: &str| {
        let is_cut = |step: &&Value| text(step, "kind") == "CUT" && text(step, "state") == state;
        changed().filter(is_cut).map(piece).collect()
    };
    CutListData {
        list_id: id.to_owned(),
        station_id: text(after, "station_id"),
        state: text(after, "state"),
        pieces_done: number(after, "pieces_done"),
        pieces_pending: number(after, "pieces_pending"),
        serial_ids: items(after, "serials").map(|serial| text(serial, "serial_id")).collect(),
        cut_pieces: pieces("DONE"),
        spoiled_pieces: pieces("SPOILED"),
        bookings: items(after, "bookings").map(booking).collect(),
        coil_states: items(after, "coil_states").map(coil_state).collect(),
        shortage_pieces: items(after, "shortages").map(|one| count(items(one, "piece_ids").count())).sum(),
    }
}

fn count(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

fn piece(step: &Value) -> PieceData {
    PieceData {
        serial_id: text(step, "serial_id"),
        piece_id: text(step, "piece_id"),
        coil_id: text(step, "coil_id"),
        length_um: number(step, "length_um"),
    }
}

fn booking(booking: &Value) -> BookingData {
    BookingData {
        coil_id: text(booking, "coil_id"),
        kind: text(booking, "kind"),
        length_um: number(booking, "length_um"),
    }
}

fn coil_state(state: &Value) -> CoilStateData {
    CoilStateData { coil_id: text(state, "coil_id"), state: text(state, "state") }
}

fn winding_order(id: &str, after: &Value) -> WindingOrderData {
    WindingOrderData {
        order_id: id.to_owned(),
        revision: number(after, "revision"),
        reason: text(after, "reason"),
    }
}
