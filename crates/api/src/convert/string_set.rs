//! String sets, outward: a set is computed and never given.

use becket_scale::{
    ComputeOptions, Extreme, FromEye, InharmonicityFit, NotePartials, PartialFigures, Piece, SectionTotal,
    SetTotals, StringFigures, StringSet, Warning, WindingFigures, WireTotal, WoundFigures,
};
use becket_wire::Catalogue;

use super::count;
use super::enums::Known;
use crate::digest::string_set_digest;
use crate::stringing as api;

/// What a set was computed from.
#[derive(Debug, Clone, Copy)]
pub struct SetInputs<'a> {
    /// Serial number; empty for a set that belongs to no serial.
    pub serial_id: &'a str,
    /// The scale, with the measurements of the serial merged in.
    pub scale: &'a becket_scale::Scale,
    /// Numbers of the notes that differ from the released scale.
    pub as_built_notes: &'a [i16],
    /// The catalogue; the set shows those of its wires that the scale names.
    pub catalogue: &'a Catalogue,
    /// Options.
    pub options: &'a ComputeOptions,
    /// Version of the program.
    pub computed_by: &'a str,
}

/// Puts a set together with its inputs and its digest. It is not frozen.
#[must_use]
pub fn string_set(inputs: &SetInputs<'_>, set: &StringSet) -> api::StringSet {
    let SetInputs { serial_id, scale, as_built_notes, catalogue, options, computed_by } = *inputs;
    let StringSet { strings, pieces, wire_totals, section_totals, totals, warnings } = set;
    let wires = scale.wire_ids().iter().filter_map(|wire_id| catalogue.get(wire_id.as_str()));
    let basis = api::SetBasis {
        options: Some(options.into()),
        scale: Some(scale.into()),
        wires: wires.map(api::Wire::from).collect(),
        as_built_notes: as_built_notes.iter().map(|&note| note.into()).collect(),
        computed_by: computed_by.to_owned(),
    };
    let mut set = api::StringSet {
        serial_id: serial_id.to_owned(),
        model_id: scale.model_id().to_string(),
        revision_id: scale.revision_id().to_string(),
        basis: Some(basis),
        strings: strings.iter().map(string).collect(),
        pieces: pieces.iter().map(piece).collect(),
        wire_totals: wire_totals.iter().map(wire_total).collect(),
        section_totals: section_totals.iter().map(section_total).collect(),
        totals: Some(set_totals(totals)),
        warnings: warnings.iter().map(warning).collect(),
        digest: String::new(),
        frozen: false,
        freeze_time: None,
    };
    set.digest = string_set_digest(&set);
    set
}

pub(super) fn string(figures: &StringFigures) -> api::StringFigures {
    let StringFigures {
        string_id,
        section_id,
        wire_id,
        piece_id,
        frequency_hz,
        speaking_mm,
        linear_density_g_m,
        tension_n,
        stress_mpa,
        breaking_load_n,
        load_share,
        strength_label,
        inharmonicity,
        stretch_mm,
        cut_mm,
        windings,
        wound,
        clearance_mm,
        partials,
    } = figures;
    api::StringFigures {
        string_id: string_id.to_string(),
        note: string_id.note().into(),
        string_number: string_id.number().into(),
        section_id: section_id.to_string(),
        wire_id: wire_id.to_string(),
        piece_id: piece_id.to_string(),
        frequency_hz: *frequency_hz,
        speaking_mm: *speaking_mm,
        linear_density_g_m: *linear_density_g_m,
        tension_n: *tension_n,
        stress_mpa: *stress_mpa,
        breaking_load_n: *breaking_load_n,
        load_share: *load_share,
        strength_label: strength_label.to_string(),
        inharmonicity: *inharmonicity,
        stretch_mm: *stretch_mm,
        cut_mm: *cut_mm,
        windings: windings.iter().map(winding).collect(),
        wound: wound.map(|WoundFigures { outer_diameter_mm, greatest_width_mm, overall_relaxed_mm }| {
            api::WoundFigures { outer_diameter_mm, greatest_width_mm, overall_relaxed_mm }
        }),
        clearance_mm: *clearance_mm,
        partials: partials.as_deref().map(partial_figures),
    }
}

