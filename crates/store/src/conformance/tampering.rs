//! Whatever is changed behind the back of the program must be found: every column of every table, and every entry of the journal.

use super::{Factory, moving};
use crate::journal::{Entry, GENESIS};
use crate::replay::{Difference, NOT_DERIVED, Report, verify};
use crate::tables::{LAYOUT, Row, Table, Value};

async fn look<F: Factory>(factory: &F, store: &F::Store) -> Report {
    verify(factory.shop(store).await.as_mut()).await.unwrap()
}

/// Another value of the same type, which no row has.
fn other(value: &Value, column: &crate::tables::Column) -> Value {
    match value {
        Value::Null => match column.kind {
            crate::tables::Type::Text => Value::Text("x".to_owned()),
            crate::tables::Type::Integer => Value::Integer(77),
            crate::tables::Type::Real => Value::Real(0.5),
            crate::tables::Type::Truth => Value::Truth(true),
            crate::tables::Type::Bytes => Value::Bytes(vec![7]),
        },
        Value::Text(text) => Value::Text(format!("{text}x")),
        Value::Integer(number) => Value::Integer(number + 1000),
        // The smallest change there is.
        Value::Real(number) => Value::Real(f64::from_bits(number.to_bits() + 1)),
        Value::Truth(truth) => Value::Truth(!truth),
        Value::Bytes(bytes) => {
            Value::Bytes(bytes.iter().map(|byte| byte ^ 1).chain(bytes.is_empty().then_some(0)).collect())
        }
    }
}

fn condition(factory: &impl Factory, table: &Table, row: &Row) -> String {
    let terms: Vec<String> = table
        .columns
        .iter()
        .zip(row)
        .filter(|(column, _)| table.key.contains(&column.name))
        .map(|(column, value)| format!("{} = {}", column.name, factory.literal(value)))
        .collect();
    terms.join(" AND ")
}

async fn set(factory: &impl Factory, table: &Table, row: &Row, at: usize, value: &Value) {
    let column = table.columns[at].name;
    let (to, which) = (factory.literal(value), condition(factory, table, row));
    factory.tamper(&format!("UPDATE {} SET {column} = {to} WHERE {which}", table.name)).await;
}

pub async fn a_change_of_any_column_is_found(factory: &impl Factory) {
    let store = factory.open().await;
    moving::fill(&store).await;
    assert_eq!(look(factory, &store).await.differences, []);
    for table in LAYOUT.iter().filter(|table| !NOT_DERIVED.iter().any(|(name, _)| *name == table.name)) {
        let rows = factory.shop(&store).await.rows(table, &[], 1).await.unwrap();
        let row = rows.first().unwrap_or_else(|| panic!("{} is empty", table.name)).clone();
        for (at, column) in table.columns.iter().enumerate() {
            let wrong = other(&row[at], column);
            set(factory, table, &row, at, &wrong).await;
            let found = look(factory, &store).await.differences;
            let told = found.iter().any(|difference| match difference {
                Difference::Column { table: of, column: name, .. } => {
                    *of == table.name && *name == column.name
                }
                Difference::Missing { table: of, .. } => {
                    *of == table.name && table.key.contains(&column.name)
                }
                _ => false,
            });
            assert!(told, "{}.{} is {wrong:?}: {found:?}", table.name, column.name);
            let mut changed = row.clone();
            changed[at] = wrong;
            set(factory, table, &changed, at, &row[at]).await;
        }
    }
    assert_eq!(look(factory, &store).await.differences, []);
}

