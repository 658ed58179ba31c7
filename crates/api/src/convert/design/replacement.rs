//! An old string as measured, and what can stand in for it.

use becket_acoustics::CrossSection;
use becket_design::{
    MeasuredLayer, MeasuredString, OldFigures, Replacement, ReplacementOptions, Replacements,
    check_replacement,
};
use becket_units::Fault;
use becket_wire::Wire;

use super::bass::long;
use super::pitch::{Pitch, note, read_models, string_models};
use super::{checked, renamed};
use crate::convert::required;
use crate::stringing as api;

/// Density of copper in kg/m³, where a layer states none.
const COPPER_KG_M3: f64 = 8930.0;
/// Density of steel in kg/m³, where a core states none. Source: EN 10270-1.
const STEEL_KG_M3: f64 = 7850.0;
/// Young's modulus of steel in GPa, where a core states none. Source: EN 10270-1.
const STEEL_GPA: f64 = 206.0;

/// What a request says of an old string and of what is looked for.
#[derive(Debug, Clone)]
pub struct ReplacementTerms {
    /// The old string.
    pub old: MeasuredString,
    /// How replacements are ranked.
    pub options: ReplacementOptions,
}

/// Reads a request; its faults come beside the terms.
#[must_use]
pub fn read_replacement(request: &api::MatchReplacementRequest) -> (ReplacementTerms, Vec<Fault>) {
    let api::MatchReplacementRequest {
        string,
        cores: _,
        windings: _,
        wires: _,
        a4_hz,
        candidate_count,
        max_load_share,
        density_weight,
        inharmonicity_weight,
        pitch_basis,
        string_model,
        winding_model,
        partial_count,
    } = request;
    let mut faults = Vec::new();
    let pitch = Pitch::read(*a4_hz, *pitch_basis, &mut faults);
    let models = read_models(pitch.basis, *string_model, *winding_model, *partial_count, &mut faults);
    let default = ReplacementOptions::default();
    let count = candidate_count.map_or(Ok(default.count), usize::try_from);
    let options = ReplacementOptions {
        count: count.unwrap_or_else(|_| {
            let value = candidate_count.unwrap_or_default();
            faults.push(Fault::new("candidate_count", value, "1 to 1000"));
            default.count
        }),
        max_load_share: max_load_share.unwrap_or(default.max_load_share),
        density_weight: density_weight.unwrap_or(default.density_weight),
        inharmonicity_weight: inharmonicity_weight.unwrap_or(default.inharmonicity_weight),
        models,
    };
    let stated = string.as_ref().map(|string| read_string(string, &pitch, &mut faults));
    let old = stated.unwrap_or_else(|| {
        faults.push(Fault::new("string", "absent", "it must be stated"));
        harmless()
    });
    (ReplacementTerms { old, options }, faults)
}

/// A string in place of one that is not stated, so that the rest of the request can be looked at.
fn harmless() -> MeasuredString {
    MeasuredString {
        note: 49,
        speaking_mm: 400.0,
        frequency_hz: 440.0,
        core_section: CrossSection::Round,
        core_diameter_mm: 1.0,
        core_density_kg_m3: STEEL_KG_M3,
        core_youngs_modulus_gpa: STEEL_GPA,
        layers: Vec::new(),
    }
}

fn read_string(string: &api::MeasuredString, pitch: &Pitch, faults: &mut Vec<Fault>) -> MeasuredString {
    let api::MeasuredString {
        note: number,
        speaking_mm,
        pitch_offset_cents,
        core_shape,
        core_diameter_mm,
        core_density_kg_m3,
        core_youngs_modulus_gpa,
        layers,
    } = string;
    let note = note("string.note".to_owned(), *number, faults);
    let layer = |&api::MeasuredLayer { over_diameter_mm, start_mm, end_mm, density_kg_m3 }: &_| {
        let density_kg_m3 = density_kg_m3.unwrap_or(COPPER_KG_M3);
        MeasuredLayer { over_diameter_mm, start_mm, end_mm, density_kg_m3 }
    };
    MeasuredString {
        note,
        speaking_mm: *speaking_mm,
        frequency_hz: pitch.hz("string", note, *pitch_offset_cents, faults),
        core_section: required("string.core_shape", *core_shape).unwrap_or_else(|fault| {
            faults.push(fault);
            CrossSection::Round
        }),
        core_diameter_mm: *core_diameter_mm,
        core_density_kg_m3: core_density_kg_m3.unwrap_or(STEEL_KG_M3),
        core_youngs_modulus_gpa: core_youngs_modulus_gpa.unwrap_or(STEEL_GPA),
        layers: layers.iter().map(layer).collect(),
    }
}

impl ReplacementTerms {
    /// Faults of the question, with the paths of the request.
    #[must_use]
    pub fn faults(&self, cores: &[Wire], windings: &[Wire]) -> Vec<Fault> {
        self.paths(checked(check_replacement(&self.old, cores, windings, &self.options)))
    }

    /// Gives faults of the domain the paths of the request.
    #[must_use]
    pub fn paths(&self, faults: Vec<Fault>) -> Vec<Fault> {
        let rules = [
            ("cores", "cores"),
            ("windings", "windings"),
            ("options.count", "candidate_count"),
            ("options.max_load_share", "max_load_share"),
            ("options.density_weight", "density_weight"),
            ("options.inharmonicity_weight", "inharmonicity_weight"),
            ("options", "density_weight"),
            ("layers", "string.layers"),
            ("speaking_mm", "string.speaking_mm"),
            ("core_diameter_mm", "string.core_diameter_mm"),
            ("core_density_kg_m3", "string.core_density_kg_m3"),
            ("core_youngs_modulus_gpa", "string.core_youngs_modulus_gpa"),
        ];
        renamed(faults, &rules)
    }
}

/// The answer: the replacements with the cores from which was chosen.
#[must_use]
pub fn replacement_response(
    terms: &ReplacementTerms,
    cores: &[Wire],
    found: &Replacements,
) -> api::MatchReplacementResponse {
    let Replacements { old, candidates, within_limits, exact } = found;
    let OldFigures { linear_density_g_m, tension_n, inharmonicity } = *old;
    let frequency_hz = terms.old.frequency_hz;
    api::MatchReplacementResponse {
        old: Some(api::OldStringFigures { frequency_hz, linear_density_g_m, tension_n, inharmonicity }),
        candidates: candidates.iter().map(|candidate| replacement(candidate, cores)).collect(),
        models: Some(string_models(&terms.options.models)),
        combinations_within_limits: long(*within_limits),
        combinations_exact: long(*exact),
    }
}

fn replacement(candidate: &Replacement, cores: &[Wire]) -> api::Replacement {
    let Replacement {
        core_id,
        winding_ids,
        linear_density_g_m,
        tension_n,
        load_share,
        inharmonicity,
        outer_diameter_mm,
        density_deviation,
        tension_deviation,
        pitch_deviation_cents,
        inharmonicity_deviation,
        score,
    } = candidate;
    api::Replacement {
        core_wire_id: core_id.to_string(),
        winding_wire_ids: winding_ids.iter().map(ToString::to_string).collect(),
        linear_density_g_m: *linear_density_g_m,
        tension_n: *tension_n,
        load_share: *load_share,
        strength_label: super::strength_label(cores, core_id),
        inharmonicity: *inharmonicity,
        outer_diameter_mm: *outer_diameter_mm,
        density_deviation: *density_deviation,
        tension_deviation: *tension_deviation,
        pitch_deviation_cents: *pitch_deviation_cents,
        inharmonicity_deviation: *inharmonicity_deviation,
        score: *score,
    }
}
