//! Replacements of old strings.

use becket_api::stringing::{MatchReplacementResponse, Replacement};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet,
    design::{models_text, strength},
    left,
    measures::percent,
    right,
};

/// The old string and what can stand in for it, for people.
pub(crate) fn replacement_text(answer: &MatchReplacementResponse, units: UnitSystem) -> String {
    let old = answer.old.unwrap_or_default();
    format!(
        "Old string: {} at {:.2} Hz, {:.3} g/m, B {:.2e}\n  {}\n  {} combinations of the stock within the limit, {} of them \
         computed by these models\n\n{}\n{}{SAFETY_NOTE}",
        units.force(old.tension_n),
        old.frequency_hz,
        old.linear_density_g_m,
        old.inharmonicity,
        models_text(answer.models.as_ref()),
        answer.combinations_within_limits,
        answer.combinations_exact,
        replacement_sheet(&answer.candidates, units).table(),
        strength(answer.candidates.iter().map(|candidate| candidate.strength_label.as_str())),
    )
}

/// One row for each replacement, best first.
pub(crate) fn replacement_sheet(candidates: &[Replacement], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("core"),
        left("windings"),
        right("tension", measures.force_unit()),
        right("tension off", "%"),
        right("pitch off", "cents"),
        right("B", ""),
        right("B off", "%"),
        right("load", "%"),
        right("diameter", measures.length_unit()),
        right("score", ""),
    ];
    let rows = candidates.iter().map(|candidate| {
        vec![
            candidate.core_wire_id.clone(),
            candidate.winding_wire_ids.join(" + "),
            measures.force(candidate.tension_n),
            format!("{:+.2}", candidate.tension_deviation * 100.0),
            format!("{:+.1}", candidate.pitch_deviation_cents),
            format!("{:.2e}", candidate.inharmonicity),
            format!("{:+.1}", candidate.inharmonicity_deviation * 100.0),
            percent(candidate.load_share),
            measures.diameter(candidate.outer_diameter_mm),
            format!("{:.6}", candidate.score),
        ]
    });
    Sheet::of(columns, rows)
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{OldStringFigures, PitchBasis, StringModel, StringModels, WindingModel};
    use expect_test::expect;

    use super::*;

    #[test]
    fn replacements_stand_beside_the_old_string() {
        let answer = MatchReplacementResponse {
            old: Some(OldStringFigures {
                frequency_hz: 65.406,
                linear_density_g_m: 45.1234,
                tension_n: 812.3,
                inharmonicity: 1.5e-4,
            }),
            candidates: vec![Replacement {
                core_wire_id: "hex-1.00".into(),
                winding_wire_ids: vec!["cu-0.90".into()],
                linear_density_g_m: 45.5,
                tension_n: 819.1,
                load_share: 0.43,
                strength_label: "assumed".into(),
                inharmonicity: 1.45e-4,
                outer_diameter_mm: 2.85,
                density_deviation: 0.0083,
                tension_deviation: 0.0083,
                pitch_deviation_cents: -7.18,
                inharmonicity_deviation: -0.0333,
                score: 0.000_182,
            }],
            models: Some(StringModels {
                pitch_basis: PitchBasis::StiffnessFree.into(),
                string_model: StringModel::ClosedForm.into(),
                winding_model: WindingModel::Tube.into(),
                partial_count: 16,
            }),
            combinations_within_limits: 812,
            combinations_exact: 812,
        };
        expect![[r#"
            Old string: 812.3 N at 65.41 Hz, 45.123 g/m, B 1.50e-4
              closed form; windings as tube; pitch without stiffness
              812 combinations of the stock within the limit, 812 of them computed by these models

             core       windings   tension   tension off   pitch off         B   B off   load   diameter      score
                                         N             %       cents                 %      %         mm
            ────────────────────────────────────────────────────────────────────────────────────────────────────────
             hex-1.00   cu-0.90      819.1         +0.83        -7.2   1.45e-4    -3.3   43.0      2.850   0.000182

            Loads are shares of: assumed.

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&replacement_text(&answer, UnitSystem::Metric));
    }
}
