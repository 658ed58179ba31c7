//! Designs of bass and plain strings.

use becket_api::stringing::{
    DesignBassResponse, DesignPlainWiresResponse, ObjectiveTerms, PitchBasis, PlainChoice, StringModel,
    StringModels, WindingModel, WoundChoice,
};
use becket_units::UnitSystem;

use super::{Measures, SAFETY_NOTE, Sheet, left, measures::percent, names::note_name, right};

/// A bass for people: what was searched, the objective, the notes.
pub(crate) fn bass_text(design: &DesignBassResponse, units: UnitSystem) -> String {
    format!(
        "Bass of {} notes from {} cores and {} winding wires; {}\n  {} combinations, {} within the limits, {} that could not be \
         ruled out: {}\n{}{}\n{}\n{}{SAFETY_NOTE}",
        design.notes.len(),
        design.cores,
        design.windings,
        models_text(design.models.as_ref()),
        design.combinations,
        design.combinations_within_limits,
        design.combinations_kept,
        optimum(design),
        searched(design),
        objective(design.objective.as_ref()),
        bass_sheet(&design.notes, units).table(),
        strength(design.notes.iter().map(|choice| choice.strength_label.as_str())),
    )
}

/// How near the design is to the optimum.
fn optimum(design: &DesignBassResponse) -> String {
    if design.objective_gap > 0.0 {
        return format!(
            "the search was cut short, the optimum is lower by {:.5} at most",
            design.objective_gap
        );
    }
    "no better one is left".to_owned()
}

/// What the search took B for, where that is not what the strings have.
fn searched(design: &DesignBassResponse) -> String {
    if design.inharmonicity_error_share == 0.0 {
        return String::new();
    }
    format!(
        "  figures are exact; the search took B for bare ends by a formula, {:.1} % off at most, objective there {:.5}\n",
        design.inharmonicity_error_share * 100.0,
        design.searched_objective,
    )
}

/// By what an answer was computed.
pub(super) fn models_text(models: Option<&StringModels>) -> String {
    let Some(models) = models else { return String::new() };
    let string = match models.string_model() {
        StringModel::Stepped => format!("wound strings exact, B from {} partials", models.partial_count),
        StringModel::ClosedForm | StringModel::Unspecified => "closed form".to_owned(),
    };
    let winding = match models.winding_model() {
        WindingModel::Helix => "helix",
        WindingModel::Tube | WindingModel::Unspecified => "tube",
    };
    let pitch = match models.pitch_basis() {
        PitchBasis::FirstPartial => "first partial",
        PitchBasis::StiffnessFree | PitchBasis::Unspecified => "without stiffness",
    };
    format!("{string}; windings as {winding}; pitch {pitch}")
}

/// One row for each wound note.
pub(crate) fn bass_sheet(notes: &[WoundChoice], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("note", ""),
        left("name"),
        left("core"),
        left("windings"),
        right("tension", measures.force_unit()),
        right("stress", measures.stress_unit()),
        right("load", "%"),
        right("B", ""),
        right("diameter", measures.length_unit()),
        right("density", "g/m"),
        right("target cost", ""),
    ];
    let rows = notes.iter().map(|choice| {
        let windings: Vec<_> = choice.windings.iter().map(|layer| layer.wire_id.as_str()).collect();
        vec![
            choice.note.to_string(),
            note_name(choice.note),
            choice.core_wire_id.clone(),
            windings.join(" + "),
            measures.force(choice.tension_n),
            measures.stress(choice.stress_mpa),
            percent(choice.load_share),
            format!("{:.2e}", choice.inharmonicity),
            measures.diameter(choice.outer_diameter_mm),
            format!("{:.3}", choice.linear_density_g_m),
            format!("{:.5}", choice.target_cost),
        ]
    });
    Sheet::of(columns, rows)
}

/// Plain strings for people: the objective, the notes.
pub(crate) fn plain_text(design: &DesignPlainWiresResponse, units: UnitSystem) -> String {
    format!(
        "Plain wire of {} notes from {} sizes; {} tied where a size changes within a pair\n{}\n{}\n{}{SAFETY_NOTE}",
        design.notes.len(),
        design.sizes,
        super::names::count(design.tied_at_changes.into(), "string", "strings"),
        objective(design.objective.as_ref()),
        plain_sheet(&design.notes, units).table(),
        strength(design.notes.iter().map(|choice| choice.strength_label.as_str())),
    )
}

/// One row for each plain note.
pub(crate) fn plain_sheet(notes: &[PlainChoice], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("note", ""),
        left("name"),
        left("wire"),
        right("tension", measures.force_unit()),
        right("stress", measures.stress_unit()),
        right("load", "%"),
        right("B", ""),
        right("target cost", ""),
        left("pair cut below"),
    ];
    let rows = notes.iter().map(|choice| {
        vec![
            choice.note.to_string(),
            note_name(choice.note),
            choice.wire_id.clone(),
            measures.force(choice.tension_n),
            measures.stress(choice.stress_mpa),
            percent(choice.load_share),
            format!("{:.2e}", choice.inharmonicity),
            format!("{:.5}", choice.target_cost),
            if choice.pair_cut_below { "yes" } else { "" }.to_owned(),
        ]
    });
    Sheet::of(columns, rows)
}

