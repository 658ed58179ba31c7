//! What a change does to the rows of the tables of state, as its entry in the journal tells it.
//!
//! `before` and `after` of an entry are for people and for other programs; its effects are exact and complete, so that the tables can be
//! derived from the journal alone ([`replay`](crate::replay)). They are made from the records of the domain and never read back from
//! the tables, so that a statement which stores something else than was meant shows, too.
//!
//! # Form
//!
//! A JSON array, in the order in which the effects happen:
//!
//! ```text
//! {"put": TABLE, "row": {COLUMN: VALUE, …}}                     a new row, in all its columns
//! {"set": TABLE, "key": {…}, "was": {…}, "to": {…}}             columns of a row that is there: what they were, and what they are now
//! {"drop": TABLE, "row": {COLUMN: VALUE, …}}                    a row that is no more, in all its columns as they were
//! ```
//!
//! So an entry tells both what was there before the change and what is there after it, for every column that it changes. Entries of earlier
//! versions tell less: "set" without "was", "put" in the place of a row that is there, and `{"clear": TABLE, "where": {…}}` for all rows with
//! these values. They are read, and no longer made.
//!
//! What is large or secret stands as "sha256:" and the SHA-256 of it in hexadecimal: bytes, the JSON of documents, and the keys of
//! signatures, which have 32 characters at least.

mod json;

pub use json::{EffectError, decode, encode};

use std::collections::BTreeMap;

use becket_units::Um;
use sha2::{Digest as _, Sha256};

use crate::error::StoreError;
use crate::replay::Key;
use crate::tables::{Column, Columns, LAYOUT, Table, Type, Value};

/// Columns with their values.
pub type Fields = Vec<(&'static str, Value)>;

/// One effect on one table.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// A new row, in all its columns.
    Put {
        /// Name of the table.
        table: &'static str,
        /// All columns.
        row: Fields,
    },
    /// Some columns of a row that is there.
    Set {
        /// Name of the table.
        table: &'static str,
        /// The columns of the key.
        key: Fields,
        /// What the columns that change were. Empty in entries of versions that did not tell it.
        was: Fields,
        /// What they are.
        to: Fields,
    },
    /// A row that is no more.
    Drop {
        /// Name of the table.
        table: &'static str,
        /// All columns, as they were.
        row: Fields,
    },
    /// Rows that are no more: all with these values. Only in entries of earlier versions.
    Clear {
        /// Name of the table.
        table: &'static str,
        /// Columns with the values that the rows have.
        filter: Fields,
    },
}

impl Effect {
    /// What turns columns of a row into others; `None` if they are equal. `before` has all columns of `after`, and may have more.
    #[must_use]
    pub fn difference(table: &'static str, key: Fields, before: &Fields, after: Fields) -> Option<Self> {
        let (mut was, mut to) = (Fields::new(), Fields::new());
        for (name, new) in after {
            let old = value_of(before, name);
            // As a verification compares, which would find a change that was not told.
            if !old.is_some_and(|old| old.is_same(&new)) {
                was.push((name, old.cloned().unwrap_or(Value::Null)));
                to.push((name, new));
            }
        }
        (!to.is_empty()).then_some(Self::Set { table, key, was, to })
    }

    /// What turns some rows of a table into others: those with a key that stays are changed, the others dropped and put.
    #[must_use]
    pub fn replacement(table: &'static str, before: Vec<Fields>, after: Vec<Fields>) -> Vec<Self> {
        let mut before: BTreeMap<Key, Fields> =
            before.into_iter().map(|row| (key_of(table, &row), row)).collect();
        let changed: Vec<Self> = after
            .into_iter()
            .filter_map(|row| match before.remove(&key_of(table, &row)) {
                None => Some(Self::Put { table, row }),
                Some(was) => Self::difference(table, key_fields(table, &row), &was, row),
            })
            .collect();
        let dropped = before.into_values().map(|row| Self::Drop { table, row });
        dropped.chain(changed).collect()
    }

    /// Whether it tells what was before.
    #[must_use]
    pub fn tells_before(&self) -> bool {
        match self {
            Self::Put { .. } | Self::Drop { .. } => true,
            Self::Set { was, to, .. } => was.len() == to.len(),
            Self::Clear { .. } => false,
        }
    }
}

/// The value of a column.
#[must_use]
pub fn value_of<'a>(fields: &'a Fields, name: &str) -> Option<&'a Value> {
    fields.iter().find(|(of, _)| *of == name).map(|(_, value)| value)
}

/// The columns of the key of a row.
fn key_fields(table: &str, row: &Fields) -> Fields {
    let known = LAYOUT.iter().find(|known| known.name == table);
    let names = known.map_or(&[] as &[&'static str], |known| known.key);
    names.iter().filter_map(|name| Some((*name, value_of(row, name)?.clone()))).collect()
}

/// The key of a row that has these columns.
#[must_use]
pub fn key_of(table: &str, row: &Fields) -> Key {
    let values: Vec<Value> = key_fields(table, row).into_iter().map(|(_, value)| value).collect();
    Key::of(&values)
}

/// A row of a table in all its columns, as effects tell it.
///
/// # Errors
/// [`StoreError::Corrupt`].
pub fn row_of(table: &str, row: &impl Columns) -> Result<Fields, StoreError> {
    let known = LAYOUT.iter().find(|known| known.name == table);
    let columns = known.map_or(&[] as &[Column], |known| known.columns);
    columns.iter().map(|column| Ok((column.name, told(column, Value::read(row, column)?)))).collect()
}

/// Whether a column is told by its digest.
#[must_use]
pub fn is_digested(column: &Column) -> bool {
    column.kind == Type::Bytes || matches!(column.name, "json" | "secret")
}

/// A value as effects tell it: itself, or its digest.
#[must_use]
pub fn told(column: &Column, value: Value) -> Value {
    match value {
        Value::Bytes(bytes) if is_digested(column) => digest(&bytes),
        Value::Text(text) if is_digested(column) => digest(text.as_bytes()),
        other => other,
    }
}

/// The digest of a value that is told by it.
#[must_use]
pub fn digest(bytes: &[u8]) -> Value {
    let hex: String = Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
    Value::Text(format!("sha256:{hex}"))
}

pub(crate) fn column(table: &'static Table, name: &str) -> Option<(usize, &'static Column)> {
    table.columns.iter().enumerate().find(|(_, column)| column.name == name)
}

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<String> for Value {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl From<i64> for Value {
    fn from(number: i64) -> Self {
        Self::Integer(number)
    }
}

impl From<u32> for Value {
    fn from(number: u32) -> Self {
        Self::Integer(i64::from(number))
    }
}

impl From<Um> for Value {
    fn from(length: Um) -> Self {
        Self::Integer(length.get())
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Self {
        Self::Real(number)
    }
}

impl From<bool> for Value {
    fn from(truth: bool) -> Self {
        Self::Truth(truth)
    }
}

impl<T: Into<Self>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Null, Into::into)
    }
}
