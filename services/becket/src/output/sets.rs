//! Many sets in short.

use becket_api::stringing::{
    ComputeJobSetsResponse, StringSet, compute_job_sets_response::Result as Outcome,
};
use becket_units::UnitSystem;

use super::{Measures, Sheet, left, measures::percent, right};

/// One row for each serial; of one without a set, its reason in place of model and revision.
pub(crate) fn sets_sheet(answers: &[ComputeJobSetsResponse], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("serial"),
        left("model"),
        left("revision"),
        right("strings", ""),
        right("pieces", ""),
        right("tension", measures.force_unit()),
        right("highest load", "%"),
        right("remarks", ""),
        left("frozen"),
        left("digest"),
    ];
    let rows = answers.iter().map(|answer| match &answer.result {
        Some(Outcome::StringSet(set)) => row(&answer.serial_id, set, measures),
        Some(Outcome::Refusal(refusal)) => without(&answer.serial_id, &refusal.reason),
        None => without(&answer.serial_id, ""),
    });
    Sheet::of(columns, rows)
}

fn row(serial_id: &str, set: &StringSet, measures: Measures) -> Vec<String> {
    let totals = set.totals.clone().unwrap_or_default();
    vec![
        serial_id.to_owned(),
        set.model_id.clone(),
        set.revision_id.clone(),
        totals.strings.to_string(),
        totals.pieces.to_string(),
        measures.force(totals.tension_n),
        totals.highest_load_share.map(|load| percent(load.value)).unwrap_or_default(),
        set.warnings.len().to_string(),
        if set.frozen { "yes" } else { "no" }.to_owned(),
        set.digest.clone(),
    ]
}

fn without(serial_id: &str, reason: &str) -> Vec<String> {
    let rest = std::iter::repeat_n(String::new(), 8);
    [serial_id.to_owned(), reason.to_owned()].into_iter().chain(rest).collect()
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{Extreme, SetRefusal, SetTotals};
    use expect_test::expect;

    use super::*;

    #[test]
    fn each_serial_is_a_row() {
        let set = StringSet {
            model_id: "m".into(),
            revision_id: "a".into(),
            totals: Some(SetTotals {
                strings: 230,
                pieces: 138,
                tension_n: 158_682.7,
                highest_load_share: Some(Extreme { string_id: "88.1".into(), value: 0.619 }),
                ..SetTotals::default()
            }),
            digest: "abc".into(),
            ..StringSet::default()
        };
        let refusal = SetRefusal { reason: "NOT_FOUND".into(), ..SetRefusal::default() };
        let answer = |serial_id: &str, result| ComputeJobSetsResponse {
            serial_id: serial_id.into(),
            result: Some(result),
        };
        let answers = [answer("S1", Outcome::StringSet(set)), answer("S9", Outcome::Refusal(refusal))];
        expect![[r#"
             serial   model       revision   strings   pieces    tension   highest load   remarks   frozen   digest
                                                                       N              %
            ────────────────────────────────────────────────────────────────────────────────────────────────────────
             S1       m           a              230      138   158682.7           61.9         0   no       abc
             S9       NOT_FOUND
        "#]].assert_eq(&sets_sheet(&answers, UnitSystem::Metric).table());
    }
}
