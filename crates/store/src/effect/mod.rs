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
//! {"put": TABLE, "row": {COLUMN: VALUE, …}}                     the row with this key, in all its columns
//! {"set": TABLE, "key": {…}, "to": {COLUMN: VALUE, …}}          these columns of a row that is there
//! {"clear": TABLE, "where": {COLUMN: VALUE, …}}                 the rows with these values are no more
//! ```
//!
//! What is large stands as "sha256:" and the SHA-256 of it in hexadecimal: bytes, and the JSON of documents.

mod json;

pub use json::{EffectError, decode, encode};

use becket_units::Um;
use sha2::{Digest as _, Sha256};

use crate::tables::{Column, Table, Type, Value};

/// Columns with their values.
pub type Fields = Vec<(&'static str, Value)>;

/// One effect on one table.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// A row in all its columns: a new one, or in place of the one with the same key.
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
        /// The columns that change.
        to: Fields,
    },
    /// Rows that are no more: all with these values.
    Clear {
        /// Name of the table.
        table: &'static str,
        /// Columns with the values that the rows have.
        filter: Fields,
    },
}

impl Effect {
    /// What turns a row into another one with the same key; `None` if they are equal. Both have all columns in the same order.
    #[must_use]
    pub fn difference(table: &'static str, key: Fields, before: &Fields, after: Fields) -> Option<Self> {
        let to: Fields =
            after.into_iter().zip(before).filter(|(new, old)| new != *old).map(|(new, _)| new).collect();
        (!to.is_empty()).then_some(Self::Set { table, key, to })
    }
}

/// Whether a column is told by its digest.
#[must_use]
pub fn is_digested(column: &Column) -> bool {
    column.kind == Type::Bytes || column.name == "json"
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
