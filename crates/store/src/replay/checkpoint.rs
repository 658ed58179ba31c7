//! A checkpoint: every row of the tables of state, told as entries, so that a replay can begin there.

use serde_json::json;

use super::verify::NOT_DERIVED;
use crate::context::WriteContext;
use crate::effect::{Effect, encode, told};
use crate::error::StoreError;
use crate::journal::Entry;
use crate::tables::{LAYOUT, ShopReader, Value};

/// Method of the entries of a checkpoint.
pub const METHOD: &str = "becket/Checkpoint";
/// Subject of the entries of a checkpoint.
pub const SUBJECT: &str = "checkpoint";
/// In the table `meta` while a migration asks for a checkpoint. A migration that changes rows which are there must ask for one.
pub const WANTED: &str = "checkpoint_wanted";

/// Rows in one entry.
const ROWS: u32 = 200;

/// Whether an entry is part of a checkpoint.
#[must_use]
pub fn is_part(entry: &Entry) -> bool {
    entry.method == METHOD && entry.subject == SUBJECT
}

/// Whether an entry begins one: whatever was replayed before is told anew from here.
#[must_use]
pub fn begins(entry: &Entry) -> bool {
    is_part(entry) && entry.before.is_none()
}

/// The entries of a checkpoint of a shop as it is, without places in the chain. Nobody else may write meanwhile.
///
/// # Errors
/// Those of the engine.
pub async fn entries(shop: &mut dyn ShopReader, now_us: i64) -> Result<Vec<Entry>, StoreError> {
    let ctx = WriteContext {
        method: METHOD,
        request_id: String::new(),
        request_digest: [0; 32],
        actor: String::new(),
        origin: String::new(),
        now_us,
    };
    let part = |before: Option<String>, after: serde_json::Value, effects: &[Effect]| Entry {
        effects: Some(encode(effects)),
        ..Entry::new(&ctx, SUBJECT.to_owned(), before, Some(after.to_string()))
    };
    let mut entries = vec![part(None, json!({ "part": "begin" }), &[])];
    for table in LAYOUT.iter().filter(|table| !NOT_DERIVED.iter().any(|(name, _)| *name == table.name)) {
        let mut after: Vec<Value> = Vec::new();
        loop {
            let rows = shop.rows(table, &after, ROWS).await?;
            let Some(last) = rows.last() else { break };
            after = table.key_of(last);
            let count = rows.len();
            let put = |row: Vec<Value>| Effect::Put {
                table: table.name,
                row: table
                    .columns
                    .iter()
                    .zip(row)
                    .map(|(column, value)| (column.name, told(column, value)))
                    .collect(),
            };
            let effects: Vec<Effect> = rows.into_iter().map(put).collect();
            let before = json!({ "part": entries.len() - 1 }).to_string();
            entries.push(part(Some(before), json!({ "table": table.name, "rows": count }), &effects));
        }
    }
    Ok(entries)
}
