//! The fold of entries to rows.

use std::collections::BTreeMap;
use std::fmt;

use super::packed::Packed;
use super::promises::Promises;
use crate::effect::{Effect, EffectError, Fields, column, decode, value_of as value_in};
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
    /// It does not tell what was there before.
    #[error("it does not tell what was before in {table}")]
    Untold {
        /// The table.
        table: &'static str,
    },
    /// What it tells of before is not what was there.
    #[error("by it {column} of {table} {key} was {told} before, and it was {was}")]
    Before {
        /// The table.
        table: &'static str,
        /// The key.
        key: Key,
        /// The column.
        column: &'static str,
        /// What it tells, as JSON.
        told: String,
        /// What was there, as JSON.
        was: String,
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
    tables: BTreeMap<&'static str, BTreeMap<Key, Packed>>,
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
        let mut troubles = Vec::new();
        for effect in effects {
            self.effect(effect, &mut troubles);
        }
        if super::checkpoint::is_part(entry) {
            // What it counts on was promised before.
            self.promises.settle();
        } else {
            troubles.extend(self.promises.broken(&self.tables));
        }
        troubles
    }

    /// The rows of a table, by key.
    pub fn rows(&self, table: &'static str) -> impl Iterator<Item = (&Key, Row)> {
        self.tables.get(table).into_iter().flatten().map(|(key, row)| (key, row.row()))
    }

    /// Takes the rows of a table out.
    #[must_use]
    pub fn take(&mut self, table: &'static str) -> BTreeMap<Key, Packed> {
        self.tables.remove(table).unwrap_or_default()
    }

    fn effect(&mut self, effect: Effect, troubles: &mut Vec<Trouble>) {
        match effect {
            Effect::Put { table, row } => self.put(known(table), row, troubles),
            Effect::Set { table, key, was, to } => self.set(known(table), &key, &was, to, troubles),
            Effect::Drop { table, row } => self.take_out(known(table), &row, troubles),
            Effect::Clear { table, filter } => {
                if self.clear(known(table), &filter) {
                    troubles.push(Trouble::Untold { table });
                }
            }
        }
    }

    fn put(&mut self, table: &'static Table, fields: Fields, troubles: &mut Vec<Trouble>) {
        let mut given: BTreeMap<&str, Value> = fields.into_iter().collect();
        let mut row = Row::with_capacity(table.columns.len());
        for column in table.columns {
            match given.remove(column.name) {
                Some(value) => row.push(value),
                None => return troubles.push(Trouble::Lacks { table: table.name, column: column.name }),
            }
        }
        let key = Key::of(&table.key_of(&row));
        self.promises.row(table.name, &row, 1);
        let before = self.tables.entry(table.name).or_default().insert(key, Packed::of(&row));
        if let Some(before) = before {
            self.promises.row(table.name, &before.row(), -1);
            troubles.push(Trouble::Untold { table: table.name });
        }
    }

    fn set(
        &mut self,
        table: &'static Table,
        key: &Fields,
        was: &Fields,
        to: Fields,
        troubles: &mut Vec<Trouble>,
    ) {
        let key = key_in(table, key);
        let Some(packed) = self.tables.entry(table.name).or_default().get_mut(&key) else {
            return troubles.push(Trouble::Absent { table: table.name, key });
        };
        let mut row = packed.row();
        self.promises.row(table.name, &row, -1);
        if was.len() < to.len() {
            troubles.push(Trouble::Untold { table: table.name });
        }
        troubles.extend(otherwise(table, &key, &row, was));
        for (name, value) in to {
            if let Some(slot) = column(table, name).and_then(|(place, _)| row.get_mut(place)) {
                *slot = value;
            }
        }
        self.promises.row(table.name, &row, 1);
        *packed = Packed::of(&row);
    }

    fn take_out(&mut self, table: &'static Table, was: &Fields, troubles: &mut Vec<Trouble>) {
        let key = key_in(table, was);
        let Some(packed) = self.tables.entry(table.name).or_default().remove(&key) else {
            return troubles.push(Trouble::Absent { table: table.name, key });
        };
        let row = packed.row();
        self.promises.row(table.name, &row, -1);
        if was.len() < table.columns.len() {
            troubles.push(Trouble::Untold { table: table.name });
        }
        troubles.extend(otherwise(table, &key, &row, was));
    }

    /// Takes out all rows with these values. Returns whether there were any.
    fn clear(&mut self, table: &'static Table, filter: &Fields) -> bool {
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
        let gone: Vec<Key> = near.filter(|(_, row)| holds(&row.row())).map(|(key, _)| key.clone()).collect();
        for key in &gone {
            if let Some(row) = rows.remove(key) {
                self.promises.row(table.name, &row.row(), -1);
            }
        }
        !gone.is_empty()
    }
}

