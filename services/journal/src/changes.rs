//! What an entry did to the rows of the tables, as it is shown.

use becket_api::journal::{Change, ChangeKind, ColumnChange};
use becket_api::json::to_value;
use becket_store::effect::{Effect, EffectError, Fields, decode, key_of};
use becket_store::tables::Value;

/// Characters of a secret's digest that are shown: enough to see that it is another one.
const SECRET_DIGITS: usize = 23;

/// The changes that the effects of an entry tell.
///
/// # Errors
/// [`EffectError`] if they cannot be read.
pub(crate) fn changes(effects: &str) -> Result<Vec<Change>, EffectError> {
    Ok(decode(effects)?.into_iter().map(change).collect())
}

fn change(effect: Effect) -> Change {
    let (table, key, kind, columns) = match effect {
        Effect::Put { table, row } => (table, key_of(table, &row), ChangeKind::Added, after(row)),
        Effect::Set { table, key, was, to } => {
            (table, key_of(table, &key), ChangeKind::Changed, both(was, to))
        }
        Effect::Drop { table, row } => (table, key_of(table, &row), ChangeKind::Removed, before(row)),
        // All rows with these values, in entries of earlier versions.
        Effect::Clear { table, filter } => {
            (table, key_of(table, &filter), ChangeKind::Removed, before(filter))
        }
    };
    Change { table: table.to_owned(), key: key.to_string(), kind: kind.into(), columns }
}

fn shown(column: &str, value: Value) -> Option<prost_types::Value> {
    let value = match value {
        Value::Text(text) if column == "secret" => Value::Text(text.chars().take(SECRET_DIGITS).collect()),
        other => other,
    };
    Some(to_value(&value.json()))
}

fn after(row: Fields) -> Vec<ColumnChange> {
    let there = row.into_iter().filter(|(_, value)| *value != Value::Null);
    there
        .map(|(column, value)| ColumnChange {
            column: column.to_owned(),
            before: None,
            after: shown(column, value),
        })
        .collect()
}

fn before(row: Fields) -> Vec<ColumnChange> {
    let there = row.into_iter().filter(|(_, value)| *value != Value::Null);
    there
        .map(|(column, value)| ColumnChange {
            column: column.to_owned(),
            before: shown(column, value),
            after: None,
        })
        .collect()
}

fn both(was: Fields, to: Fields) -> Vec<ColumnChange> {
    let change = |(column, value): (&'static str, Value)| {
        let before = was.iter().find(|(name, _)| *name == column).map(|(_, was)| was.clone());
        ColumnChange {
            column: column.to_owned(),
            before: before.and_then(|before| shown(column, before)),
            after: shown(column, value),
        }
    };
    to.into_iter().map(change).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(change: &Change) -> Vec<String> {
        let text = |value: &Option<prost_types::Value>| match value.as_ref().and_then(|v| v.kind.clone()) {
            None => "-".to_owned(),
            Some(prost_types::value::Kind::StringValue(text)) => text,
            Some(prost_types::value::Kind::NumberValue(number)) => number.to_string(),
            other => format!("{other:?}"),
        };
        let columns = change.columns.iter();
        columns.map(|c| format!("{} {} {}", c.column, text(&c.before), text(&c.after))).collect()
    }

    #[test]
    fn each_column_is_shown_before_and_after() {
        let effects = r#"[
            {"put":"mounts","row":{"station_id":"bench","reel_position":1,"coil_id":"C1"}},
            {"set":"coils","key":{"coil_id":"C1"},"was":{"cut_um":0,"state":"sealed"},"to":{"cut_um":1000,"state":"opened"}},
            {"drop":"stock_rules","row":{"wire_id":"w","smallest_remnant_um":7}},
            {"put":"webhooks","row":{"webhook_id":"erp","secret":"sha256:0123456789abcdef0123456789abcdef"}},
            {"set":"coils","key":{"coil_id":"C1"},"to":{"cut_um":2000}},
            {"clear":"cut_steps","where":{"list_number":3,"state":"pending"}}
        ]"#;
        let shown = changes(effects).unwrap();
        let heads: Vec<String> =
            shown.iter().map(|c| format!("{} {} {:?}", c.table, c.key, c.kind())).collect();
        assert_eq!(
            heads,
            [
                "mounts bench/1 Added",
                "coils C1 Changed",
                "stock_rules w Removed",
                "webhooks erp Added",
                "coils C1 Changed",
                "cut_steps 3 Removed"
            ]
        );
        let columns: Vec<Vec<String>> = shown.iter().map(texts).collect();
        assert_eq!(columns[1], ["cut_um 0 1000", "state sealed opened"]);
        assert_eq!(columns[2], ["smallest_remnant_um 7 -", "wire_id w -"]);
        assert_eq!(columns[3], ["secret - sha256:0123456789abcdef", "webhook_id - erp"]);
        assert_eq!(columns[4], ["cut_um - 2000"]);
        assert!(changes("[1]").is_err());
    }
}
