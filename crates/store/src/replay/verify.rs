//! Comparing a whole database with its journal.

use super::report::{Difference, Report, TableCount};
use super::state::{Key, State, Trouble};
use super::{checkpoint, rules};
use crate::effect::told;
use crate::error::StoreError;
use crate::journal::{Entry, GENESIS};
use crate::tables::{LAYOUT, Row, ShopReader, Table, Value, entry_in};

/// Rows that are read at once.
const BATCH: u32 = 500;

/// Tables that are not derived from the journal, and why. A table is either here or compared.
pub const NOT_DERIVED: &[(&str, &str)] = &[
    ("meta", "the key of page tokens"),
    ("answers", "first answers to requests: the journal tells what was done, not what was answered"),
    ("journal", "the journal itself"),
    (
        "webhook_progress",
        "how far receivers of events were told: an outcome of calls to others, and no change of the shop",
    ),
    ("webhook_letters", "events that receivers could not be told, likewise"),
    ("webhook_lease", "which replica tells receivers"),
];

/// Checks the journal of a database, which must not change meanwhile, and compares the tables with what it implies.
///
/// # Errors
/// Those of the engine, and [`StoreError::Corrupt`] for rows that cannot be read at all.
pub async fn verify(shop: &mut dyn ShopReader) -> Result<Report, StoreError> {
    let mut found = Found::default();
    let mut state = State::default();
    let chain = replay(shop, &mut state, &mut found).await?;
    let (checks, broken) = rules::check(&state);
    broken.into_iter().for_each(|difference| found.add(difference));
    let mut tables = Vec::new();
    for table in LAYOUT.iter().filter(|table| is_derived(table)) {
        tables.push(compare(shop, table, &mut state, &mut found).await?);
    }
    Ok(Report {
        entries: chain.entries,
        replayed_from: chain.replayed_from,
        last_hash: chain.last.1,
        tables,
        not_derived: NOT_DERIVED,
        checks,
        differences: found.first,
        difference_count: found.count,
    })
}

fn is_derived(table: &Table) -> bool {
    !NOT_DERIVED.iter().any(|(name, _)| *name == table.name)
}

#[derive(Default)]
struct Found {
    first: Vec<Difference>,
    count: u64,
    /// Entries that tell no effects, or not what was before, until a checkpoint makes up for them: the first of them, and how many there are.
    silent: (Vec<(i64, Trouble)>, u64),
}

impl Found {
    fn add(&mut self, difference: Difference) {
        self.count += 1;
        if self.first.len() < Report::MOST {
            self.first.push(difference);
        }
    }
}

impl Found {
    fn told_too_little(&mut self, sequence: i64, trouble: Trouble) {
        let (first, count) = &mut self.silent;
        *count += 1;
        if first.len() < Report::MOST {
            first.push((sequence, trouble));
        }
    }
}

struct Chain {
    entries: u64,
    last: (i64, [u8; 32]),
    replayed_from: i64,
}

/// Reads the journal from its beginning: checks the chain and folds the entries.
async fn replay(
    shop: &mut dyn ShopReader,
    state: &mut State,
    found: &mut Found,
) -> Result<Chain, StoreError> {
    let table = LAYOUT.iter().find(|table| table.name == "journal");
    let table = table.ok_or_else(|| crate::tables::corrupt("the layout has no journal"))?;
    let mut chain = Chain { entries: 0, last: (0, GENESIS), replayed_from: 1 };
    let mut after: Vec<Value> = Vec::new();
    loop {
        let rows = shop.rows(table, &after, BATCH).await?;
        let Some(end) = rows.last() else { break };
        after = table.key_of(end);
        for row in &rows {
            let entry = entry_in(row)?;
            let follows = entry.sequence == chain.last.0.saturating_add(1)
                && entry.hash == entry.hash_after(&chain.last.1);
            if !follows {
                found.add(Difference::Chain { sequence: entry.sequence });
            }
            chain.entries += 1;
            chain.last = (entry.sequence, entry.hash);
            fold(&entry, &mut chain, state, found);
        }
    }
    if let Some(head) = shop.head().await?
        && head != chain.last
    {
        found.add(Difference::Head { head: head.0, journal: chain.last.0 });
    }
    for (sequence, mut entry) in (chain.last.0.saturating_add(1)..).zip(shop.waiting().await?) {
        entry.sequence = sequence;
        fold(&entry, &mut chain, state, found);
    }
    let (first, count) = std::mem::take(&mut found.silent);
    found.count += count - u64::try_from(first.len()).unwrap_or(count);
    for (sequence, trouble) in first {
        found.add(Difference::Entry { sequence, trouble: trouble.to_string() });
    }
    Ok(chain)
}

fn fold(entry: &Entry, chain: &mut Chain, state: &mut State, found: &mut Found) {
    if checkpoint::begins(entry) {
        // Every row is told anew from here.
        *state = State::default();
        found.silent = (Vec::new(), 0);
        chain.replayed_from = entry.sequence;
    }
    for trouble in state.apply(entry) {
        match trouble {
            Trouble::Silent | Trouble::Untold { .. } => found.told_too_little(entry.sequence, trouble),
            other => found.add(Difference::Entry { sequence: entry.sequence, trouble: other.to_string() }),
        }
    }
}

async fn compare(
    shop: &mut dyn ShopReader,
    table: &'static Table,
    state: &mut State,
    found: &mut Found,
) -> Result<TableCount, StoreError> {
    let mut implied = state.take(table.name);
    let mut count = TableCount {
        table: table.name,
        implied: u64::try_from(implied.len()).unwrap_or(u64::MAX),
        stored: 0,
    };
    let mut after: Vec<Value> = Vec::new();
    loop {
        let rows = shop.rows(table, &after, BATCH).await?;
        let Some(end) = rows.last() else { break };
        after = table.key_of(end);
        for row in rows {
            count.stored += 1;
            let key = Key::of(&table.key_of(&row));
            match implied.remove(&key) {
                Some(should) => compare_row(table, &key, &should.row(), row, found),
                None => found.add(Difference::Unknown { table: table.name, key: key.to_string() }),
            }
        }
    }
    for key in implied.keys() {
        found.add(Difference::Missing { table: table.name, key: key.to_string() });
    }
    Ok(count)
}

fn compare_row(table: &'static Table, key: &Key, should: &Row, is: Row, found: &mut Found) {
    for ((column, should), is) in table.columns.iter().zip(should).zip(is) {
        let is = told(column, is);
        if !should.is_same(&is) {
            found.add(Difference::Column {
                table: table.name,
                key: key.to_string(),
                column: column.name,
                journal: should.json().to_string(),
                stored: is.json().to_string(),
            });
        }
    }
}
