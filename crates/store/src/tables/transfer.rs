//! Moving a whole shop from one engine to another, and proving that nothing was lost.
//!
//! [`LAYOUT`] names every table and column that holds the shop, in an order in which references are always to what came before. Rows
//! travel as plain [`Value`]s, and a [`Sum`] over the rows of a table in the order of their key is the same on every engine.

use std::fmt;

use async_trait::async_trait;
use sha2::{Digest, Sha256};

use super::{Column, Type, corrupt};
use crate::error::StoreError;
use crate::journal::{self, Entry, GENESIS};
use crate::tables::layout::{LAYOUT, Table};

/// Rows that are moved at once.
const BATCH: u32 = 50;

/// What stands in one column of a row.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs, reason = "each is what it says")]
pub enum Value {
    Null,
    Text(String),
    Integer(i64),
    Real(f64),
    Truth(bool),
    Bytes(Vec<u8>),
}

impl Value {
    /// Whether two values are the same as they are written: numbers are if their bits are, so that 0 and -0 differ.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Real(one), Self::Real(other)) => one.to_bits() == other.to_bits(),
            _ => self == other,
        }
    }
}

/// A row, with its values in the order of the columns of the layout.
pub type Row = Vec<Value>;

/// A database as it is at one moment, table by table.
#[async_trait]
pub trait ShopReader: Send {
    /// Up to `limit` rows of a table, in the order of its key, behind the row with the key `after`.
    async fn rows(&mut self, table: &Table, after: &[Value], limit: u32) -> Result<Vec<Row>, StoreError>;

    /// Sequence and hash of the last entry of the journal, as the engine keeps them beside it.
    async fn head(&mut self) -> Result<Option<(i64, [u8; 32])>, StoreError>;

    /// Entries that are committed and have no place in the journal yet, in the order in which they will get one.
    async fn waiting(&mut self) -> Result<Vec<Entry>, StoreError> {
        Ok(Vec::new())
    }
}

/// An empty database that is filled in one transaction, which is dropped if it is not finished.
#[async_trait]
pub trait ShopWriter: ShopReader {
    /// Adds rows to a table.
    async fn insert(&mut self, table: &Table, rows: &[Row]) -> Result<(), StoreError>;

    /// Takes out what a new database has by itself.
    async fn clear_own(&mut self) -> Result<(), StoreError>;

    /// Makes everything last; the last entry of the journal is told once more.
    async fn finish(self: Box<Self>, last_sequence: i64, last_hash: [u8; 32]) -> Result<(), StoreError>;
}

/// Count and checksum of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sum {
    /// Rows.
    pub rows: u64,
    /// SHA-256 over the rows in the order of their key: each value as one byte for its type and, unless it is null, its bytes with their
    /// length before them.
    pub sha256: [u8; 32],
}

impl fmt::Display for Sum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hex: String = self.sha256.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        write!(f, "{} rows, SHA-256 {hex}…", self.rows)
    }
}

/// Why a shop was not moved. The target is as it was.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MoveError {
    /// The target holds something already.
    #[error("the target holds {table} already; it must be empty")]
    NotEmpty {
        /// A table with rows.
        table: &'static str,
    },
    /// What was written differs from what was read.
    #[error("{table} differs after the copy: {from} in the source, {to} in the target")]
    Differs {
        /// The table.
        table: &'static str,
        /// The source.
        from: Sum,
        /// The target.
        to: Sum,
    },
    /// The journal of the source is broken, so that what is moved cannot be vouched for.
    #[error("the journal is broken at entry {sequence}: it was changed by other means")]
    Journal {
        /// The first entry that does not follow on the one before it.
        sequence: i64,
    },
    /// One of the databases failed.
    #[error("{table}: {source}")]
    Store {
        /// The table that was being moved.
        table: &'static str,
        /// Why.
        source: StoreError,
    },
}