/// The key of a row that these columns tell.
fn key_in(table: &Table, fields: &Fields) -> Key {
    let value = |name: &&str| value_in(fields, name).cloned();
    Key::of(&table.key.iter().filter_map(value).collect::<Vec<_>>())
}

/// Columns that were otherwise than told.
fn otherwise<'a>(
    table: &'static Table,
    key: &'a Key,
    row: &'a Row,
    was: &'a Fields,
) -> impl Iterator<Item = Trouble> + 'a {
    was.iter().filter_map(move |(name, told)| {
        let (place, column) = column(table, name)?;
        let is = row.get(place)?;
        (!is.is_same(told)).then(|| Trouble::Before {
            table: table.name,
            key: key.clone(),
            column: column.name,
            told: told.json().to_string(),
            was: is.json().to_string(),
        })
    })
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::context::WriteContext;
    use crate::effect::encode;

    fn entry(effects: &[Effect]) -> Entry {
        let ctx = WriteContext {
            method: "m",
            request_id: "r".to_owned(),
            request_digest: [0; 32],
            actor: String::new(),
            origin: String::new(),
            now_us: 1,
        };
        Entry { effects: Some(encode(effects)), ..Entry::new(&ctx, "s".to_owned(), None, None) }
    }

    fn rule(um: i64) -> Fields {
        vec![("wire_id", "w".into()), ("smallest_remnant_um", um.into())]
    }

    fn set(was: Option<i64>, to: i64) -> Effect {
        let column = |um: i64| vec![("smallest_remnant_um", um.into())];
        let was = was.map(column).unwrap_or_default();
        Effect::Set { table: "stock_rules", key: vec![("wire_id", "w".into())], was, to: column(to) }
    }

    fn told(state: &mut State, effect: Effect) -> Vec<String> {
        state.apply(&entry(&[effect])).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn what_was_before_must_be_what_the_last_entry_left() {
        let mut state = State::default();
        let put = |um| Effect::Put { table: "stock_rules", row: rule(um) };
        assert_eq!(told(&mut state, put(5)), [] as [String; 0]);
        assert_eq!(told(&mut state, set(Some(5), 6)), [] as [String; 0]);
        assert_eq!(
            told(&mut state, set(Some(5), 7)),
            ["by it smallest_remnant_um of stock_rules w was 5 before, and it was 6"]
        );
        let dropping = |um| Effect::Drop { table: "stock_rules", row: rule(um) };
        assert_eq!(told(&mut state, dropping(8)).len(), 1);
        assert_eq!(told(&mut state, dropping(7)), ["it changes stock_rules w, which is not there"]);
    }

    #[test]
    fn what_does_not_tell_before_is_told() {
        let mut state = State::default();
        let put = || Effect::Put { table: "stock_rules", row: rule(5) };
        let untold = ["it does not tell what was before in stock_rules"];
        assert_eq!(told(&mut state, put()), [] as [String; 0]);
        assert_eq!(told(&mut state, put()), untold);
        assert_eq!(told(&mut state, set(None, 6)), untold);
        let clear = || Effect::Clear { table: "stock_rules", filter: vec![("wire_id", "w".into())] };
        assert_eq!(told(&mut state, clear()), untold);
        assert_eq!(told(&mut state, clear()), [] as [String; 0], "there was nothing");
    }
}
