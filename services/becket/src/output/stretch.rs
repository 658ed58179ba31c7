//! Stretched tunings.

use becket_api::stringing::{ComputeStretchResponse, StretchedNote};
use becket_units::UnitSystem;

use super::{Measures, Sheet, design::models_text, left, names::note_name, right};

/// The tuning for people.
pub(crate) fn stretch_text(answer: &ComputeStretchResponse, units: UnitSystem) -> String {
    format!(
        "Stretch of {:.1} cents in all (published: 35, 45 and 60 cents on three instruments, J. O. Smith)\n  largest \
         deviation of an octave from its rule {:.2} cents; settled after {} iterations\n  {}\n\n{}",
        answer.total_cents,
        answer.largest_octave_error_cents,
        answer.iterations,
        models_text(answer.models.as_ref()),
        stretch_sheet(&answer.notes, units).table(),
    )
}

/// One row for each note.
pub(crate) fn stretch_sheet(notes: &[StretchedNote], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        right("note", ""),
        left("name"),
        right("offset", "cents"),
        right("first partial", "Hz"),
        right("without stiffness", "cents"),
        right("tension", measures.force_unit()),
        right("B", ""),
    ];
    let rows = notes.iter().map(|note| {
        vec![
            note.note.to_string(),
            note_name(note.note),
            format!("{:+.2}", note.offset_cents),
            format!("{:.3}", note.first_partial_hz),
            format!("{:+.2}", note.stiffness_free_offset_cents),
            measures.force(note.tension_n),
            format!("{:.2e}", note.inharmonicity),
        ]
    });
    Sheet::of(columns, rows)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use becket_api::stringing::StringModels;

    use super::*;

    #[test]
    fn a_tuning_is_a_page() {
        let note = |note, offset_cents, first_partial_hz| StretchedNote {
            note,
            offset_cents,
            stiffness_free_offset_cents: offset_cents - 0.3,
            first_partial_hz,
            tension_n: 705.2,
            inharmonicity: 3.2e-4,
        };
        let answer = ComputeStretchResponse {
            notes: vec![note(1, -12.345, 27.304), note(49, 0.0, 440.0), note(88, 30.12, 4259.5)],
            total_cents: 42.465,
            largest_octave_error_cents: 1.234,
            iterations: 6,
            models: Some(StringModels::default()),
            ..ComputeStretchResponse::default()
        };
        expect![[r#"
            Stretch of 42.5 cents in all (published: 35, 45 and 60 cents on three instruments, J. O. Smith)
              largest deviation of an octave from its rule 1.23 cents; settled after 6 iterations
              closed form; windings as tube; pitch without stiffness

             note   name   offset   first partial   without stiffness   tension         B
                            cents              Hz               cents         N
            ──────────────────────────────────────────────────────────────────────────────
                1   A0     -12.35          27.304              -12.65     705.2   3.20e-4
               49   A4      +0.00         440.000               -0.30     705.2   3.20e-4
               88   C8     +30.12        4259.500              +29.82     705.2   3.20e-4
        "#]]
        .assert_eq(&stretch_text(&answer, UnitSystem::Metric));
    }
}