/// Copies everything into an empty target, reads it back, compares count and checksum of every table and the chain of the journal, and only then
/// makes it last. Returns the sum of each table.
///
/// # Errors
/// [`MoveError`].
pub async fn move_shop(
    from: &mut dyn ShopReader,
    mut to: Box<dyn ShopWriter>,
) -> Result<Vec<(&'static str, Sum)>, MoveError> {
    to.clear_own().await.map_err(|source| MoveError::Store { table: "meta", source })?;
    for table in LAYOUT {
        let there = to.rows(table, &[], 1).await.map_err(|source| in_table(table, source))?;
        if !there.is_empty() {
            return Err(MoveError::NotEmpty { table: table.name });
        }
    }
    let mut sums = Vec::with_capacity(LAYOUT.len());
    let mut last = (0, GENESIS);
    for table in LAYOUT {
        let read = copy(table, from, to.as_mut(), &mut last).await?;
        let written = sum(table, to.as_mut()).await?;
        if read != written {
            return Err(MoveError::Differs { table: table.name, from: read, to: written });
        }
        sums.push((table.name, read));
    }
    to.finish(last.0, last.1).await.map_err(|source| MoveError::Store { table: "journal", source })?;
    Ok(sums)
}

async fn copy(
    table: &'static Table,
    from: &mut dyn ShopReader,
    to: &mut dyn ShopWriter,
    last: &mut (i64, [u8; 32]),
) -> Result<Sum, MoveError> {
    let mut running = Running::new();
    let mut after: Vec<Value> = Vec::new();
    loop {
        let rows = from.rows(table, &after, BATCH).await.map_err(|source| in_table(table, source))?;
        let Some(end) = rows.last() else { return Ok(running.sum()) };
        after = table.key_of(end);
        if table.name == "journal" {
            follow(&rows, last)?;
        }
        running.add(&rows);
        to.insert(table, &rows).await.map_err(|source| in_table(table, source))?;
    }
}

/// Count and checksum of a table.
///
/// # Errors
/// [`MoveError::Store`].
pub async fn sum(table: &'static Table, of: &mut (impl ShopReader + ?Sized)) -> Result<Sum, MoveError> {
    let mut running = Running::new();
    let mut after: Vec<Value> = Vec::new();
    loop {
        let rows = of.rows(table, &after, BATCH).await.map_err(|source| in_table(table, source))?;
        let Some(end) = rows.last() else { return Ok(running.sum()) };
        after = table.key_of(end);
        running.add(&rows);
    }
}

fn in_table(table: &'static Table, source: StoreError) -> MoveError {
    MoveError::Store { table: table.name, source }
}

/// Checks that entries follow on the last one.
fn follow(rows: &[Row], last: &mut (i64, [u8; 32])) -> Result<(), MoveError> {
    let journal = |source| MoveError::Store { table: "journal", source };
    let entries: Vec<_> = rows.iter().map(super::layout::entry).collect::<Result<_, _>>().map_err(journal)?;
    if let Some(sequence) = journal::first_break(last.0, &last.1, &entries) {
        return Err(MoveError::Journal { sequence });
    }
    if let Some(entry) = entries.last() {
        *last = (entry.sequence, entry.hash);
    }
    Ok(())
}

struct Running {
    rows: u64,
    hasher: Sha256,
}

impl Running {
    fn new() -> Self {
        Self { rows: 0, hasher: Sha256::new() }
    }

    fn add(&mut self, rows: &[Row]) {
        for row in rows {
            self.rows += 1;
            row.iter().for_each(|value| self.value(value));
        }
    }

    fn value(&mut self, value: &Value) {
        let (kind, bytes): (u8, &[u8]) = match value {
            Value::Null => (0, &[]),
            Value::Text(text) => (1, text.as_bytes()),
            Value::Integer(number) => (2, &number.to_be_bytes()),
            Value::Real(number) => (3, &number.to_bits().to_be_bytes()),
            Value::Truth(truth) => (4, &[u8::from(*truth)]),
            Value::Bytes(bytes) => (5, bytes),
        };
        self.hasher.update([kind]);
        if kind != 0 {
            self.hasher.update(u64::try_from(bytes.len()).unwrap_or(u64::MAX).to_be_bytes());
            self.hasher.update(bytes);
        }
    }