pub async fn a_row_more_or_less_is_found(factory: &impl Factory) {
    let store = factory.open().await;
    moving::fill(&store).await;
    for table in LAYOUT.iter().filter(|table| !NOT_DERIVED.iter().any(|(name, _)| *name == table.name)) {
        let rows = factory.shop(&store).await.rows(table, &[], 1).await.unwrap();
        let row = rows[0].clone();
        let which = condition(factory, table, &row);
        factory.tamper(&format!("DELETE FROM {} WHERE {which}", table.name)).await;
        let found = look(factory, &store).await.differences;
        let missing = found.iter().any(
            |difference| matches!(difference, Difference::Missing { table: of, .. } if *of == table.name),
        );
        assert!(missing, "{}: {found:?}", table.name);
        insert(factory, table, &row).await;
        // And a row that no entry tells of.
        let mut more = row.clone();
        for (slot, column) in more.iter_mut().zip(table.columns) {
            if table.key.contains(&column.name) || column.name.ends_with("_id") {
                *slot = other(slot, column);
            }
        }
        insert(factory, table, &more).await;
        let found = look(factory, &store).await.differences;
        let unknown = found.iter().any(
            |difference| matches!(difference, Difference::Unknown { table: of, .. } if *of == table.name),
        );
        assert!(unknown, "{}: {found:?}", table.name);
        let which = condition(factory, table, &more);
        factory.tamper(&format!("DELETE FROM {} WHERE {which}", table.name)).await;
    }
    assert_eq!(look(factory, &store).await.differences, []);
}

async fn insert(factory: &impl Factory, table: &Table, row: &Row) {
    let values: Vec<String> = row.iter().map(|value| factory.literal(value)).collect();
    let values = values.join(", ");
    factory.tamper(&format!("INSERT INTO {} ({}) VALUES ({values})", table.name, table.column_list())).await;
}

fn journal() -> &'static Table {
    LAYOUT.iter().find(|table| table.name == "journal").unwrap()
}

pub async fn a_change_of_the_journal_is_found(factory: &impl Factory) {
    let store = factory.open().await;
    moving::fill(&store).await;
    let table = journal();
    let rows = factory.shop(&store).await.rows(table, &[], 1000).await.unwrap();
    let row = rows[5].clone();
    for (at, column) in table.columns.iter().enumerate() {
        let wrong = match (&row[at], column.name.ends_with("_json")) {
            (Value::Text(text), true) => Value::Text(format!("{text} ")),
            (Value::Null, true) => Value::Text("{}".to_owned()),
            (value, _) => other(value, column),
        };
        set(factory, table, &row, at, &wrong).await;
        let found = look(factory, &store).await.differences;
        assert!(found.iter().any(|d| matches!(d, Difference::Chain { .. })), "{}: {found:?}", column.name);
        let mut changed = row.clone();
        changed[at] = wrong;
        set(factory, table, &changed, at, &row[at]).await;
        assert_eq!(look(factory, &store).await.differences, [], "{} is as it was", column.name);
    }
}

pub async fn an_entry_more_or_less_is_found(factory: &impl Factory) {
    let store = factory.open().await;
    moving::fill(&store).await;
    let table = journal();
    let rows = factory.shop(&store).await.rows(table, &[], 1000).await.unwrap();
    for (at, row) in rows.iter().enumerate() {
        factory.tamper(&format!("DELETE FROM journal WHERE {}", condition(factory, table, row))).await;
        let found = look(factory, &store).await.differences;
        let told = |d: &Difference| matches!(d, Difference::Chain { .. } | Difference::Head { .. });
        assert!(found.iter().any(told), "entry {}: {found:?}", at + 1);
        insert(factory, table, row).await;
    }
    // One that follows on the last one as it should.
    let last = crate::tables::entry_in(rows.last().unwrap()).unwrap();
    let mut forged = Entry { sequence: last.sequence + 1, effects: Some("[]".to_owned()), ..last.clone() };
    forged.hash = forged.hash_after(&last.hash);
    assert_ne!(forged.hash, GENESIS);
    let mut row = rows.last().unwrap().clone();
    for (name, value) in [
        ("sequence", Value::Integer(forged.sequence)),
        ("effects_json", Value::Text("[]".to_owned())),
        ("hash", Value::Bytes(forged.hash.to_vec())),
    ] {
        let at = table.columns.iter().position(|column| column.name == name).unwrap();
        row[at] = value;
    }
    insert(factory, table, &row).await;
    let found = look(factory, &store).await.differences;
    assert_eq!(found, [Difference::Head { head: last.sequence, journal: forged.sequence }]);
    factory.tamper(&format!("DELETE FROM journal WHERE {}", condition(factory, table, &row))).await;
    assert_eq!(look(factory, &store).await.differences, []);
}
