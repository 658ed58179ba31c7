//! Partials of notes.

use std::fmt::Write as _;

use becket_api::stringing::{ComputePartialsResponse, NotePartials, PartialFigures, PitchBasis};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet,
    names::{note_name, word},
    right,
    string_set::models,
};

/// Each note with its fit and its partials.
pub(crate) fn partials_text(answer: &ComputePartialsResponse, units: UnitSystem) -> String {
    let mut text = String::from("Partials\n");
    if let Some(options) = &answer.options {
        let basis = word(options.pitch_basis().into(), PitchBasis::as_str_name, "PITCH_BASIS_");
        let a4_hz = options.a4_hz.unwrap_or_default();
        let _ = writeln!(text, "  pitch            A4 {a4_hz:.2} Hz, {basis}");
        text.push_str(&models(options));
    }
    for note in &answer.notes {
        text.push_str(&note_text(note, units));
    }
    text
}

fn note_text(note: &NotePartials, units: UnitSystem) -> String {
    let measures = Measures(units);
    let partials = note.partials.clone().unwrap_or_default();
    let PartialFigures { fitted_inharmonicity, fit_residual_cents, fit_residual_max_cents, .. } = partials;
    let columns = [right("partial", ""), right("frequency", "Hz"), right("sharp of n f1", "cents")];
    let rows = numbered(&partials)
        .map(|(n, hz, cents)| vec![n.to_string(), format!("{hz:.3}"), format!("{cents:.3}")]);
    format!(
        "\nNote {} ({}) of {}: {} {} speaking, {} {}, {:.3} g/m, f0 {:.4} Hz\n  B {fitted_inharmonicity:.4e}, which leaves \
         {fit_residual_cents:.3} cents in the mean and {fit_residual_max_cents:.3} at most\n\n{}",
        note.note,
        note_name(note.note),
        note.wire_id,
        measures.length(note.speaking_mm),
        measures.length_unit(),
        measures.force(note.tension_n),
        measures.force_unit(),
        note.linear_density_g_m,
        partials.stiffness_free_hz,
        Sheet::of(columns, rows).table(),
    )
}

/// One row for each partial of each note.
pub(crate) fn partials_sheet(notes: &[NotePartials], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("note", ""),
        right("tension", measures.force_unit()),
        right("B", ""),
        right("residual", "cents"),
        right("partial", ""),
        right("frequency", "Hz"),
        right("sharp", "cents"),
    ];
    let rows = notes.iter().flat_map(|note| {
        let partials = note.partials.clone().unwrap_or_default();
        let head = [
            note.note.to_string(),
            measures.force(note.tension_n),
            format!("{:.6e}", partials.fitted_inharmonicity),
            format!("{:.4}", partials.fit_residual_cents),
        ];
        let rows = numbered(&partials).map(|(n, hz, cents)| {
            let tail = [n.to_string(), format!("{hz:.6}"), format!("{cents:.4}")];
            head.iter().cloned().chain(tail).collect()
        });
        rows.collect::<Vec<_>>()
    });
    Sheet::of(columns, rows)
}

/// Number, frequency and cents of each partial.
fn numbered(partials: &PartialFigures) -> impl Iterator<Item = (u32, f64, f64)> + '_ {
    (1..).zip(&partials.partial_hz).zip(&partials.cents).map(|((n, hz), cents)| (n, *hz, *cents))
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{ComputeOptions, StringModel, WindingModel};
    use expect_test::expect;

    use super::*;

    fn answer() -> ComputePartialsResponse {
        let partials = PartialFigures {
            stiffness_free_hz: 27.5,
            partial_hz: vec![27.501, 55.0123, 82.55],
            cents: vec![0.0, 0.325, 0.99],
            fitted_stiffness_free_hz: 27.4999,
            fitted_inharmonicity: 1.234_56e-4,
            fit_residual_cents: 0.0123,
            fit_residual_max_cents: 0.0456,
        };
        ComputePartialsResponse {
            options: Some(ComputeOptions {
                a4_hz: Some(440.0),
                pitch_basis: Some(PitchBasis::StiffnessFree.into()),
                string_model: Some(StringModel::Stepped.into()),
                winding_model: Some(WindingModel::Tube.into()),
                partial_count: Some(3),
                ..ComputeOptions::default()
            }),
            notes: vec![NotePartials {
                note: 1,
                wire_id: "mw-in-22".into(),
                frequency_hz: 27.5,
                speaking_mm: 1945.0,
                linear_density_g_m: 140.25,
                tension_n: 1604.5,
                partials: Some(partials),
            }],
        }
    }

    #[test]
    fn each_note_is_a_paragraph() {
        expect![[r#"
            Partials
              pitch            A4 440.00 Hz, stiffness free
              model            strings stepped, B fitted to 3 partials; windings as a tube

            Note 1 (A0) of mw-in-22: 1945.0 mm speaking, 1604.5 N, 140.250 g/m, f0 27.5000 Hz
              B 1.2346e-4, which leaves 0.012 cents in the mean and 0.046 at most

             partial   frequency   sharp of n f1
                              Hz           cents
            ─────────────────────────────────────
                   1      27.501           0.000
                   2      55.012           0.325
                   3      82.550           0.990
        "#]]
        .assert_eq(&partials_text(&answer(), UnitSystem::Metric));
        expect![[r#"
            note,tension_lbf,b,residual_cents,partial,frequency_hz,sharp_cents
            1,360.7,1.234560e-4,0.0123,1,27.501000,0.0000
            1,360.7,1.234560e-4,0.0123,2,55.012300,0.3250
            1,360.7,1.234560e-4,0.0123,3,82.550000,0.9900
        "#]]
        .assert_eq(&partials_sheet(&answer().notes, UnitSystem::Inch).csv());
    }
}
