//! A whole shop: its tables, its fixtures of earlier versions, and what must still hold after it was moved or upgraded.

use becket_floor::{ListId, SpoilCause, Spoilage, spoil};

use super::samples::{
    coil, commit, confirm, ctx, document, list, page, plan, serial_id, start, station, stock, text, wire,
};
use crate::journal::{GENESIS, first_break};
use crate::tables::{Column, LAYOUT, Row, ShopReader, Table, Value};
use crate::{
    CutStore, FrozenSet, JobColumns, JobFilter, JobState, NewWindingOrder, StockRule, StringStore,
    WebhookStore,
};

/// A shop of each version of the tables that holds something in every one of them, the oldest first. A fixture is never changed; one is
/// added when a migration makes a table or a column: `cargo run -p becket-store-sqlite --example fixture`.
pub const FIXTURES: [(i64, &str); 8] = [
    (1, include_str!("fixtures/shop-0001.json")),
    (2, include_str!("fixtures/shop-0002.json")),
    (6, include_str!("fixtures/shop-0006.json")),
    (7, include_str!("fixtures/shop-0007.json")),
    (8, include_str!("fixtures/shop-0008.json")),
    (10, include_str!("fixtures/shop-0010.json")),
    (11, include_str!("fixtures/shop-0011.json")),
    (13, include_str!("fixtures/shop-0013.json")),
];

/// The tables of the fixture for a version, with the columns that it fills and its rows.
pub fn fixture(version: i64) -> Vec<(&'static Table, Vec<Column>, Vec<Row>)> {
    let text = FIXTURES.iter().rev().find(|(since, _)| *since <= version).unwrap().1;
    let shop: serde_json::Value = serde_json::from_str(text).unwrap();
    let tables = shop.as_array().unwrap().iter().map(|table| {
        let known = LAYOUT.iter().find(|known| known.name == table["table"]).unwrap();
        let column =
            |name: &serde_json::Value| *known.columns.iter().find(|column| column.name == name).unwrap();
        let columns: Vec<Column> = table["columns"].as_array().unwrap().iter().map(column).collect();
        let row = |row: &serde_json::Value| -> Row {
            let values = row.as_array().unwrap().iter().zip(&columns);
            values.map(|(value, column)| Value::of_json(value, column.kind).unwrap()).collect()
        };
        let rows = table["rows"].as_array().unwrap().iter().map(row).collect();
        (known, columns, rows)
    });
    tables.collect()
}

/// A shop as a fixture.
pub async fn as_fixture(shop: &mut dyn ShopReader) -> String {
    let mut tables = Vec::new();
    for table in LAYOUT {
        let rows = shop.rows(table, &[], 10_000).await.unwrap();
        assert!(!rows.is_empty(), "{} is empty", table.name);
        let columns: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
        let rows: Vec<String> = rows
            .iter()
            .map(|row| {
                format!("    {}", serde_json::Value::from(row.iter().map(Value::json).collect::<Vec<_>>()))
            })
            .collect();
        let columns = serde_json::json!(columns);
        tables.push(format!(
            " {{ \"table\": \"{}\", \"columns\": {columns}, \"rows\": [\n{}\n ] }}",
            table.name,
            rows.join(",\n")
        ));
    }
    format!("[\n{}\n]\n", tables.join(",\n"))
}

fn job(serial: &str) -> JobColumns {
    JobColumns { serial_id: serial.into(), due_date: "2026-12-01".into(), station_id: "bench".into() }
}

fn winding(digest: &str, reason: &str) -> NewWindingOrder {
    NewWindingOrder {
        serial_ids: vec!["S1".to_owned(), "S2".to_owned()],
        digest: digest.to_owned(),
        reason: reason.to_owned(),
        document: document(digest),
    }
}

