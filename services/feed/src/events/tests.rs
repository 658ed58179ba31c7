use std::collections::BTreeSet;

use becket_api::cloud_event::to_json;
use expect_test::{Expect, expect};
use prost::Message as _;
use serde_json::json;

use super::*;

fn entry(method: &str, subject: &str, after: serde_json::Value) -> Entry {
    Entry {
        sequence: 7,
        entry_us: 1_764_000_000_000_000,
        actor: "ann".to_owned(),
        origin: "10.0.0.9".to_owned(),
        request_id: "r-1".to_owned(),
        method: format!("becket.x.v1.XService/{method}"),
        subject: subject.to_owned(),
        before: None,
        after: Some(after.to_string()),
        effects: None,
        hash: [0; 32],
    }
}

fn told(entry: &Entry) -> Option<(&'static str, serde_json::Value)> {
    let event_type = type_of(entry)?;
    let event = event_of(entry, event_type, "urn:becket:shop:1").unwrap();
    let json = to_json(&event);
    assert_eq!((&json["type"], &json["subject"]), (&event_type.name.into(), &entry.subject.as_str().into()));
    Some((event_type.name, json["data"].clone()))
}

fn check(entry: &Entry, expected: &Expect) {
    let (name, data) = told(entry).unwrap();
    expected.assert_eq(&format!("{name} {data}"));
}

