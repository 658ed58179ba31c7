//! The figures of one note's strings. Strings of a note are alike, so they are computed once.

use becket_acoustics::{
    CoveredSpan, DomainError, WindingModel, effective_density_g_m, equal_tempered_hz, hitch_leg_mm,
    inharmonicity, layer_density_g_m, load_share, outer_diameter_mm, pin_take_up_mm, relaxed_length_mm,
    stress_mpa, tension_first_partial_n, tension_stiffness_free_n, winding_wire_length_mm,
};
use becket_wire::Wire;

use crate::model::{Note, Winding};
use crate::options::{ComputeOptions, PitchBasis};
use crate::set::WindingFigures;

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
        let (linear_density_g_m, windings) = wound(note, wire, wires)?;
        let (modulus_gpa, second_moment_mm4) = (wire.youngs_modulus_gpa(), wire.second_moment_mm4());
        let tension_n = match options.pitch_basis() {
            PitchBasis::StiffnessFree => {
                tension_stiffness_free_n(note.speaking_mm, linear_density_g_m, frequency_hz)
            }
            PitchBasis::FirstPartial => tension_first_partial_n(
                note.speaking_mm,
                linear_density_g_m,
                frequency_hz,
                modulus_gpa,
                second_moment_mm4,
            ),
        }?;
        let straight_mm = note.front_mm + note.speaking_mm + note.back_mm;
        let relaxed_mm = relaxed_length_mm(straight_mm, tension_n, modulus_gpa, wire.area_mm2())?;
        let allow = note.effective_allowances();
        let diameter_mm = wire.diameter_mm();
        let pin_mm = pin_take_up_mm(allow.turns, allow.tuning_pin_diameter_mm, diameter_mm, allow.becket_mm)?;
        let leg_mm = hitch_leg_mm(allow.hitch_pin_diameter_mm, diameter_mm)?;
        let without_hitch_mm = pin_mm + relaxed_mm + allow.working_mm;
        let breaking_load_n = wire.breaking_load_n();
        Ok(Self {
            frequency_hz,
            linear_density_g_m,
            tension_n,
            stress_mpa: stress_mpa(tension_n, wire.area_mm2())?,
            breaking_load_n,
            load_share: breaking_load_n.map(|breaking_n| load_share(tension_n, breaking_n)).transpose()?,
            inharmonicity: inharmonicity(note.speaking_mm, tension_n, modulus_gpa, second_moment_mm4)?,
            stretch_mm: straight_mm - relaxed_mm,
            looped_cut_mm: without_hitch_mm + leg_mm,
            tied_cut_mm: without_hitch_mm + allow.eye_mm,
            windings,
        })
    }
}

/// Density as it acts on the first partial, and the layers.
///
/// The density takes the layers as tubes, which is the trade's formula and, for turns that touch, the mass of the wire
/// between two cross sections. The length of winding wire takes one wire diameter of rise for each turn, which is at
/// most 2 % more: what is bought and fed is on the safe side.
fn wound(note: &Note, core: &Wire, wires: &[&Wire]) -> Result<(f64, Vec<WindingFigures>), DomainError> {
    let core_g_m = core.linear_density_g_m();
    if note.windings.is_empty() {
        return Ok((core_g_m, Vec::new()));
    }
    let mut under_mm = core.material().cross_section().girth_diameter_mm(core.diameter_mm())?;
    let mut figures = Vec::with_capacity(note.windings.len());
    let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: note.speaking_mm }; 2];
    for (winding, span) in note.windings.iter().zip(&mut spans) {
        let wire = wires[winding.wire.at()];
        *span = covered_span(note, winding, under_mm, wire)?;
        let covered_mm = span.end_mm - span.start_mm;
        let wire_length_mm = winding_wire_length_mm(under_mm, wire.diameter_mm(), covered_mm)?;
        under_mm = outer_diameter_mm(under_mm, wire.diameter_mm())?;
        figures.push(WindingFigures {
            wire_id: winding.wire_id.clone(),
            covered_mm,
            wire_length_mm,
            wire_mass_g: wire.mass_g(wire_length_mm),
            outer_diameter_mm: under_mm,
        });
    }
    // The second span of a single layer weighs nothing.
    Ok((effective_density_g_m(note.speaking_mm, core_g_m, &spans)?, figures))
}

fn covered_span(
    note: &Note,
    winding: &Winding,
    under_mm: f64,
    wire: &Wire,
) -> Result<CoveredSpan, DomainError> {
    let density_g_m =
        layer_density_g_m(WindingModel::Tube, under_mm, wire.diameter_mm(), wire.density_kg_m3())?;
    Ok(CoveredSpan {
        density_g_m,
        start_mm: winding.bare_front_mm,
        end_mm: note.speaking_mm - winding.bare_back_mm,
    })
}