/// Fills a new database with something in every table, a list that runs among it.
pub async fn fill(store: &(impl StringStore + CutStore + WebhookStore)) {
    store.import_wires(&ctx("w"), vec![wire("w1", "1"), wire("Ä", "1")], text()).await.unwrap();
    store.update_wire(&ctx("u"), 1, wire("w1", "2"), text()).await.unwrap();
    store.create_scale(&ctx("s1"), "m", "a", document("1"), text()).await.unwrap();
    store.create_scale(&ctx("s2"), "m", "b", document("1"), text()).await.unwrap();
    store.release_scale(&ctx("s3"), "m", "a", 1, text()).await.unwrap();
    for serial in ["S1", "S2", "S3"] {
        store.open_job(&ctx(serial), job(serial), document(serial), text()).await.unwrap();
    }
    let set = FrozenSet { digest: "d1".to_owned(), bytes: vec![0, 255, 1] };
    store.freeze_set(&ctx("f"), "S1", 1, set, text()).await.unwrap();
    store.close_job(&ctx("c"), "S3", 1, JobState::GivenUp, text()).await.unwrap();

    let coils = ["C1", "C2"].map(|id| coil(id, "L1", "2026-01-01", 10_000));
    stock(store, coils.to_vec()).await;
    let rule = StockRule { wire_id: coils[0].wire_id.clone(), smallest_remnant: super::samples::mm(300) };
    store.set_stock_rule(&ctx("r"), rule, text()).await.unwrap();
    let mut first = list(&coils[0], "S1", &[("52.1", 1000), ("52.2", 990)]);
    first.shortages.push(becket_floor::Shortage {
        wire_id: coils[0].wire_id.clone(),
        serial_id: serial_id("S1"),
        piece_ids: vec![super::samples::piece_id("53.1")],
        length: super::samples::mm(900),
    });
    let id = plan(store, "p1", first).await.unwrap().list.header.list_id;
    plan(store, "p2", list(&coils[1], "S2", &[("52.1", 1000)])).await.unwrap();
    start(store, &id).await;
    confirm(store, &id, 2).await;
    let before = store.cut_list(&id).await.unwrap().list;
    let on_floor = store.floor_coils(&before.coil_ids(), Some(&id)).await.unwrap();
    let bench = store.station(&station(2).station_id).await.unwrap().station;
    let spoilage = spoil(&before, &on_floor, &bench, 2, SpoilCause::Broken, None, 7, "anna").unwrap();
    let Spoilage::Recut { change, .. } = spoilage else { panic!("{spoilage:?}") };
    commit(store, "spoil", change).await.unwrap();
    confirm(store, &id, 1).await;
    store.release_winding_order(&ctx("o1"), winding("d1", ""), text()).await.unwrap();
    store.release_winding_order(&ctx("o2"), winding("d2", "longer"), text()).await.unwrap();
    super::webhooks::fill(store).await;
}

/// Whether what [`fill`] stored is there, by reading, and the work goes on where it stood. `windings` tells whether the shop knew winding
/// orders.
pub async fn goes_on(store: &(impl StringStore + CutStore + WebhookStore), windings: bool) {
    let entries = store.entries(0, 1000, None).await.unwrap();
    assert_eq!(first_break(0, &GENESIS, &entries), None);
    assert_eq!(store.last_sequence().await.unwrap(), i64::try_from(entries.len()).unwrap());
    assert_eq!(store.wire("w1").await.unwrap().stored.bytes, b"2");
    assert_eq!(store.scale("m", "a").await.unwrap().released_us, Some(1_000_000));
    let jobs = store.list_jobs(&JobFilter::default(), &page(9, None)).await.unwrap().items;
    let states: Vec<JobState> = jobs.iter().map(|job| job.state).collect();
    assert_eq!(states, [JobState::Frozen, JobState::Open, JobState::GivenUp]);
    assert_eq!(store.frozen_set("S1").await.unwrap().unwrap().0.bytes, [0, 255, 1]);
    if windings {
        assert_eq!(store.winding_order("W-0001", None).await.unwrap().revision, 2);
    }
    // A repeat from before gets its answer.
    assert!(store.find_answer(&ctx("p1")).await.unwrap().is_some());
    let rules = store.list_stock_rules(&page(9, None)).await.unwrap().items;
    assert_eq!(rules.len(), 1);

    let id = ListId::numbered(1);
    let list_then = store.cut_list(&id).await.unwrap().list;
    assert_eq!((list_then.header.pieces_done, list_then.shortages.len()), (1, 1));
    let coil_then = store.coil(&list_then.steps[0].coil_id).await.unwrap();
    assert!(coil_then.coil.is_balanced());
    assert_eq!(coil_then.reserved, super::samples::mm(990));
    confirm(store, &id, 2).await;
    assert_eq!(store.cut_list(&id).await.unwrap().list.header.pieces_pending, 0);
    let coil_now = store.coil(&list_then.steps[0].coil_id).await.unwrap();
    assert_eq!(coil_then.coil.remaining.get() - coil_now.coil.remaining.get(), 990_000);
    let ledger = store.list_coil_evidence(&coil_now.coil.coil_id, &page(2, None)).await.unwrap().items;
    assert_eq!(ledger[0].evidence.after, coil_now.coil.belief());
    assert_eq!(ledger[1].evidence.after, coil_then.coil.belief());
    assert!(coil_then.coil.belief().sd_mm > 0.0);
    store.open_job(&ctx("more"), job("S4"), document("4"), text()).await.unwrap();
    store.release_winding_order(&ctx("o3"), winding("d3", "again"), text()).await.unwrap();
    let after = store.entries(0, 1000, None).await.unwrap();
    assert_eq!((after.len(), first_break(0, &GENESIS, &after)), (entries.len() + 3, None));
}

/// Whether the journal implies what the tables hold; returns the entry from which it was replayed.
pub async fn is_verified(shop: &mut dyn ShopReader) -> i64 {
    let report = crate::replay::verify(shop).await.unwrap();
    assert_eq!(report.differences, []);
    for (table, count) in report.tables.iter().map(|count| (count.table, count)) {
        assert_eq!(count.implied, count.stored, "{table}");
    }
    report.replayed_from
}