#[test]
fn events_show_what_happened_and_nobody() {
    check(
        &entry("ImportWires", "wires/w1", json!({ "wireId": "w1", "supplier": "secret" })),
        &expect![[r#"becket.wire.added.v1 {"wireId":"w1"}"#]],
    );
    check(
        &entry("ReleaseScale", "scales/m/a", json!({ "state": "RELEASED" })),
        &expect![[r#"becket.scale.released.v1 {"modelId":"m","revisionId":"a"}"#]],
    );
    check(
        &entry(
            "OpenJob",
            "jobs/S1",
            json!({ "serialId": "S1", "modelId": "m", "revisionId": "a", "dueDate": "2026-11-30", "stationId": "b" }),
        ),
        &expect![[
            r#"becket.job.opened.v1 {"dueDate":"2026-11-30","modelId":"m","revisionId":"a","serialId":"S1","stationId":"b"}"#
        ]],
    );
    check(
        &entry("FreezeStringSet", "jobs/S1", json!({ "state": "FROZEN", "set_digest": "d1" })),
        &expect![[r#"becket.job.set_frozen.v1 {"serialId":"S1","setDigest":"d1","state":"FROZEN"}"#]],
    );
    let coil = json!({ "coil_id": "C1", "wire_id": "w", "lot_id": "L", "state": "OPENED", "received_um": 100, "remaining_um": 60,
                       "cut_um": 30, "scrapped_um": 5, "adjusted_um": -5, "note": "by ann" });
    check(
        &entry("DecideCoilEvidence", "coils/C1", coil),
        &expect![[
            r#"becket.coil.changed.v1 {"adjustedUm":"-5","coilId":"C1","cutUm":"30","lotId":"L","receivedUm":"100","remainingUm":"60","scrappedUm":"5","state":"OPENED","wireId":"w"}"#
        ]],
    );
    check(
        &entry("ReleaseWindingOrder", "windingOrders/W-0001", json!({ "revision": 2, "reason": "longer" })),
        &expect![[
            r#"becket.winding_order.released.v1 {"orderId":"W-0001","reason":"longer","revision":"2"}"#
        ]],
    );
}

#[test]
fn events_of_lists_tell_pieces_and_bookings() {
    let step = |number: i64, kind: &str, state: &str| {
        json!({ "step_number": number, "kind": kind, "state": state, "coil_id": "C1", "length_um": 990, "serial_id": "S1",
                "piece_id": format!("p{number}") })
    };
    let after = json!({
        "list_id": "L-0001", "station_id": "b", "state": "RUNNING", "pieces_done": 1, "pieces_pending": 4, "version": 5,
        "changed_steps": [step(1, "MOUNT", "DONE"), step(2, "CUT", "DONE"), step(3, "CUT", "SPOILED")],
        "bookings": [{ "coil_id": "C1", "kind": "CUT", "length_um": 990, "finding": { "kind": "RUN_OUT" } }],
        "coil_states": [{ "coil_id": "C1", "state": "OPENED" }],
        "pending_steps": [step(4, "CUT", "PENDING")], "serials": [{ "serial_id": "S1", "set_digest": "d" }],
        "shortages": [{ "piece_ids": ["p5", "p6"] }],
    });
    check(
        &entry("ReportSpoiledPiece", "cutLists/L-0001", after),
        &expect![[
            r#"becket.cut_list.piece_spoiled.v1 {"bookings":[{"coilId":"C1","kind":"CUT","lengthUm":"990"}],"coilStates":[{"coilId":"C1","state":"OPENED"}],"cutPieces":[{"coilId":"C1","lengthUm":"990","pieceId":"p2","serialId":"S1"}],"listId":"L-0001","piecesDone":"1","piecesPending":"4","serialIds":["S1"],"shortagePieces":"2","spoiledPieces":[{"coilId":"C1","lengthUm":"990","pieceId":"p3","serialId":"S1"}],"state":"RUNNING","stationId":"b"}"#
        ]],
    );
}

#[test]
fn what_is_nobodys_business_is_not_told() {
    for (method, subject) in [
        ("CreateScale", "scales/m/a"),
        ("SaveStation", "stations/b"),
        ("SetStockRule", "stockRules/w"),
        ("X", "odd"),
    ] {
        assert_eq!(told(&entry(method, subject, json!({}))), None, "{subject}");
    }
    // A method that is not known yet changes a coil or a list all the same.
    assert_eq!(told(&entry("Later", "coils/C1", json!({}))).unwrap().0, "becket.coil.changed.v1");
    assert_eq!(told(&entry("Later", "cutLists/L1", json!({}))).unwrap().0, "becket.cut_list.changed.v1");
}

/// A list that is planned anew is told alike, whether somebody asked for it or a coil went.
#[test]
fn a_coil_that_goes_plans_its_lists_anew() {
    for method in ["ReplanCutList", "SetAsideCoil"] {
        let list = entry(method, "cutLists/L-1", json!({}));
        assert_eq!(told(&list).unwrap().0, "becket.cut_list.replanned.v1");
    }
    assert_eq!(told(&entry("SetAsideCoil", "coils/C1", json!({}))).unwrap().0, "becket.coil.set_aside.v1");
}

#[test]
fn damage_is_told_with_its_place() {
    let mut bad = entry("OpenJob", "jobs/S1", json!({}));
    bad.after = Some("{".to_owned());
    let error = event_of(&bad, type_of(&bad).unwrap(), "s").unwrap_err();
    assert!(error.to_string().contains("entry 7"), "{error}");
}

/// Every method that a line names is one of the API, and every schema a message; a renamed one would fall silent.
#[test]
fn methods_and_schemas_are_those_of_the_api() {
    let files = prost_types::FileDescriptorSet::decode(becket_api::DESCRIPTORS).unwrap();
    let methods: BTreeSet<&str> =
        files.file.iter().flat_map(|file| &file.service).flat_map(|s| &s.method).map(|m| m.name()).collect();
    let messages: BTreeSet<String> = files
        .file
        .iter()
        .flat_map(|file| file.message_type.iter().map(|m| format!("{}.{}", file.package(), m.name())))
        .collect();
    let names: BTreeSet<&str> = EVENT_TYPES.iter().map(|line| line.name).collect();
    assert_eq!(names.len(), EVENT_TYPES.len());
    for line in EVENT_TYPES {
        assert!(messages.contains(line.schema), "{line:?}");
        for method in line.methods {
            assert!(methods.contains(method), "{line:?}");
            let empty = entry(method, &format!("{}/x", line.kind), json!({}));
            assert_eq!(told(&empty).unwrap().0, line.name);
        }
    }
    for line in EVENT_TYPES.iter().filter(|line| line.methods.is_empty()) {
        let other = entry("NoSuchMethod", &format!("{}/x", line.kind), json!({}));
        assert_eq!(told(&other).unwrap().0, line.name);
    }
}

#[test]
fn a_source_is_of_its_database() {
    let source = source_of(&[7; 32]);
    assert_eq!((source.len(), source.starts_with("urn:becket:shop:")), (48, true));
    assert_ne!(source, source_of(&[8; 32]));
}
