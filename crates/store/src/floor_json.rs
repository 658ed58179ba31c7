//! JSON of floor records for the journal, with the field names of the API; lengths are numbers of micrometres.

use becket_floor::{
    Booking, BookingKind, Coil, CoilId, CoilState, CutListHeader, CutListState, Evidence, EvidenceKind,
    Finding, FloorChange, NewCutList, Scales, SpoilCause, Station, Step, StepKind, StepState, TailUse,
};
use serde_json::{Map, Value, json};

use crate::cut_store::{EvidenceRecord, StockRule};
use crate::tables::{Code, kind_code};

/// A coil; `note` is added if it is not empty.
#[must_use]
pub fn coil_json(coil: &Coil, note: &str) -> String {
    coil_value(coil, note).to_string()
}

/// A coil with the line of its ledger that was added or decided upon.
#[must_use]
pub(crate) fn evidence_json(coil: &Coil, note: &str, record: &EvidenceRecord) -> String {
    let mut value = coil_value(coil, note);
    if let Value::Object(fields) = &mut value {
        fields.insert("evidence".to_owned(), evidence_value(record));
    }
    value.to_string()
}

fn evidence_value(record: &EvidenceRecord) -> Value {
    let Evidence { kind, state, length, sd_mm, deviation_sds, before, after } = record.evidence;
    let mut value = json!({
        "number": record.number,
        "kind": kind_code(kind).to_ascii_uppercase(),
        "state": state.code().to_ascii_uppercase(),
        "length_um": length.get(),
        "length_sd_mm": sd_mm,
        "deviation_sds": deviation_sds,
        "remaining_before_um": before.remaining.get(),
        "remaining_before_sd_mm": before.sd_mm,
        "remaining_after_um": after.remaining.get(),
        "remaining_after_sd_mm": after.sd_mm,
    });
    if let (Value::Object(fields), EvidenceKind::Weighing(scales)) = (&mut value, kind) {
        let Scales { gross_g, tare_g, resolution_g, tare_sd_g } = scales;
        let shown = [
            ("gross_g", gross_g),
            ("tare_g", tare_g),
            ("resolution_g", resolution_g),
            ("tare_sd_g", tare_sd_g),
        ];
        fields.extend(shown.map(|(name, grams)| (name.to_owned(), json!(grams))));
    }
    value
}

fn coil_value(coil: &Coil, note: &str) -> Value {
    let mut value = json!({
        "coil_id": coil.coil_id.as_str(),
        "wire_id": coil.wire_id.as_str(),
        "lot_id": coil.lot_id.as_str(),
        "received_date": coil.received_date,
        "state": coil_state(coil.state),
        "received_um": coil.received.get(),
        "remaining_um": coil.remaining.get(),
        "cut_um": coil.cut.get(),
        "scrapped_um": coil.scrapped.get(),
        "adjusted_um": coil.adjusted.get(),
        "linear_density_g_m": coil.linear_density_g_m,
        "remaining_sd_mm": coil.estimate.sd_mm(),
    });
    if let (Value::Object(fields), false) = (&mut value, note.is_empty()) {
        fields.insert("note".to_owned(), note.into());
    }
    value
}

/// A rule.
#[must_use]
pub fn rule_json(rule: &StockRule) -> String {
    json!({ "wire_id": rule.wire_id.as_str(), "smallest_remnant_mm": rule.smallest_remnant.as_mm() })
        .to_string()
}

/// A station's own data.
#[must_use]
pub fn station_json(station: &Station) -> String {
    json!({
        "station_id": station.station_id.as_str(),
        "title": station.title,
        "reel_positions": station.reel_positions,
        "trays": station.trays,
    })
    .to_string()
}

/// What is on a reel position.
#[must_use]
pub fn mount_json(reel_position: u32, coil_id: Option<&CoilId>) -> String {
    json!({ "reel_position": reel_position, "coil_id": coil_id.map(|id| id.as_str()) }).to_string()
}

/// A new list.
#[must_use]
pub fn list_json(header: &CutListHeader, list: &NewCutList) -> String {
    let mut fields = header_fields(header);
    fields.insert("serials".to_owned(), serials(header));
    fields.insert("steps".to_owned(), list.steps.iter().map(step_value).collect());
    fields.insert("shortages".to_owned(), shortages(&list.shortages));
    Value::Object(fields).to_string()
}

/// What a change changes: the header's state and counts, and what was added.
#[must_use]
pub fn change_json(change: &FloorChange) -> String {
    // Destructured without `..`: a new kind of change must be told. Guards are no change.
    let FloorChange {
        header,
        changed_steps,
        added_steps,
        replace_pending,
        shortages: lacking,
        bookings,
        coil_states,
        mounted,
        guards: _,
    } = change;
    let mut fields = header_fields(header);
    let mut add = |name: &str, value: Value| {
        if value.as_array().is_none_or(|items| !items.is_empty()) {
            fields.insert(name.to_owned(), value);
        }
    };
    add("changed_steps", changed_steps.iter().map(step_value).collect());
    add("added_steps", added_steps.iter().map(step_value).collect());
    add("bookings", bookings.iter().map(booking_value).collect());
    let states = coil_states
        .iter()
        .map(|(coil, state)| json!({ "coil_id": coil.as_str(), "state": coil_state(*state) }));
    add("coil_states", states.collect());
    let mounted = mounted.iter().map(|(position, coil)| {
        json!({ "reel_position": position, "coil_id": coil.as_ref().map_or("", |coil| coil.as_str()) })
    });
    add("mounted", mounted.collect());
    // Told even if they are empty now: that is a change, too.
    if let Some(pending) = replace_pending {
        fields.insert("serials".to_owned(), serials(header));
        fields.insert("pending_steps".to_owned(), pending.iter().map(step_value).collect());
    }
    if let Some(lacking) = lacking {
        fields.insert("shortages".to_owned(), shortages(lacking));
    }
    Value::Object(fields).to_string()
}

