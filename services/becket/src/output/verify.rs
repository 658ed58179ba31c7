//! What a verification checked and found.

use std::fmt::Write as _;

use becket_store::replay::{Difference, Report};
use serde_json::json;

use super::{Sheet, left, right};

fn hex(hash: &[u8; 32]) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What was checked, with counts, and each difference on a line of its own.
pub(crate) fn verify_text(report: &Report) -> String {
    let mut text =
        format!("journal: {} entries, the last hash is {}\n", report.entries, hex(&report.last_hash));
    let from = report.replayed_from;
    let _ = match from {
        1 => writeln!(text, "replayed from entry 1"),
        _ => writeln!(
            text,
            "replayed from entry {from}, where every row was told anew; of the entries before it only the chain was checked"
        ),
    };
    let columns = [left("table"), right("rows", ""), right("by the journal", "")];
    let rows = report
        .tables
        .iter()
        .map(|count| vec![count.table.to_owned(), count.stored.to_string(), count.implied.to_string()]);
    let _ = write!(text, "\n{}\n", Sheet::of(columns, rows).table());
    for (table, what) in report.not_derived {
        let _ = writeln!(text, "not compared: {table}, {what}");
    }
    let columns = [left("rule"), right("checked", "")];
    let rules = report.checks.iter().map(|check| vec![check.rule.to_owned(), check.count.to_string()]);
    let _ = write!(text, "\n{}\n", Sheet::of(columns, rules).table());
    if report.is_clean() {
        text.push_str("the tables hold what the journal implies\n");
        return text;
    }
    let _ = writeln!(text, "{} differences", report.difference_count);
    for difference in &report.differences {
        let _ = writeln!(text, "  {difference}");
    }
    let more = report.difference_count.saturating_sub(report.differences.len() as u64);
    if more > 0 {
        let _ = writeln!(text, "  and {more} more");
    }
    text
}

/// One row for each difference.
pub(crate) fn verify_sheet(report: &Report) -> Sheet {
    let columns = [left("table"), left("key"), left("column"), left("journal"), left("stored"), left("text")];
    Sheet::of(
        columns,
        report.differences.iter().map(|difference| {
            let mut cells = parts(difference).map(str::to_owned).to_vec();
            cells.push(difference.to_string());
            cells
        }),
    )
}

/// Table, key, column, value by the journal, value in the table; empty where a difference has none.
fn parts(difference: &Difference) -> [&str; 5] {
    match difference {
        Difference::Chain { .. } | Difference::Head { .. } | Difference::Entry { .. } => {
            ["journal", "", "", "", ""]
        }
        Difference::Missing { table, key } | Difference::Unknown { table, key } => [table, key, "", "", ""],
        Difference::Column { table, key, column, journal, stored } => [table, key, column, journal, stored],
        Difference::Rule(_) => [""; 5],
    }
}

/// The whole report as a JSON object.
pub(crate) fn verify_json(report: &Report) -> String {
    let tables = report.tables.iter().map(
        |count| json!({ "table": count.table, "stored_rows": count.stored, "journal_rows": count.implied }),
    );
    let rules = report.checks.iter().map(|check| json!({ "rule": check.rule, "checked": check.count }));
    let differences = report.differences.iter().map(|difference| {
        let [table, key, column, journal, stored] = parts(difference);
        json!({ "text": difference.to_string(), "table": table, "key": key, "column": column,
                "journal": journal, "stored": stored })
    });
    let value = json!({
        "entries": report.entries,
        "replayed_from": report.replayed_from,
        "last_hash": hex(&report.last_hash),
        "tables": tables.collect::<Vec<_>>(),
        "rules": rules.collect::<Vec<_>>(),
        "difference_count": report.difference_count,
        "differences": differences.collect::<Vec<_>>(),
    });
    format!("{value:#}")
}

#[cfg(test)]
mod tests {
    use becket_store::replay::{Check, TableCount};
    use expect_test::expect;

    use super::*;

    fn report(differences: Vec<Difference>) -> Report {
        let column = |key: &str| Difference::Column {
            table: "coils",
            key: key.to_owned(),
            column: "cut_um",
            journal: "7".to_owned(),
            stored: "8".to_owned(),
        };
        let mut all = differences;
        if !all.is_empty() {
            all.push(column("R1"));
        }
        Report {
            entries: 12,
            replayed_from: if all.is_empty() { 1 } else { 9 },
            last_hash: [0xab; 32],
            tables: vec![TableCount { table: "coils", implied: 3, stored: 3 }],
            not_derived: &[("meta", "the key of page tokens")],
            checks: vec![Check { rule: "balances", count: 3 }],
            difference_count: all.len() as u64 + u64::from(all.len() > 1),
            differences: all,
        }
    }

    #[test]
    fn what_was_checked_is_told() {
        expect![[r#"
            journal: 12 entries, the last hash is abababababababababababababababababababababababababababababababab
            replayed from entry 1

             table   rows   by the journal
            ───────────────────────────────
             coils      3                3

            not compared: meta, the key of page tokens

             rule       checked
            ────────────────────
             balances         3

            the tables hold what the journal implies
        "#]].assert_eq(&verify_text(&report(Vec::new())));
    }

    #[test]
    fn differences_are_told() {
        let found = report(vec![Difference::Chain { sequence: 10 }]);
        expect![[r#"
            journal: 12 entries, the last hash is abababababababababababababababababababababababababababababababab
            replayed from entry 9, where every row was told anew; of the entries before it only the chain was checked

             table   rows   by the journal
            ───────────────────────────────
             coils      3                3

            not compared: meta, the key of page tokens

             rule       checked
            ────────────────────
             balances         3

            3 differences
              journal 10: the entry does not follow on the one before; it was changed, or one was added or taken out
              coils R1: cut_um is 7 by the journal and 8 in the table
              and 1 more
        "#]].assert_eq(&verify_text(&found));
        expect![[r#"
            table,key,column,journal,stored,text
            journal,,,,,"journal 10: the entry does not follow on the one before; it was changed, or one was added or taken out"
            coils,R1,cut_um,7,8,coils R1: cut_um is 7 by the journal and 8 in the table
        "#]].assert_eq(&verify_sheet(&found).csv());
        let json: serde_json::Value = serde_json::from_str(&verify_json(&found)).unwrap();
        assert_eq!(
            (&json["difference_count"], &json["differences"][1]["column"]),
            (&3.into(), &"cut_um".into())
        );
    }
}
