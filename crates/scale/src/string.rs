//! The figures of one note's strings. Strings of a note are alike, so they are computed once.

use std::sync::Arc;

use becket_acoustics::{
    DomainError, equal_tempered_hz, hitch_leg_mm, load_share, pin_take_up_mm, relaxed_length_mm, stress_mpa,
};
use becket_wire::Wire;

use crate::model::Note;
use crate::options::ComputeOptions;
use crate::set::{PartialFigures, WindingFigures, WoundFigures};
use crate::windings::Layers;

/// What all strings of a note have in common.
pub(crate) struct NoteFigures {
    pub(crate) frequency_hz: f64,
    pub(crate) linear_density_g_m: f64,
    pub(crate) tension_n: f64,
    pub(crate) stress_mpa: f64,
    pub(crate) breaking_load_n: Option<f64>,
    pub(crate) load_share: Option<f64>,
    pub(crate) inharmonicity: f64,
    pub(crate) stretch_mm: f64,
    pub(crate) looped_cut_mm: f64,
    pub(crate) tied_cut_mm: f64,
    pub(crate) windings: Vec<WindingFigures>,
    pub(crate) wound: Option<WoundFigures>,
    pub(crate) clearance_mm: Option<f64>,
    pub(crate) partials: Option<Arc<PartialFigures>>,
}

impl NoteFigures {
    /// Computes a note. `wires` are those of the scale, by index.
    ///
    /// # Formula
    /// ```text
    /// looped   pin + straight/(1 + T/(E·A)) + π·(d_hitch + d)/4 + working
    /// tied     pin + straight/(1 + T/(E·A)) + eye + working
    /// straight = front + speaking + back, along the wire and at pitch
    /// ```
    ///
    /// The tension of the whole straight part is taken to be that of the speaking length: friction at bridge and bar
    /// is left out.
    pub(crate) fn of(note: &Note, wires: &[&Wire], options: &ComputeOptions) -> Result<Self, DomainError> {
        let wire = wires[note.wire.at()];
        let frequency_hz = equal_tempered_hz(note.note.into(), options.a4_hz(), note.pitch_offset_cents)?;
        let layers = Layers { note, core: wire, wires };
        let models = options.models();
        let body = layers.body(models.winding_model)?;
        let at_pitch = body.at(frequency_hz, &models, options.include_partials())?;
        let tension_n = at_pitch.tension_n;
        let straight_mm = note.front_mm + note.speaking_mm + note.back_mm;
        let relaxed_mm =
            relaxed_length_mm(straight_mm, tension_n, wire.youngs_modulus_gpa(), wire.area_mm2())?;
        let allow = note.effective_allowances();
        let diameter_mm = wire.diameter_mm();
        let pin_mm = pin_take_up_mm(allow.turns, allow.tuning_pin_diameter_mm, diameter_mm, allow.becket_mm)?;
        let leg_mm = hitch_leg_mm(allow.hitch_pin_diameter_mm, diameter_mm)?;
        let without_hitch_mm = pin_mm + relaxed_mm + allow.working_mm;
        let breaking_load_n = wire.breaking_load_n();
        let (outer_diameter_mm, greatest_width_mm) = layers.widths_mm()?;
        Ok(Self {
            frequency_hz,
            linear_density_g_m: at_pitch.linear_density_g_m,
            tension_n,
            stress_mpa: stress_mpa(tension_n, wire.area_mm2())?,
            breaking_load_n,
            load_share: breaking_load_n.map(|breaking_n| load_share(tension_n, breaking_n)).transpose()?,
            inharmonicity: at_pitch.inharmonicity,
            stretch_mm: straight_mm - relaxed_mm,
            looped_cut_mm: without_hitch_mm + leg_mm,
            tied_cut_mm: without_hitch_mm + allow.eye_mm,
            windings: layers.figures(relaxed_mm / straight_mm)?,
            wound: note.is_wound().then_some(WoundFigures {
                outer_diameter_mm,
                greatest_width_mm,
                overall_relaxed_mm: without_hitch_mm,
            }),
            clearance_mm: note
                .string_spacing_mm
                .filter(|_| note.string_count > 1)
                .map(|spacing_mm| spacing_mm - greatest_width_mm),
            partials: at_pitch.partials,
        })
    }
}
