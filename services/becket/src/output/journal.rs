//! The journal.

use becket_api::journal::Entry;
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
}