fn serials(header: &CutListHeader) -> Value {
    let value = |serial: &becket_floor::SerialDigest| {
        json!({
            "serial_id": serial.serial_id.as_str(),
            "set_digest": serial.set_digest,
            "due_date": serial.due_date,
        })
    };
    header.serials.iter().map(value).collect()
}

fn header_fields(header: &CutListHeader) -> Map<String, Value> {
    let mut fields = Map::new();
    fields.insert("list_id".to_owned(), header.list_id.as_str().into());
    fields.insert("station_id".to_owned(), header.station_id.as_str().into());
    fields.insert("state".to_owned(), list_state(header.state).into());
    fields.insert("pieces_done".to_owned(), header.pieces_done.into());
    fields.insert("pieces_pending".to_owned(), header.pieces_pending.into());
    fields.insert("version".to_owned(), header.version.into());
    fields
}

fn shortages(lacking: &[becket_floor::Shortage]) -> Value {
    let value = |shortage: &becket_floor::Shortage| {
        let pieces: Vec<&str> = shortage.piece_ids.iter().map(|id| id.as_str()).collect();
        json!({
            "wire_id": shortage.wire_id.as_str(),
            "serial_id": shortage.serial_id.as_str(),
            "piece_ids": pieces,
            "length_um": shortage.length.get(),
        })
    };
    lacking.iter().map(value).collect()
}

fn step_value(step: &Step) -> Value {
    let mut fields = Map::new();
    let mut add = |name: &str, value: Value| fields.insert(name.to_owned(), value);
    add("step_number", step.step_number.into());
    add("kind", step_kind(step.kind).into());
    add("state", step_state(step.state).into());
    add("coil_id", step.coil_id.as_str().into());
    add("reel_position", step.reel_position.into());
    add("length_um", step.length.get().into());
    add("remaining_after_um", step.remaining_after.get().into());
    if let Some(piece) = &step.piece {
        add("serial_id", piece.serial_id.as_str().into());
        add("piece_id", piece.piece_id.as_str().into());
        if piece.recut {
            add("recut", true.into());
        }
    }
    if let Some(tail_use) = step.tail_use {
        add("tail_use", if tail_use == TailUse::Keep { "KEEP" } else { "SCRAP" }.into());
    }
    if let Some(cause) = step.spoil_cause {
        add("spoil_cause", if cause == SpoilCause::Miscut { "MISCUT" } else { "BROKEN" }.into());
    }
    Value::Object(fields)
}

fn booking_value(booking: &Booking) -> Value {
    let kind = match booking.kind {
        BookingKind::Cut => "CUT",
        BookingKind::Scrap => "SCRAP",
        BookingKind::Adjust => "ADJUST",
        BookingKind::CutToScrap => "CUT_TO_SCRAP",
    };
    let mut value =
        json!({ "coil_id": booking.coil_id.as_str(), "kind": kind, "length_um": booking.amount.get() });
    if let (Value::Object(fields), Some(finding)) = (&mut value, &booking.finding) {
        let Finding { kind, state, length, sd_mm, deviation_sds, estimate } = finding;
        let finding = json!({
            "kind": kind_code(*kind).to_ascii_uppercase(),
            "state": state.code().to_ascii_uppercase(),
            "length_um": length.get(),
            "length_sd_mm": sd_mm,
            "deviation_sds": deviation_sds,
            "remaining_sd_mm": estimate.sd_mm(),
        });
        fields.insert("finding".to_owned(), finding);
    }
    value
}

fn coil_state(state: CoilState) -> &'static str {
    match state {
        CoilState::Sealed => "SEALED",
        CoilState::Opened => "OPENED",
        CoilState::SetAside => "SET_ASIDE",
        CoilState::UsedUp => "USED_UP",
        CoilState::Scrapped => "SCRAPPED",
    }
}

fn list_state(state: CutListState) -> &'static str {
    match state {
        CutListState::Planned => "PLANNED",
        CutListState::Running => "RUNNING",
        CutListState::Finished => "FINISHED",
        CutListState::Cancelled => "CANCELLED",
    }
}

fn step_kind(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Mount => "MOUNT",
        StepKind::Cut => "CUT",
        StepKind::Unmount => "UNMOUNT",
    }
}

fn step_state(state: StepState) -> &'static str {
    match state {
        StepState::Pending => "PENDING",
        StepState::Done => "DONE",
        StepState::Spoiled => "SPOILED",
    }
}
