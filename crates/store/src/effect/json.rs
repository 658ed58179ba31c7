//! Effects as JSON text, and back.

use serde_json::{Map, Value as Json, json};

use super::{Effect, Fields, column, is_digested};
use crate::tables::{LAYOUT, Table, Type, Value};

/// Why a text tells no effects.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EffectError {
    /// It is no JSON array.
    #[error("they are no JSON array")]
    NoArray,
    /// One of them has another form.
    #[error("effect {at} has another form than those of this version")]
    Form {
        /// Its place, from 0.
        at: usize,
    },
    /// It names a table that is not known.
    #[error("effect {at} is about a table {table:?}, which this version does not know")]
    Table {
        /// Its place, from 0.
        at: usize,
        /// The table.
        table: String,
    },
    /// It names a column that is not known, or gives it a value that it cannot have.
    #[error("effect {at} gives column {column:?} of {table} the value {value}, which it cannot have")]
    Column {
        /// Its place, from 0.
        at: usize,
        /// The table.
        table: &'static str,
        /// The column.
        column: String,
        /// The value.
        value: String,
    },
}

/// Effects as the text that an entry holds.
#[must_use]
pub fn encode(effects: &[Effect]) -> String {
    Json::Array(effects.iter().map(value).collect()).to_string()
}

fn value(effect: &Effect) -> Json {
    match effect {
        Effect::Put { table, row } => json!({ "put": table, "row": object(row) }),
        Effect::Set { table, key, was, to } if was.is_empty() => {
            json!({ "set": table, "key": object(key), "to": object(to) })
        }
        Effect::Set { table, key, was, to } => {
            json!({ "set": table, "key": object(key), "was": object(was), "to": object(to) })
        }
        Effect::Drop { table, row } => json!({ "drop": table, "row": object(row) }),
        Effect::Clear { table, filter } => json!({ "clear": table, "where": object(filter) }),
    }
}

fn object(fields: &Fields) -> Json {
    let fields: Map<String, Json> =
        fields.iter().map(|(name, value)| ((*name).to_owned(), value.json())).collect();
    Json::Object(fields)
}

/// The effects that a text tells.
///
/// # Errors
/// [`EffectError`].
pub fn decode(text: &str) -> Result<Vec<Effect>, EffectError> {
    let Ok(Json::Array(effects)) = serde_json::from_str(text) else { return Err(EffectError::NoArray) };
    effects.iter().enumerate().map(|(at, effect)| effect_of(at, effect)).collect()
}

fn effect_of(at: usize, effect: &Json) -> Result<Effect, EffectError> {
    let fields = |table, name: &str| match effect.get(name).and_then(Json::as_object) {
        Some(object) => fields_of(at, table, object),
        None => Err(EffectError::Form { at }),
    };
    let named = |verb: &str| effect.get(verb).and_then(Json::as_str).map(|name| table_of(at, name));
    if let Some(table) = named("put") {
        let table = table?;
        return Ok(Effect::Put { table: table.name, row: fields(table, "row")? });
    }
    if let Some(table) = named("set") {
        let table = table?;
        let (key, to) = (fields(table, "key")?, fields(table, "to")?);
        // Earlier versions did not tell it.
        let was = if effect.get("was").is_some() { fields(table, "was")? } else { Fields::new() };
        return Ok(Effect::Set { table: table.name, key, was, to });
    }
    if let Some(table) = named("drop") {
        let table = table?;
        return Ok(Effect::Drop { table: table.name, row: fields(table, "row")? });
    }
    if let Some(table) = named("clear") {
        let table = table?;
        return Ok(Effect::Clear { table: table.name, filter: fields(table, "where")? });
    }
    Err(EffectError::Form { at })
}

fn table_of(at: usize, name: &str) -> Result<&'static Table, EffectError> {
    let known = LAYOUT.iter().find(|table| table.name == name);
    known.ok_or_else(|| EffectError::Table { at, table: name.to_owned() })
}

fn fields_of(at: usize, table: &'static Table, object: &Map<String, Json>) -> Result<Fields, EffectError> {
    let field = |(name, value): (&String, &Json)| {
        let wrong =
            || EffectError::Column { at, table: table.name, column: name.clone(), value: value.to_string() };
        let (_, column) = column(table, name).ok_or_else(wrong)?;
        let kind = if is_digested(column) { Type::Text } else { column.kind };
        let value = Value::of_json(value, kind).map_err(|_| wrong())?;
        Ok((column.name, value))
    };
    object.iter().map(field).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_a_sign_alone_is_told() {
        let fields = |number: f64| vec![("covariance_mm", number.into())];
        let change = |after: f64| Effect::difference("coils", fields(1.0), &fields(0.0), fields(after));
        assert_eq!(change(0.0), None);
        assert!(change(-0.0).is_some());
    }

    #[test]
    fn effects_survive_json() {
        let effects = vec![
            Effect::Put {
                table: "stock_rules",
                row: vec![("smallest_remnant_um", 7_i64.into()), ("wire_id", "w".into())],
            },
            Effect::Set {
                table: "coils",
                key: vec![("coil_id", "C\u{1}\"".into())],
                was: vec![("covariance_mm", 0.5.into()), ("state", "sealed".into())],
                to: vec![("covariance_mm", (0.1 + 0.2).into()), ("state", "opened".into())],
            },
            Effect::Set {
                table: "wires",
                key: vec![("wire_id", "w".into())],
                was: Vec::new(),
                to: vec![("bytes", super::super::digest(b"x")), ("json", super::super::digest(b"{}"))],
            },
            Effect::Clear {
                table: "cut_steps",
                filter: vec![("list_number", 3_i64.into()), ("recut", true.into())],
            },
            Effect::Drop { table: "stock_rules", row: vec![("wire_id", "w".into())] },
            Effect::Put { table: "jobs", row: vec![("freeze_us", Value::Null)] },
        ];
        assert_eq!(decode(&encode(&effects)).unwrap(), effects);
    }

    #[test]
    fn other_texts_are_refused() {
        for (text, told) in [
            ("{}", "no JSON array"),
            ("[", "no JSON array"),
            ("[1]", "effect 0 has another form"),
            (r#"[{"put":"coils"}]"#, "effect 0 has another form"),
            (r#"[{"put":"people","row":{}}]"#, "\"people\", which this version does not know"),
            (
                r#"[{"clear":"mounts","where":{}},{"clear":"coils","where":{"colour":1}}]"#,
                "effect 1 gives column \"colour\"",
            ),
            (r#"[{"clear":"coils","where":{"cut_um":"1"}}]"#, "the value \"1\", which it cannot have"),
        ] {
            let refused = decode(text).unwrap_err().to_string();
            assert!(refused.contains(told), "{text}: {refused}");
        }
    }
}
