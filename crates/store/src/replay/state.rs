//! The fold of entries to rows.

use std::collections::BTreeMap;
use std::fmt;

use super::promises::Promises;
use crate::effect::{Effect, EffectError, Fields, column, decode};
use crate::journal::Entry;
use crate::tables::{LAYOUT, Row, Table, Value};

/// One part of a key, in the order of the tables.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Integer(i64),
    Text(String),
    /// A value that no key has.
    Other,
}

/// The key of a row.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key(Vec<Part>);

impl Key {
    /// The key of these values.
    #[must_use]
    pub fn of(values: &[Value]) -> Self {
        let part = |value: &Value| match value {
            Value::Integer(number) => Part::Integer(*number),
            Value::Text(text) => Part::Text(text.clone()),
            _ => Part::Other,
        };
        Self(values.iter().map(part).collect())
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, part) in self.0.iter().enumerate() {
            let between = if at == 0 { "" } else { "/" };
            match part {
                Part::Integer(number) => write!(f, "{between}{number}")?,
                Part::Text(text) => write!(f, "{between}{text}")?,
                Part::Other => write!(f, "{between}?")?,
            }
        }
        Ok(())
    }
}

/// What is the matter with an entry that cannot be folded, or that breaks a promise.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Trouble {
    /// It tells no effects.
    #[error("it does not tell what it does to the tables")]
    Silent,
    /// Its effects cannot be read.
    #[error("its effects cannot be read: {0}")]
    Unreadable(#[from] EffectError),
    /// It puts a row that lacks columns.
    #[error("it puts a row of {table} without {column}")]
    Lacks {
        /// The table.
        table: &'static str,
        /// A column that is not told.
        column: &'static str,
    },
    /// It changes a row that is not there.
    #[error("it changes {table} {key}, which is not there")]
    Absent {
        /// The table.
        table: &'static str,
        /// The key.
        key: Key,
    },
    /// After it a list counts on more of a coil than before, and the coil does not have it or may not be used.
    #[error(
        "after it list {list} counts on more of coil {coil} than before: {reserved_um} um in all of {remaining_um} um, {state}"
    )]
    Promise {
        /// Number of the list.
        list: i64,
        /// The coil.
        coil: String,
        /// What all lists count on.
        reserved_um: i64,
        /// What is on it.
        remaining_um: i64,
        /// Its state.
        state: String,
    },
}

/// The rows of all tables of state after some entries.
#[derive(Debug, Default)]
pub struct State {
    tables: BTreeMap<&'static str, BTreeMap<Key, Row>>,
    promises: Promises,
}

impl State {
    /// Takes what an entry does to the tables. Everything that can be taken is taken, whatever trouble there is.
    pub fn apply(&mut self, entry: &Entry) -> Vec<Trouble> {
        let Some(text) = &entry.effects else { return vec![Trouble::Silent] };
        let effects = match decode(text) {
            Ok(effects) => effects,
            Err(error) => return vec![error.into()],
        };
        let mut troubles: Vec<Trouble> =
            effects.into_iter().filter_map(|effect| self.effect(effect).err()).collect();
        if super::checkpoint::is_part(entry) {
            // What it counts on was promised before.
            self.promises.settle();
        } else {
            troubles.extend(self.promises.broken(&self.tables));
        }
        troubles
    }

    /// The rows of a table.
    #[must_use]
    pub fn rows(&self, table: &'static str) -> Option<&BTreeMap<Key, Row>> {
        self.tables.get(table)
    }

    /// Takes the rows of a table out.
    #[must_use]
    pub fn take(&mut self, table: &'static str) -> BTreeMap<Key, Row> {
        self.tables.remove(table).unwrap_or_default()
    }

    fn effect(&mut self, effect: Effect) -> Result<(), Trouble> {
        match effect {
            Effect::Put { table, row } => self.put(known(table), row),
            Effect::Set { table, key, to } => self.set(known(table), &key, to),
            Effect::Clear { table, filter } => {
                self.clear(known(table), &filter);
                Ok(())
            }
        }
    }

    fn put(&mut self, table: &'static Table, fields: Fields) -> Result<(), Trouble> {
        let mut given: BTreeMap<&str, Value> = fields.into_iter().collect();
        let take = |column: &crate::tables::Column| {
            given.remove(column.name).ok_or(Trouble::Lacks { table: table.name, column: column.name })
        };
        let row: Row = table.columns.iter().map(take).collect::<Result<_, _>>()?;
        let key = Key::of(&table.key_of(&row));
        self.promises.row(table.name, &row, 1);
        let before = self.tables.entry(table.name).or_default().insert(key, row);
        if let Some(before) = before {
            self.promises.row(table.name, &before, -1);
        }
        Ok(())
    }

    fn set(&mut self, table: &'static Table, key: &Fields, to: Fields) -> Result<(), Trouble> {
        let value = |name: &&str| key.iter().find(|(of, _)| of == name).map(|(_, value)| value.clone());
        let values: Vec<Value> = table.key.iter().filter_map(value).collect();
        let key = Key::of(&values);
        let absent = || Trouble::Absent { table: table.name, key: key.clone() };
        let row = self.tables.entry(table.name).or_default().get_mut(&key).ok_or_else(absent)?;
        self.promises.row(table.name, row, -1);
        for (name, value) in to {
            if let Some(slot) = column(table, name).and_then(|(place, _)| row.get_mut(place)) {
                *slot = value;
            }
        }
        self.promises.row(table.name, row, 1);
        Ok(())
    }

    fn clear(&mut self, table: &'static Table, filter: &Fields) {
        let rows = self.tables.entry(table.name).or_default();
        let holds = |row: &Row| {
            filter.iter().all(|(name, value)| {
                column(table, name).and_then(|(place, _)| row.get(place)).is_some_and(|is| is == value)
            })
        };
        // Columns that lead the key narrow the search to neighbours.
        let leads = table.key.iter().map_while(|name| filter.iter().find(|(of, _)| of == name));
        let start = Key::of(&leads.map(|(_, value)| value.clone()).collect::<Vec<_>>());
        let near = rows.range(start.clone()..).take_while(|(key, _)| key.0.starts_with(&start.0));
        let gone: Vec<Key> = near.filter(|(_, row)| holds(row)).map(|(key, _)| key.clone()).collect();
        for key in gone {
            if let Some(row) = rows.remove(&key) {
                self.promises.row(table.name, &row, -1);
            }
        }
    }
}

/// A table by its name, which effects have from the layout.
fn known(name: &'static str) -> &'static Table {
    const NONE: Table = Table { name: "", key: &[], columns: &[] };
    LAYOUT.iter().find(|table| table.name == name).unwrap_or(&NONE)
}

/// The value of a column.
pub(super) fn value_of<'a>(table: &str, row: &'a Row, name: &str) -> Option<&'a Value> {
    let table = LAYOUT.iter().find(|known| known.name == table)?;
    column(table, name).and_then(|(place, _)| row.get(place))
}

/// The text of a column; empty if it is none.
pub(super) fn text_of<'a>(table: &str, row: &'a Row, name: &str) -> &'a str {
    match value_of(table, row, name) {
        Some(Value::Text(text)) => text,
        _ => "",
    }
}

/// The number of a column; 0 if it is none.
pub(super) fn number_of(table: &str, row: &Row, name: &str) -> i64 {
    match value_of(table, row, name) {
        Some(Value::Integer(number)) => *number,
        _ => 0,
    }
}
