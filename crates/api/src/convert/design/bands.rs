//! Tolerances, and the bands that they make.

use becket_design::{
    Contribution, LayerFigures, Propagated, ToleranceReport, TolerancedFigures, Tolerances,
    WoundStringFigures,
};
use becket_scale::Note;
use becket_units::Fault;
use becket_wire::Catalogue;

use super::{checked, renamed};
use crate::convert::enums::Known;
use crate::stringing as api;

/// Reads tolerances, as they are for wound strings; their faults come beside them.
#[must_use]
pub fn read_bands(tolerances: Option<&api::Tolerances>) -> (Tolerances, Vec<Fault>) {
    let Some(tolerances) = tolerances else {
        let fault = Fault::new("tolerances", "absent", "one tolerance above 0 at least");
        return (Tolerances::default(), vec![fault]);
    };
    let api::Tolerances {
        core_diameter_mm,
        winding_diameter_mm,
        speaking_mm,
        pitch_cents,
        youngs_modulus_share,
        core_density_share,
        winding_density_share,
    } = *tolerances;
    let read = Tolerances {
        core_diameter_mm: core_diameter_mm.unwrap_or(0.0),
        winding_diameter_mm: winding_diameter_mm.unwrap_or(0.0),
        speaking_mm: speaking_mm.unwrap_or(0.0),
        pitch_cents: pitch_cents.unwrap_or(0.0),
        youngs_modulus: youngs_modulus_share.unwrap_or(0.0),
        core_density: core_density_share.unwrap_or(0.0),
        winding_density: winding_density_share.unwrap_or(0.0),
    };
    let rules = [
        ("tolerances.youngs_modulus", "tolerances.youngs_modulus_share"),
        ("tolerances.core_density", "tolerances.core_density_share"),
        ("tolerances.winding_density", "tolerances.winding_density_share"),
    ];
    let mut faults = renamed(checked(read.check(true)), &rules);
    if read == Tolerances::default() {
        faults.push(Fault::new("tolerances", "all 0", "one tolerance above 0 at least"));
    }
    (read, faults)
}

/// The bands of the strings of a note.
#[must_use]
pub fn string_bands(note: &Note, catalogue: &Catalogue, report: &ToleranceReport) -> api::StringBands {
    let TolerancedFigures {
        tension_n,
        stress_mpa,
        load_share,
        inharmonicity,
        linear_density_g_m,
        stretch_mm,
        cut_mm,
        wound,
        clearance_mm,
    } = report;
    let wire = catalogue.get(note.wire_id.as_str());
    api::StringBands {
        note: note.note.into(),
        wire_id: note.wire_id.to_string(),
        winding_wire_ids: note.windings.iter().map(|layer| layer.wire_id.to_string()).collect(),
        tension_n: Some(band(tension_n)),
        stress_mpa: Some(band(stress_mpa)),
        load_share: load_share.as_ref().map(band),
        strength_label: wire.map_or_else(String::new, super::label),
        inharmonicity: Some(band(inharmonicity)),
        cut_mm: Some(band(cut_mm)),
        linear_density_g_m: Some(band(linear_density_g_m)),
        stretch_mm: Some(band(stretch_mm)),
        wound: wound.as_ref().map(wound_bands),
        clearance_mm: clearance_mm.as_ref().map(band),
    }
}

fn wound_bands(figures: &WoundStringFigures<Propagated>) -> api::WoundBands {
    let WoundStringFigures { outer_diameter_mm, overall_relaxed_mm, layers } = figures;
    let layer = |figures: &LayerFigures<Propagated>| {
        let LayerFigures { start_relaxed_mm, end_relaxed_mm, wire_length_mm, wire_mass_g } = figures;
        api::LayerBands {
            start_relaxed_mm: Some(band(start_relaxed_mm)),
            end_relaxed_mm: Some(band(end_relaxed_mm)),
            wire_length_mm: Some(band(wire_length_mm)),
            wire_mass_g: Some(band(wire_mass_g)),
        }
    };
    api::WoundBands {
        outer_diameter_mm: Some(band(outer_diameter_mm)),
        overall_relaxed_mm: Some(band(overall_relaxed_mm)),
        layers: layers.iter().map(layer).collect(),
    }
}

fn band(figure: &Propagated) -> api::Band {
    let Propagated { nominal, root_sum_square, worst_case, contributions } = figure;
    let part =
        |&Contribution { source, change }: &Contribution| api::BandPart { source: source.number(), change };
    api::Band {
        nominal: *nominal,
        root_sum_square: *root_sum_square,
        worst_case: *worst_case,
        parts: contributions.iter().map(part).collect(),
    }
}