fn partial_figures(figures: &PartialFigures) -> api::PartialFigures {
    let PartialFigures { stiffness_free_hz, partial_hz, cents, fit } = figures;
    let InharmonicityFit {
        stiffness_free_hz: fitted_hz,
        inharmonicity,
        residual_rms_cents,
        residual_max_cents,
    } = *fit;
    api::PartialFigures {
        stiffness_free_hz: *stiffness_free_hz,
        partial_hz: partial_hz.clone(),
        cents: cents.clone(),
        fitted_stiffness_free_hz: fitted_hz,
        fitted_inharmonicity: inharmonicity,
        fit_residual_cents: residual_rms_cents,
        fit_residual_max_cents: residual_max_cents,
    }
}

/// The partials of a note.
#[must_use]
pub fn note_partials(partials: &NotePartials) -> api::NotePartials {
    let NotePartials { note, wire_id, frequency_hz, speaking_mm, linear_density_g_m, tension_n, partials } =
        partials;
    api::NotePartials {
        note: (*note).into(),
        wire_id: wire_id.to_string(),
        frequency_hz: *frequency_hz,
        speaking_mm: *speaking_mm,
        linear_density_g_m: *linear_density_g_m,
        tension_n: *tension_n,
        partials: Some(partial_figures(partials)),
    }
}

pub(super) fn winding(figures: &WindingFigures) -> api::WindingFigures {
    let WindingFigures {
        wire_id,
        covered_mm,
        wire_length_mm,
        wire_mass_g,
        outer_diameter_mm,
        at_pitch,
        relaxed,
    } = figures;
    let place = |&FromEye { start_mm, end_mm }: &FromEye| api::WindingPlace {
        start_from_eye_mm: start_mm,
        end_from_eye_mm: end_mm,
    };
    api::WindingFigures {
        wire_id: wire_id.to_string(),
        covered_mm: *covered_mm,
        wire_length_mm: *wire_length_mm,
        wire_mass_g: *wire_mass_g,
        outer_diameter_mm: *outer_diameter_mm,
        at_pitch: Some(place(at_pitch)),
        relaxed: Some(place(relaxed)),
    }
}

fn piece(piece: &Piece) -> api::Piece {
    let Piece { piece_id, kind, wire_id, section_id, length, mass_g } = piece;
    api::Piece {
        piece_id: piece_id.to_string(),
        kind: kind.number(),
        wire_id: wire_id.to_string(),
        string_ids: piece_id.strings().map(|string| string.to_string()).collect(),
        section_id: section_id.to_string(),
        length_um: length.get(),
        mass_g: *mass_g,
    }
}

fn wire_total(total: &WireTotal) -> api::WireTotal {
    let WireTotal { wire_id, pieces, length_mm, mass_g } = total;
    api::WireTotal {
        wire_id: wire_id.to_string(),
        pieces: count(*pieces),
        length_mm: *length_mm,
        mass_g: *mass_g,
    }
}

fn section_total(total: &SectionTotal) -> api::SectionTotal {
    let SectionTotal { section_id, strings, pieces, tied_singles, tension_n } = total;
    api::SectionTotal {
        section_id: section_id.to_string(),
        strings: count(*strings),
        pieces: count(*pieces),
        tied_singles: count(*tied_singles),
        tension_n: *tension_n,
    }
}

fn set_totals(totals: &SetTotals) -> api::SetTotals {
    let SetTotals {
        strings,
        pieces,
        looped_pairs,
        tied_singles,
        wound_strings,
        tension_n,
        lowest_tension,
        highest_tension,
        lowest_load_share,
        highest_load_share,
    } = totals;
    let extreme = |found: &Option<Extreme>| {
        found.map(|Extreme { string_id, value }| api::Extreme { string_id: string_id.to_string(), value })
    };
    api::SetTotals {
        strings: count(*strings),
        pieces: count(*pieces),
        looped_pairs: count(*looped_pairs),
        tied_singles: count(*tied_singles),
        wound_strings: count(*wound_strings),
        tension_n: *tension_n,
        lowest_tension: extreme(lowest_tension),
        highest_tension: extreme(highest_tension),
        lowest_load_share: extreme(lowest_load_share),
        highest_load_share: extreme(highest_load_share),
    }
}

fn warning(warning: &Warning) -> api::Warning {
    let Warning { code, severity, note, string_ids, figure, limit, message, advice } = warning;
    api::Warning {
        code: code.number(),
        severity: severity.number(),
        note: note.map(Into::into),
        string_ids: string_ids.iter().map(ToString::to_string).collect(),
        figure: *figure,
        limit: *limit,
        message: message.clone(),
        advice: advice.clone(),
    }
}
