//! The journal.

use becket_api::journal::{Change, ChangeKind, ColumnChange, Entry};
use becket_api::json::from_value;
use becket_units::UnitSystem;

use super::{Sheet, left, names::time, right};

/// One row for each change; what was changed is in the json form.
pub(crate) fn journal_sheet(entries: &[Entry], _units: UnitSystem) -> Sheet {
    let columns =
        [right("sequence", ""), left("time"), left("actor"), left("method"), left("subject"), left("hash")];
    let rows = entries.iter().map(|entry| {
        vec![
            entry.sequence.to_string(),
            time(entry.entry_time.as_ref()),
            entry.actor.clone(),
            entry.method.rsplit('.').next().unwrap_or_default().to_owned(),
            entry.subject.clone(),
            entry.hash.chars().take(12).collect(),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each column that an entry changed: what was before, and what is after.
pub(crate) fn changes_sheet(entries: &[Entry], _units: UnitSystem) -> Sheet {
    let columns = [
        right("sequence", ""),
        left("time"),
        left("actor"),
        left("method"),
        left("row"),
        left("change"),
        left("column"),
        left("before"),
        left("after"),
    ];
    let rows = entries.iter().flat_map(|entry| {
        let head = [
            entry.sequence.to_string(),
            time(entry.entry_time.as_ref()),
            entry.actor.clone(),
            entry.method.rsplit('.').next().unwrap_or_default().to_owned(),
        ];
        let of_row = move |change: &Change| {
            let row = [head.as_slice(), &[format!("{} {}", change.table, change.key), kind(change)]].concat();
            let cells = |column: &ColumnChange| {
                let values = [text(column.before.as_ref()), text(column.after.as_ref())];
                [row.as_slice(), std::slice::from_ref(&column.column), &values].concat()
            };
            change.columns.iter().map(cells).collect::<Vec<_>>()
        };
        entry.changes.iter().flat_map(of_row).collect::<Vec<_>>()
    });
    Sheet::of(columns, rows)
}

fn kind(change: &Change) -> String {
    match change.kind() {
        ChangeKind::Unspecified => "",
        ChangeKind::Added => "added",
        ChangeKind::Changed => "changed",
        ChangeKind::Removed => "removed",
    }
    .to_owned()
}

/// A text as it is, another value as JSON, nothing where there is none.
fn text(value: Option<&prost_types::Value>) -> String {
    match value.map(from_value) {
        None => String::new(),
        Some(serde_json::Value::String(text)) => text,
        Some(other) => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    #[test]
    fn the_journal_tells_who_did_what() {
        let entry = Entry {
            sequence: 12,
            entry_time: Some(prost_types::Timestamp { seconds: 1_764_000_000, nanos: 0 }),
            actor: "ann".into(),
            method: "becket.cutting.v1.CutListService/ConfirmStep".into(),
            subject: "cutLists/L-0007".into(),
            hash: "0123456789abcdef".into(),
            ..Entry::default()
        };
        expect![[r#"
             sequence   time                   actor   method                       subject           hash
            ───────────────────────────────────────────────────────────────────────────────────────────────────────
                   12   2025-11-24 16:00:00Z   ann     CutListService/ConfirmStep   cutLists/L-0007   0123456789ab
        "#]].assert_eq(&journal_sheet(&[entry], UnitSystem::Metric).table());
    }

    #[test]
    fn changes_are_shown_column_by_column() {
        let column = |name: &str, before: serde_json::Value, after: serde_json::Value| ColumnChange {
            column: name.into(),
            before: (!before.is_null()).then(|| becket_api::json::to_value(&before)),
            after: (!after.is_null()).then(|| becket_api::json::to_value(&after)),
        };
        let change = |table: &str, key: &str, kind: ChangeKind, columns| Change {
            table: table.into(),
            key: key.into(),
            kind: kind.into(),
            columns,
        };
        let entry = Entry {
            sequence: 12,
            actor: "ann".into(),
            method: "becket.cutting.v1.CutListService/ConfirmStep".into(),
            changes: vec![
                change(
                    "coils",
                    "R0104",
                    ChangeKind::Changed,
                    vec![
                        column("cut_um", 0.into(), 1_467_000.into()),
                        column("state", "sealed".into(), "opened".into()),
                    ],
                ),
                change(
                    "mounts",
                    "bench-1/2",
                    ChangeKind::Removed,
                    vec![column("coil_id", "R0104".into(), serde_json::Value::Null)],
                ),
            ],
            ..Entry::default()
        };
        expect![[r#"
             sequence   time   actor   method                       row                change    column    before   after
            ────────────────────────────────────────────────────────────────────────────────────────────────────────────────
                   12          ann     CutListService/ConfirmStep   coils R0104        changed   cut_um    0        1467000
                   12          ann     CutListService/ConfirmStep   coils R0104        changed   state     sealed   opened
                   12          ann     CutListService/ConfirmStep   mounts bench-1/2   removed   coil_id   R0104
        "#]].assert_eq(&changes_sheet(&[entry], UnitSystem::Metric).table());
    }
}
