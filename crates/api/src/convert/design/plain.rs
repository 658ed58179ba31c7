//! Plain strings as asked for and as designed.

use becket_design::{
    Neighbour, NeighbourCosts, PlainChoice, PlainDesign, PlainLimits, PlainNote, PlainQuestion,
};
use becket_scale::{HitchStyle, PitchBasis, SectionId};
use becket_units::{Fault, IdentifierError};
use becket_wire::{Wire, WireId};

use super::objective::{objective, read_costs, read_neighbour};
use super::pitch::{Pitch, note};
use super::targets::{Curves, states, to_curves};
use super::{checked, renamed};
use crate::convert::{count, required};
use crate::document::shortened;
use crate::stringing as api;

/// What a request wants of plain strings, without the wires.
#[derive(Debug, Clone)]
pub struct PlainTerms {
    notes: Vec<PlainNote>,
    /// For each note, which targets it states itself.
    states: Vec<[bool; 3]>,
    below: Option<Neighbour>,
    neighbour_costs: NeighbourCosts,
    tied_string_cost: Option<f64>,
    min_run_notes: u8,
    limits: PlainLimits,
    pitch_basis: PitchBasis,
}

/// Reads a request; its faults come beside the terms.
#[must_use]
pub fn read_plain(request: &api::DesignPlainWiresRequest) -> (PlainTerms, Vec<Fault>) {
    let api::DesignPlainWiresRequest {
        notes,
        targets,
        sizes: _,
        wires: _,
        below,
        neighbour_costs,
        tied_string_cost,
        min_run_notes,
        limits,
        a4_hz,
        pitch_basis,
    } = request;
    let mut faults = Vec::new();
    let pitch = Pitch::read(*a4_hz, *pitch_basis, &mut faults);
    let curves = Curves::read(targets.as_ref(), &mut faults);
    let read = |(at, note): (usize, &api::PlainNote)| read_note(note, at, &pitch, &curves, &mut faults);
    let notes_read = notes.iter().enumerate().filter_map(read).collect();
    let terms = PlainTerms {
        notes: notes_read,
        states: notes.iter().map(|note| states(note.targets.as_ref())).collect(),
        below: below.as_ref().map(read_neighbour),
        neighbour_costs: read_costs(neighbour_costs.as_ref()),
        tied_string_cost: *tied_string_cost,
        min_run_notes: small("min_run_notes", min_run_notes.unwrap_or(1), "1 to 20", &mut faults),
        limits: read_limits(limits.as_ref()),
        pitch_basis: pitch.basis,
    };
    (terms, faults)
}

/// A small whole number; 1 in place of what is none.
fn small(field: &str, number: i32, allowed: &str, faults: &mut Vec<Fault>) -> u8 {
    u8::try_from(number).unwrap_or_else(|_| {
        faults.push(Fault::new(field, number, allowed));
        1
    })
}

/// A section of notes whose section cannot be read; it takes part in nothing, since the question is then refused.
const NO_SECTION: &str = "none";

fn read_note(
    message: &api::PlainNote,
    at: usize,
    pitch: &Pitch,
    curves: &Curves,
    faults: &mut Vec<Fault>,
) -> Option<PlainNote> {
    let api::PlainNote {
        note: number,
        section_id,
        string_count,
        hitch,
        speaking_mm,
        pitch_offset_cents,
        fixed_wire_id,
        targets,
    } = message;
    let path = format!("notes[{at}]");
    let mut no_identifier = |field: &str, value: &str| {
        faults.push(Fault::new(format!("{path}.{field}"), shortened(value), IdentifierError::ALLOWED));
    };
    let section = SectionId::new(section_id).or_else(|_| {
        no_identifier("section_id", section_id);
        SectionId::new(NO_SECTION)
    });
    let fixed = match fixed_wire_id.as_str() {
        "" => None,
        id => WireId::new(id).map_err(|_| no_identifier("fixed_wire_id", id)).ok(),
    };
    let hitch = required(&format!("{path}.hitch"), *hitch).unwrap_or_else(|fault| {
        faults.push(fault);
        HitchStyle::Tied
    });
    let note = note(format!("{path}.note"), *number, faults);
    Some(PlainNote {
        note,
        // An identifier that is known to be sound.
        section_id: section.ok()?,
        string_count: small(&format!("{path}.string_count"), *string_count, "1 to 4", faults),
        hitch,
        speaking_mm: *speaking_mm,
        frequency_hz: pitch.hz(&path, note, *pitch_offset_cents, faults),
        fixed_wire_id: fixed,
        targets: curves.at(note, targets.as_ref()),
    })
}

fn read_limits(limits: Option<&api::PlainLimits>) -> PlainLimits {
    let default = PlainLimits::default();
    let Some(&api::PlainLimits { max_load_share, max_tension_n }) = limits else { return default };
    PlainLimits {
        max_load_share: max_load_share.unwrap_or(default.max_load_share),
        max_tension_n: max_tension_n.unwrap_or(default.max_tension_n),
    }
}

impl PlainTerms {
    /// The question of the domain, with the sizes from which is chosen.
    #[must_use]
    pub fn question<'a>(&'a self, sizes: &'a [Wire]) -> PlainQuestion<'a> {
        PlainQuestion {
            notes: &self.notes,
            wires: sizes,
            below: self.below,
            neighbour_costs: self.neighbour_costs,
            tied_string_cost: self.tied_string_cost,
            min_run_notes: self.min_run_notes,
            limits: self.limits,
            pitch_basis: self.pitch_basis,
        }
    }

    /// Faults of the question, with the paths of the request.
    #[must_use]
    pub fn faults(&self, sizes: &[Wire]) -> Vec<Fault> {
        self.paths(checked(self.question(sizes).check()))
    }

    /// Gives faults of the domain the paths of the request.
    #[must_use]
    pub fn paths(&self, faults: Vec<Fault>) -> Vec<Fault> {
        renamed(to_curves(faults, &self.states), &[("wires", "sizes")])
    }

    /// Path of a note of the request.
    #[must_use]
    pub fn note_path(&self, note: i16) -> String {
        let at = self.notes.iter().position(|other| other.note == note);
        at.map_or_else(|| "notes".to_owned(), |at| format!("notes[{at}]"))
    }
}

/// The answer: the design with the sizes from which was chosen.
#[must_use]
pub fn plain_response(
    terms: &PlainTerms,
    sizes: &[Wire],
    design: &PlainDesign,
) -> api::DesignPlainWiresResponse {
    let PlainDesign { notes, terms: objective_terms, tied_at_changes } = design;
    api::DesignPlainWiresResponse {
        notes: notes.iter().zip(&terms.notes).map(|(choice, note)| plain(choice, note, sizes)).collect(),
        objective: Some(objective(objective_terms)),
        tied_at_changes: count(*tied_at_changes),
        sizes: count(u32::try_from(sizes.len()).unwrap_or(u32::MAX)),
    }
}

fn plain(choice: &PlainChoice, asked: &PlainNote, sizes: &[Wire]) -> api::PlainChoice {
    let PlainChoice {
        note,
        wire_id,
        tension_n,
        stress_mpa,
        load_share,
        inharmonicity,
        target_cost,
        pair_cut_below,
    } = choice;
    api::PlainChoice {
        note: (*note).into(),
        wire_id: wire_id.to_string(),
        frequency_hz: asked.frequency_hz,
        tension_n: *tension_n,
        stress_mpa: *stress_mpa,
        load_share: *load_share,
        strength_label: super::strength_label(sizes, wire_id),
        inharmonicity: *inharmonicity,
        target_cost: *target_cost,
        pair_cut_below: *pair_cut_below,
    }
}