fn objective(terms: Option<&ObjectiveTerms>) -> String {
    let Some(terms) = terms else { return String::new() };
    let named = [
        ("targets", terms.targets),
        ("tension steps", terms.tension_steps),
        ("steps of B", terms.inharmonicity_steps),
        ("changes of wire", terms.wire_changes),
        ("thicker above", terms.thicker_above),
        ("steps of winding wire", terms.winding_steps),
        ("changes of layers", terms.layer_changes),
        ("second layers", terms.second_layers),
        ("tied strings", terms.tied_strings),
    ];
    let parts: Vec<_> = named
        .iter()
        .filter(|(_, value)| *value != 0.0)
        .map(|(name, value)| format!("{name} {value:.5}"))
        .collect();
    let sum = if parts.is_empty() { String::new() } else { format!(" = {}", parts.join(" + ")) };
    format!("  objective {:.5}{sum}\n", terms.total)
}

/// Names the strength bases on which the shares rest.
pub(super) fn strength<'a>(labels: impl Iterator<Item = &'a str>) -> String {
    let mut labels: Vec<_> = labels.filter(|label| !label.is_empty()).collect();
    labels.sort_unstable();
    labels.dedup();
    if labels.is_empty() {
        return "\n".to_owned();
    }
    format!("Loads are shares of: {}.\n\n", labels.join("; "))
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::Winding;
    use expect_test::expect;

    use super::*;

    fn layer(wire_id: &str) -> Winding {
        Winding { wire_id: wire_id.into(), ..Winding::default() }
    }

    fn bass() -> DesignBassResponse {
        let choice = |note, windings| WoundChoice {
            note,
            core_wire_id: "hex-1.20".into(),
            windings,
            frequency_hz: 27.5,
            linear_density_g_m: 196.3214,
            tension_n: 1251.26,
            stress_mpa: 1003.4,
            load_share: 0.4891,
            strength_label: "ASTM A228 minimum".into(),
            inharmonicity: 1.234e-4,
            outer_diameter_mm: 6.8,
            target_cost: 0.00012,
        };
        DesignBassResponse {
            notes: vec![
                choice(1, vec![layer("cu-0.90"), layer("cu-1.90")]),
                choice(2, vec![layer("cu-1.50")]),
            ],
            objective: Some(ObjectiveTerms {
                targets: 0.00024,
                tension_steps: 0.01,
                total: 0.01024,
                ..ObjectiveTerms::default()
            }),
            cores: 9,
            windings: 30,
            combinations: 4100,
            combinations_within_limits: 900,
            combinations_kept: 41,
            objective_gap: 0.0,
            searched_objective: 0.01021,
            inharmonicity_error_share: 0.0123,
            models: Some(StringModels {
                pitch_basis: PitchBasis::FirstPartial.into(),
                string_model: StringModel::Stepped.into(),
                winding_model: WindingModel::Helix.into(),
                partial_count: 16,
            }),
        }
    }

    #[test]
    fn a_bass_is_a_page() {
        expect![[r#"
            Bass of 2 notes from 9 cores and 30 winding wires; wound strings exact, B from 16 partials; windings as helix; pitch first partial
              4100 combinations, 900 within the limits, 41 that could not be ruled out: no better one is left
              figures are exact; the search took B for bare ends by a formula, 1.2 % off at most, objective there 0.01021
              objective 0.01024 = targets 0.00024 + tension steps 0.01000

             note   name   core       windings            tension   stress   load         B   diameter   density   target cost
                                                                N      MPa      %                   mm       g/m
            ───────────────────────────────────────────────────────────────────────────────────────────────────────────────────
                1   A0     hex-1.20   cu-0.90 + cu-1.90    1251.3     1003   48.9   1.23e-4      6.800   196.321       0.00012
                2   A#0    hex-1.20   cu-1.50              1251.3     1003   48.9   1.23e-4      6.800   196.321       0.00012

            Loads are shares of: ASTM A228 minimum.

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&bass_text(&bass(), UnitSystem::Metric));
    }

    #[test]
    fn plain_strings_are_a_page() {
        let design = DesignPlainWiresResponse {
            notes: vec![PlainChoice {
                note: 49,
                wire_id: "mw-in-16".into(),
                frequency_hz: 440.0,
                tension_n: 720.4,
                stress_mpa: 1038.0,
                load_share: 0.4712,
                strength_label: "ASTM A228 minimum".into(),
                inharmonicity: 6.1e-4,
                target_cost: 0.0,
                pair_cut_below: true,
            }],
            objective: Some(ObjectiveTerms::default()),
            tied_at_changes: 2,
            sizes: 31,
        };
        expect![[r#"
            Plain wire of 1 notes from 31 sizes; 2 strings tied where a size changes within a pair
              objective 0.00000

             note   name   wire       tension   stress   load         B   target cost   pair cut below
                                          lbf      ksi      %
            ───────────────────────────────────────────────────────────────────────────────────────────
               49   A4     mw-in-16     162.0    150.5   47.1   6.10e-4       0.00000   yes

            Loads are shares of: ASTM A228 minimum.

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&plain_text(&design, UnitSystem::Inch));
    }
}
