//! A bass as asked for and as designed.

use becket_design::{
    BareEnds, BassDesign, BassLimits, BassQuestion, Neighbour, NeighbourCosts, Search, WoundChoice, WoundNote,
};
use becket_scale::Models;
use becket_units::Fault;
use becket_wire::Wire;

use super::objective::{objective, read_costs, read_neighbour};
use super::pitch::{Pitch, note, read_models, string_models};
use super::targets::{Curves, states, to_curves};
use super::{checked, renamed};
use crate::convert::count;
use crate::stringing as api;

/// What a request wants of a bass, without the wires.
#[derive(Debug, Clone)]
pub struct BassTerms {
    notes: Vec<WoundNote>,
    /// For each note, which targets it states itself.
    states: Vec<[bool; 3]>,
    above: Option<Neighbour>,
    neighbour_costs: NeighbourCosts,
    second_layer_cost: f64,
    limits: BassLimits,
    models: Models,
}

/// Reads a request; its faults come beside the terms.
#[must_use]
pub fn read_bass(request: &api::DesignBassRequest) -> (BassTerms, Vec<Fault>) {
    let api::DesignBassRequest {
        notes,
        targets,
        cores: _,
        windings: _,
        wires: _,
        above,
        neighbour_costs,
        second_layer_cost,
        limits,
        a4_hz,
        pitch_basis,
        string_model,
        winding_model,
        partial_count,
    } = request;
    let mut faults = Vec::new();
    let pitch = Pitch::read(*a4_hz, *pitch_basis, &mut faults);
    let models = read_models(pitch.basis, *string_model, *winding_model, *partial_count, &mut faults);
    let curves = Curves::read(targets.as_ref(), &mut faults);
    let read = |(at, note): (usize, &api::BassNote)| read_note(note, at, &pitch, &curves, &mut faults);
    let terms = BassTerms {
        notes: notes.iter().enumerate().map(read).collect(),
        states: notes.iter().map(|note| states(note.targets.as_ref())).collect(),
        above: above.as_ref().map(read_neighbour),
        neighbour_costs: read_costs(neighbour_costs.as_ref()),
        second_layer_cost: second_layer_cost.unwrap_or(0.0),
        limits: read_limits(limits.as_ref()),
        models,
    };
    (terms, faults)
}

fn read_note(
    message: &api::BassNote,
    at: usize,
    pitch: &Pitch,
    curves: &Curves,
    faults: &mut Vec<Fault>,
) -> WoundNote {
    let api::BassNote { note: number, speaking_mm, pitch_offset_cents, bare_ends, outer_bare_ends, targets } =
        message;
    let path = format!("notes[{at}]");
    let note = note(format!("{path}.note"), *number, faults);
    let ends = |&api::BareEnds { front_mm, back_mm }: &api::BareEnds| BareEnds { front_mm, back_mm };
    if bare_ends.is_none() {
        faults.push(Fault::new(format!("{path}.bare_ends"), "absent", "it must be stated"));
    }
    WoundNote {
        note,
        speaking_mm: *speaking_mm,
        frequency_hz: pitch.hz(&path, note, *pitch_offset_cents, faults),
        bare_ends: bare_ends.as_ref().map_or(BareEnds { front_mm: 0.0, back_mm: 0.0 }, ends),
        outer_bare_ends: outer_bare_ends.as_ref().map(ends),
        targets: curves.at(note, targets.as_ref()),
    }
}

fn read_limits(limits: Option<&api::BassLimits>) -> BassLimits {
    let default = BassLimits::default();
    let Some(limits) = limits else { return default };
    let api::BassLimits {
        min_load_share,
        max_load_share,
        max_tension_n,
        min_winding_mm,
        max_winding_mm,
        min_inner_ratio,
        max_inner_ratio,
    } = *limits;
    BassLimits {
        min_load_share: min_load_share.unwrap_or(default.min_load_share),
        max_load_share: max_load_share.unwrap_or(default.max_load_share),
        max_tension_n: max_tension_n.unwrap_or(default.max_tension_n),
        min_winding_mm: min_winding_mm.unwrap_or(default.min_winding_mm),
        max_winding_mm: max_winding_mm.unwrap_or(default.max_winding_mm),
        min_inner_ratio: min_inner_ratio.unwrap_or(default.min_inner_ratio),
        max_inner_ratio: max_inner_ratio.unwrap_or(default.max_inner_ratio),
    }
}

