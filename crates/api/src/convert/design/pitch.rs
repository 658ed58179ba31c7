//! Pitches of questions: of A4, and of notes against equal temperament.

use becket_acoustics::equal_tempered_hz;
use becket_scale::{ComputeOptionsDraft, HIGHEST_NOTE, LOWEST_NOTE, Models, PitchBasis};
use becket_units::Fault;

use crate::convert::count;
use crate::convert::enums::Known;
use crate::convert::scale::choice;
use crate::stringing as api;

/// Largest offset of a note in cents, as in a scale.
const MAX_OFFSET_CENTS: f64 = 200.0;

/// Pitch of A4 and what pitches name.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pitch {
    a4_hz: f64,
    pub(super) basis: PitchBasis,
}

impl Pitch {
    pub(super) fn read(a4_hz: Option<f64>, basis: Option<i32>, faults: &mut Vec<Fault>) -> Self {
        let draft =
            ComputeOptionsDraft { a4_hz, pitch_basis: basis.map(choice), ..ComputeOptionsDraft::default() };
        let options = draft.validate().unwrap_or_else(|list| {
            faults.extend(list);
            becket_scale::ComputeOptions::default()
        });
        Self { a4_hz: options.a4_hz(), basis: options.pitch_basis() }
    }

    /// Frequency of a note in Hz.
    pub(super) fn hz(&self, path: &str, note: i16, offset_cents: f64, faults: &mut Vec<Fault>) -> f64 {
        let field = format!("{path}.pitch_offset_cents");
        let outside = Fault::outside(field, offset_cents, -MAX_OFFSET_CENTS, MAX_OFFSET_CENTS, "cents");
        let offset_cents = if outside.is_some() { 0.0 } else { offset_cents };
        faults.extend(outside);
        // In range by now; A4 stands in for what no formula takes.
        equal_tempered_hz(note.into(), self.a4_hz, offset_cents).unwrap_or(self.a4_hz)
    }
}

/// How strings are reckoned.
pub(super) fn read_models(
    basis: PitchBasis,
    string_model: Option<i32>,
    winding_model: Option<i32>,
    partial_count: Option<i32>,
    faults: &mut Vec<Fault>,
) -> Models {
    let draft = ComputeOptionsDraft {
        string_model: string_model.map(choice),
        winding_model: winding_model.map(choice),
        partial_count,
        ..ComputeOptionsDraft::default()
    };
    let options = draft.validate().unwrap_or_else(|list| {
        faults.extend(list);
        becket_scale::ComputeOptions::default()
    });
    Models { pitch_basis: basis, ..options.models() }
}

/// By what an answer was computed.
#[must_use]
pub fn string_models(models: &Models) -> api::StringModels {
    let Models { pitch_basis, string_model, winding_model, partial_count } = *models;
    api::StringModels {
        pitch_basis: pitch_basis.number(),
        string_model: string_model.number(),
        winding_model: winding_model.number(),
        partial_count: count(partial_count),
    }
}

/// Number of a note; the nearest there is in place of one that is not.
pub(super) fn note(field: String, number: i32, faults: &mut Vec<Fault>) -> i16 {
    let (low, high) = (LOWEST_NOTE, HIGHEST_NOTE);
    match i16::try_from(number) {
        Ok(note) if (low..=high).contains(&note) => note,
        _ => {
            faults.push(Fault::new(field, number, format!("{low} to {high}")));
            if number < 0 { low } else { high }
        }
    }
}