    fn sum(self) -> Sum {
        Sum { rows: self.rows, sha256: self.hasher.finalize().into() }
    }
}

impl Value {
    /// The value of a column.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`].
    pub fn read(row: &impl super::Columns, column: &Column) -> Result<Self, StoreError> {
        if row.is_null(column.name)? {
            return Ok(Self::Null);
        }
        let name = column.name;
        Ok(match column.kind {
            Type::Text => Self::Text(row.text(name)?),
            Type::Integer => Self::Integer(row.integer(name)?),
            Type::Real => Self::Real(row.real(name)?),
            Type::Truth => Self::Truth(row.truth(name)?),
            Type::Bytes => Self::Bytes(row.bytes(name)?),
        })
    }

    /// As JSON: bytes as hexadecimal with "\x" before them, as PostgreSQL reads them.
    #[must_use]
    pub fn json(&self) -> serde_json::Value {
        match self {
            Self::Null => serde_json::Value::Null,
            Self::Text(text) => text.as_str().into(),
            Self::Integer(number) => (*number).into(),
            Self::Real(number) => (*number).into(),
            Self::Truth(truth) => (*truth).into(),
            Self::Bytes(bytes) => {
                let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                format!("\\x{hex}").into()
            }
        }
    }

    /// What [`json`](Self::json) gave, in a column of this type.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`] if it is something else.
    pub fn of_json(json: &serde_json::Value, kind: Type) -> Result<Self, StoreError> {
        let other = || corrupt(format!("{json} is no {kind:?}"));
        if json.is_null() {
            return Ok(Self::Null);
        }
        match kind {
            Type::Text => json.as_str().map(|text| Self::Text(text.to_owned())),
            Type::Integer => json.as_i64().map(Self::Integer),
            Type::Real => json.as_f64().map(Self::Real),
            Type::Truth => json.as_bool().map(Self::Truth),
            Type::Bytes => {
                json.as_str().and_then(|text| text.strip_prefix("\\x")).and_then(unhex).map(Self::Bytes)
            }
        }
        .ok_or_else(other)
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits = text.as_bytes();
    let pairs = digits.chunks(2).map(|pair| {
        let pair = std::str::from_utf8(pair).ok().filter(|pair| pair.len() == 2)?;
        u8::from_str_radix(pair, 16).ok()
    });
    pairs.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_tell_rows_values_and_types_apart() {
        let sum = |rows: &[Row]| {
            let mut running = Running::new();
            running.add(rows);
            running.sum()
        };
        let text = |text: &str| Value::Text(text.to_owned());
        let base = sum(&[vec![text("ab"), text("c")]]);
        for other in [
            vec![vec![text("a"), text("bc")]],
            vec![vec![text("ab"), Value::Bytes(b"c".to_vec())]],
            vec![vec![text("ab"), Value::Null]],
            vec![vec![text("ab"), text("c")], vec![]],
            vec![],
        ] {
            assert_ne!(sum(&other), base, "{other:?}");
        }
        assert_eq!(sum(&[vec![text("ab"), text("c")]]), base);
        assert_ne!(sum(&[vec![Value::Real(0.0)]]), sum(&[vec![Value::Real(-0.0)]]));
    }

    #[test]
    fn values_survive_json() {
        for (value, kind) in [
            (Value::Null, Type::Bytes),
            (Value::Text("\u{0}ä\"".to_owned()), Type::Text),
            (Value::Integer(i64::MIN), Type::Integer),
            (Value::Real(0.1 + 0.2), Type::Real),
            (Value::Truth(true), Type::Truth),
            (Value::Bytes(vec![0, 255, 16]), Type::Bytes),
        ] {
            let text = value.json().to_string();
            let json: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert_eq!(Value::of_json(&json, kind).unwrap(), value);
        }
        assert!(Value::of_json(&"\\x1".into(), Type::Bytes).is_err());
        assert!(Value::of_json(&1.into(), Type::Text).is_err());
    }
}
