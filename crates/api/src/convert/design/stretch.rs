//! A stretched tuning.

use becket_design::{OctaveRegion, Stretch, StretchOptions, StretchedNote};
use becket_scale::{Models, PitchBasis, Scale};
use becket_units::Fault;

use super::pitch::{note, string_models};
use super::renamed;
use crate::convert::{count, required};
use crate::stringing as api;

/// Reads the rules of a stretch, at a pitch of A4 of `a4_hz` and by these models; their faults come beside them.
#[must_use]
pub fn read_stretch(
    request: &api::ComputeStretchRequest,
    a4_hz: f64,
    models: Models,
) -> (StretchOptions, Vec<Fault>) {
    let api::ComputeStretchRequest { source: _, regions, smoothness, tolerance_cents, max_iterations } =
        request;
    let default = StretchOptions::default();
    let mut faults = Vec::new();
    let max_iterations = max_iterations.map_or(Ok(default.max_iterations), |number| {
        u32::try_from(number).map_err(|_| Fault::new("max_iterations", number, "1 to 1000"))
    });
    let max_iterations = max_iterations.unwrap_or_else(|fault| {
        faults.push(fault);
        default.max_iterations
    });
    let mut stated = Vec::new();
    for (at, &api::OctaveRegion { first_note, rule }) in regions.iter().enumerate() {
        let path = format!("regions[{at}]");
        let first_note = note(format!("{path}.first_note"), first_note, &mut faults);
        match required(&format!("{path}.rule"), rule) {
            Ok(octave) => stated.push(OctaveRegion { first_note, octave }),
            Err(fault) => faults.push(fault),
        }
    }
    let options = StretchOptions {
        a4_hz,
        regions: if regions.is_empty() { default.regions } else { stated },
        smoothness: smoothness.unwrap_or(default.smoothness),
        tolerance_cents: tolerance_cents.unwrap_or(default.tolerance_cents),
        max_iterations,
        models,
    };
    (options, faults)
}

/// Gives faults of the domain the paths of a request for a stretch.
#[must_use]
pub fn stretch_paths(faults: Vec<Fault>) -> Vec<Fault> {
    renamed(
        faults,
        &[
            ("options.a4_hz", "source.options.a4_hz"),
            ("options.models", "source.options"),
            ("options", ""),
            ("notes", "source"),
        ],
    )
}

/// The answer: the tuning, and the rows of the scale with it in them.
#[must_use]
pub fn stretch_response(stretch: &Stretch, scale: &Scale, models: &Models) -> api::ComputeStretchResponse {
    let Stretch { notes, total_cents, largest_octave_error_cents, iterations, last_change_cents } = stretch;
    let mut rows = api::Scale::from(scale).notes;
    for (row, note) in rows.iter_mut().zip(notes) {
        row.pitch_offset_cents = match models.pitch_basis {
            PitchBasis::FirstPartial => note.offset_cents,
            PitchBasis::StiffnessFree => note.stiffness_free_offset_cents,
        };
    }
    api::ComputeStretchResponse {
        notes: notes.iter().map(stretched).collect(),
        total_cents: *total_cents,
        largest_octave_error_cents: *largest_octave_error_cents,
        iterations: count(*iterations),
        last_change_cents: *last_change_cents,
        scale_notes: rows,
        models: Some(string_models(models)),
    }
}

fn stretched(note: &StretchedNote) -> api::StretchedNote {
    let StretchedNote {
        note,
        offset_cents,
        stiffness_free_offset_cents,
        first_partial_hz,
        tension_n,
        inharmonicity,
    } = *note;
    api::StretchedNote {
        note: note.into(),
        offset_cents,
        stiffness_free_offset_cents,
        first_partial_hz,
        tension_n,
        inharmonicity,
    }
}