impl BassTerms {
    /// The question of the domain, with the wires from which is chosen.
    #[must_use]
    pub fn question<'a>(&'a self, cores: &'a [Wire], windings: &'a [Wire]) -> BassQuestion<'a> {
        BassQuestion {
            notes: &self.notes,
            cores,
            windings,
            above: self.above,
            neighbour_costs: self.neighbour_costs,
            second_layer_cost: self.second_layer_cost,
            limits: self.limits,
            models: self.models,
        }
    }

    /// Faults of the question, with the paths of the request.
    #[must_use]
    pub fn faults(&self, cores: &[Wire], windings: &[Wire]) -> Vec<Fault> {
        self.paths(checked(self.question(cores, windings).check()))
    }

    /// Gives faults of the domain the paths of the request.
    #[must_use]
    pub fn paths(&self, faults: Vec<Fault>) -> Vec<Fault> {
        renamed(to_curves(faults, &self.states), &[("models", "")])
    }

    /// Path of a note of the request.
    #[must_use]
    pub fn note_path(&self, note: i16) -> String {
        let at = self.notes.iter().position(|other| other.note == note);
        at.map_or_else(|| "notes".to_owned(), |at| format!("notes[{at}]"))
    }
}

/// The answer: the design with the wires from which was chosen.
#[must_use]
pub fn bass_response(
    terms: &BassTerms,
    cores: &[Wire],
    windings: &[Wire],
    design: &BassDesign,
) -> api::DesignBassResponse {
    let BassDesign { notes, terms: objective_terms, search } = design;
    let Search { combinations, within_limits, kept, gap, objective: searched, inharmonicity_error } = *search;
    api::DesignBassResponse {
        notes: notes.iter().zip(&terms.notes).map(|(choice, note)| wound(choice, note, cores)).collect(),
        objective: Some(objective(objective_terms)),
        cores: count(u32::try_from(cores.len()).unwrap_or(u32::MAX)),
        windings: count(u32::try_from(windings.len()).unwrap_or(u32::MAX)),
        combinations: long(combinations),
        combinations_within_limits: long(within_limits),
        combinations_kept: long(kept),
        objective_gap: gap,
        searched_objective: searched,
        inharmonicity_error_share: inharmonicity_error,
        models: Some(string_models(&terms.models)),
    }
}

pub(super) fn long(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

fn wound(choice: &WoundChoice, asked: &WoundNote, cores: &[Wire]) -> api::WoundChoice {
    let WoundChoice {
        note,
        core_id,
        winding_ids,
        linear_density_g_m,
        tension_n,
        stress_mpa,
        load_share,
        inharmonicity,
        outer_diameter_mm,
        target_cost,
    } = choice;
    let ends = [Some(asked.bare_ends), asked.outer_bare_ends].into_iter().flatten();
    let layers = winding_ids.iter().zip(ends).map(|(wire_id, ends)| api::Winding {
        wire_id: wire_id.to_string(),
        bare_front_mm: ends.front_mm,
        bare_back_mm: ends.back_mm,
    });
    api::WoundChoice {
        note: (*note).into(),
        core_wire_id: core_id.to_string(),
        windings: layers.collect(),
        frequency_hz: asked.frequency_hz,
        linear_density_g_m: *linear_density_g_m,
        tension_n: *tension_n,
        stress_mpa: *stress_mpa,
        load_share: *load_share,
        strength_label: super::strength_label(cores, core_id),
        inharmonicity: *inharmonicity,
        outer_diameter_mm: *outer_diameter_mm,
        target_cost: *target_cost,
    }
}
