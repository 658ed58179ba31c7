//! Every entry of the journal tells what was there before it: what the last entry on the same row left. Folded here apart from
//! [`replay`](crate::replay), so that both would have to be wrong in the same way.

use std::collections::{BTreeMap, BTreeSet};

use super::samples::{coil, confirm, ctx, mm, station, text};
use super::{Factory, moving};
use crate::effect::{Effect, Fields, decode};
use crate::replay::{Key, NOT_DERIVED, checkpoint};
use crate::tables::{LAYOUT, Value};
use crate::{CutStore, Entry, JournalStore, Outcome, StockRule, WebhookProgress, WebhookStore};

/// Rows by table and key, each column as the last entry left it.
type Rows = BTreeMap<(&'static str, Key), BTreeMap<&'static str, Value>>;

fn key_of(table: &'static str, fields: &Fields) -> (&'static str, Key) {
    let known = LAYOUT.iter().find(|known| known.name == table).unwrap();
    let value = |name: &&str| fields.iter().find(|(of, _)| of == name).unwrap().1.clone();
    (table, Key::of(&known.key.iter().map(value).collect::<Vec<_>>()))
}

/// Fails unless each entry tells what was before. Returns what was seen: forms of effects and tables.
pub(super) fn follow(entries: &[Entry]) -> BTreeSet<(&'static str, &'static str)> {
    let (mut rows, mut seen) = (Rows::new(), BTreeSet::new());
    for entry in entries {
        if checkpoint::begins(entry) {
            rows.clear();
        }
        let at = format!("entry {} on {}", entry.sequence, entry.subject);
        for effect in decode(entry.effects.as_deref().unwrap()).unwrap() {
            assert!(effect.tells_before(), "{at}: {effect:?}");
            match effect {
                Effect::Put { table, row } => {
                    let there = rows.insert(key_of(table, &row), row.into_iter().collect());
                    assert_eq!(there, None, "{at}: a row of {table} is put over another");
                    seen.insert(("put", table));
                }
                Effect::Set { table, key, was, to } => {
                    let row =
                        rows.get_mut(&key_of(table, &key)).unwrap_or_else(|| panic!("{at}: {table} {key:?}"));
                    for (column, was) in was {
                        assert_eq!(row.get(column), Some(&was), "{at}: {column} of {table} {key:?}");
                    }
                    assert!(
                        to.iter().all(|(column, value)| row.get(column) != Some(value)),
                        "{at}: no change"
                    );
                    row.extend(to);
                    seen.insert(("set", table));
                }
                Effect::Drop { table, row } => {
                    let was = rows.remove(&key_of(table, &row));
                    assert_eq!(was, Some(row.into_iter().collect()), "{at}: a row of {table}");
                    seen.insert(("drop", table));
                }
                Effect::Clear { .. } => panic!("{at}: an effect of an earlier version"),
            }
        }
    }
    seen
}

pub async fn every_kind_of_change_tells_what_was_before(factory: &impl Factory) {
    let store = factory.open().await;
    moving::fill(&store).await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    let rule = StockRule { wire_id: c1.wire_id.clone(), smallest_remnant: mm(500) };
    store.set_stock_rule(&ctx("rule again"), rule, text()).await.unwrap();
    store.save_station(&ctx("station again"), station(3), Some(1), text()).await.unwrap();
    confirm(&store, &becket_floor::ListId::numbered(1), 2).await;
    let fence = store.take_lease("a", 0, 1_000_000).await.unwrap().unwrap();
    let progress =
        store.list_webhooks(&super::samples::page(1, None)).await.unwrap().items[0].progress.clone();
    let (from, progress) = (progress.told_sequence, WebhookProgress { attempts: 0, ..progress });
    let gone = Outcome::Gone { progress, gone_us: 5 };
    assert!(store.note_outcome(fence, "erp", from, &gone).await.unwrap());
    store.delete_webhook(&ctx("no webhook"), "erp", text()).await.unwrap();

    let entries = store.entries(0, 1000, None).await.unwrap();
    let seen = follow(&entries);
    for table in LAYOUT.iter().filter(|table| !NOT_DERIVED.iter().any(|(name, _)| *name == table.name)) {
        assert!(seen.contains(&("put", table.name)), "{} is not put", table.name);
    }
    let changed: Vec<&str> =
        seen.iter().filter(|(form, _)| *form == "set").map(|(_, table)| *table).collect();
    assert_eq!(
        changed,
        ["coils", "cut_lists", "cut_steps", "jobs", "scales", "stations", "stock_rules", "webhooks", "wires"]
    );
    let dropped: Vec<&str> =
        seen.iter().filter(|(form, _)| *form == "drop").map(|(_, table)| *table).collect();
    assert_eq!(dropped, ["mounts", "webhooks"]);

    // And for people: a confirmation tells its steps as they were, beside what they are.
    let confirmed =
        |entry: &&Entry| entry.after.as_deref().is_some_and(|after| after.contains("\"bookings\""));
    let entry = entries.iter().find(confirmed).unwrap();
    let object = |text: &Option<String>| -> serde_json::Value {
        serde_json::from_str(text.as_deref().unwrap()).unwrap()
    };
    let (before, after) = (object(&entry.before), object(&entry.after));
    let steps = |value: &serde_json::Value| -> Vec<serde_json::Value> {
        value["changed_steps"].as_array().unwrap().iter().map(|step| step["state"].clone()).collect()
    };
    assert_eq!((steps(&before), steps(&after)), (vec!["PENDING".into(); 2], vec!["DONE".into(); 2]));
    assert_eq!(before["version"].as_i64().unwrap() + 1, after["version"].as_i64().unwrap());
    assert_eq!((&before["pieces_done"], &after["pieces_done"]), (&0.into(), &1.into()));
    assert_eq!(before["coil_states"], serde_json::json!([{ "coil_id": "C1", "state": "SEALED" }]));
    assert_eq!(before["mounted"], serde_json::json!([{ "reel_position": 1, "coil_id": "" }]));
}
