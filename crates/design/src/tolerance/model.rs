//! The string whose tolerances are propagated: inputs and figures.

use becket_acoustics::{
    CoveredSpan, CrossSection, DomainError, equal_tempered_hz, hitch_leg_mm, layer_density_g_m,
    outer_diameter_mm, pin_take_up_mm, raised_hz, relaxed_length_mm, stress_mpa, winding_wire_length_mm,
};
use becket_scale::{ComputeOptions, HitchStyle, Models, Note, ResolvedAllowances, StringBody, Winding};
use becket_wire::{Catalogue, Wire, WireId};

use crate::bass::BareEnds;
use crate::check::{FREQUENCY_HZ, Faults, SPEAKING_MM};
use crate::error::DesignError;
use crate::tolerance::{LayerFigures, Source, TolerancedFigures, WoundStringFigures};

/// One layer of winding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TolerancedWinding {
    /// Diameter of the winding wire in mm, 0.05 to 6.
    pub wire_diameter_mm: f64,
    /// Density of the winding wire in kg/m³, 1000 to 25000.
    pub density_kg_m3: f64,
    /// Core left bare at the ends.
    pub bare_ends: BareEnds,
}

/// What decides the length of the piece beside the speaking length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// Length from the tuning pin to the speaking length in mm, 0 to 1000.
    pub front_mm: f64,
    /// Length from the speaking length to the hitch pin in mm, 0 to 1500.
    pub back_mm: f64,
    /// How the string is fixed.
    pub hitch: HitchStyle,
    /// Pins, turns and other allowances.
    pub allowances: ResolvedAllowances,
}

/// A plain or wound string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TolerancedString {
    /// Number of the note, for reports.
    pub note: i16,
    /// Speaking length in mm, 20 to 3000.
    pub speaking_mm: f64,
    /// Frequency in Hz, 5 to 10000.
    pub frequency_hz: f64,
    /// Which frequency that is, and what the string is taken to be: every band is that of these models.
    pub models: Models,
    /// Shape of wire or core.
    pub core_section: CrossSection,
    /// Diameter of wire or core in mm, of a hexagonal one the width across flats; 0.05 to 6.
    pub core_diameter_mm: f64,
    /// Density of wire or core in kg/m³, 1000 to 25000.
    pub core_density_kg_m3: f64,
    /// Young's modulus of wire or core in GPa, 10 to 500.
    pub youngs_modulus_gpa: f64,
    /// Tensile strength of wire or core in MPa, 10 to 10000, if known.
    pub tensile_mpa: Option<f64>,
    /// The only layer of winding, or the inner one of two; `None` for a plain string.
    pub winding: Option<TolerancedWinding>,
    /// The outer layer of two.
    pub outer_winding: Option<TolerancedWinding>,
    /// Distance of neighbouring strings of the note in mm, centre to centre, 0.1 to 100; `None` where none is known or
    /// the note has one string.
    pub string_spacing_mm: Option<f64>,
    /// Ends.
    pub ends: Ends,
}

impl TolerancedString {
    /// Takes the strings of a note of a scale, with the tensile strength that the wire's basis states.
    ///
    /// # Errors
    /// [`DesignError::Faults`] for a wire that the catalogue lacks; [`DesignError::Formula`] for a pitch that no formula
    /// takes.
    pub fn of_note(
        note: &Note,
        catalogue: &Catalogue,
        options: &ComputeOptions,
    ) -> Result<Self, DesignError> {
        let mut faults = Faults::default();
        let core = find(catalogue, &note.wire_id, &mut faults);
        let mut layer = |layer: &Winding| {
            find(catalogue, &layer.wire_id, &mut faults).map(|wire| TolerancedWinding {
                wire_diameter_mm: wire.diameter_mm(),
                density_kg_m3: wire.density_kg_m3(),
                bare_ends: BareEnds { front_mm: layer.bare_front_mm, back_mm: layer.bare_back_mm },
            })
        };
        let winding = note.windings.first().and_then(&mut layer);
        let outer_winding = note.windings.get(1).and_then(&mut layer);
        faults.finish()?;
        // A core that was not found is a fault, so it is there.
        let core = core.ok_or_else(|| DesignError::Faults(Vec::new()))?;
        let frequency_hz = equal_tempered_hz(note.note.into(), options.a4_hz(), note.pitch_offset_cents)
            .map_err(|source| DesignError::Formula { note: note.note, source })?;
        Ok(Self {
            note: note.note,
            speaking_mm: note.speaking_mm,
            frequency_hz,
            models: options.models(),
            core_section: core.material().cross_section(),
            core_diameter_mm: core.diameter_mm(),
            core_density_kg_m3: core.density_kg_m3(),
            youngs_modulus_gpa: core.youngs_modulus_gpa(),
            tensile_mpa: core.tensile_mpa(),
            winding,
            outer_winding,
            string_spacing_mm: note.string_spacing_mm.filter(|_| note.string_count > 1),
            ends: Ends {
                front_mm: note.front_mm,
                back_mm: note.back_mm,
                hitch: note.effective_hitch(),
                allowances: *note.effective_allowances(),
            },
        })
    }

    pub(crate) fn check(&self, faults: &mut Faults) {
        let density = (1000.0, 25_000.0);
        faults.range("speaking_mm", self.speaking_mm, SPEAKING_MM, "mm");
        faults.range("frequency_hz", self.frequency_hz, FREQUENCY_HZ, "Hz");
        faults.range("core_diameter_mm", self.core_diameter_mm, (0.05, 6.0), "mm");
        faults.range("core_density_kg_m3", self.core_density_kg_m3, density, "kg/m³");
        faults.range("youngs_modulus_gpa", self.youngs_modulus_gpa, (10.0, 500.0), "GPa");
        if let Some(tensile_mpa) = self.tensile_mpa {
            faults.range("tensile_mpa", tensile_mpa, (10.0, 10_000.0), "MPa");
        }
        for (name, winding) in [("winding", &self.winding), ("outer_winding", &self.outer_winding)] {
            let Some(winding) = winding else { continue };
            faults.range(format!("{name}.wire_diameter_mm"), winding.wire_diameter_mm, (0.05, 6.0), "mm");
            faults.range(format!("{name}.density_kg_m3"), winding.density_kg_m3, density, "kg/m³");
            winding.bare_ends.check(&format!("{name}.bare_ends"), self.speaking_mm, faults);
        }
        if self.winding.is_none() && self.outer_winding.is_some() {
            faults.add("outer_winding", "given", "an inner layer below it");
        }
        if let Some(spacing_mm) = self.string_spacing_mm {
            faults.range("string_spacing_mm", spacing_mm, (0.1, 100.0), "mm");
        }
        faults.models("models", &self.models);
        let Ends { front_mm, back_mm, hitch: _, allowances } = self.ends;
        faults.range("ends.front_mm", front_mm, (0.0, 1000.0), "mm");
        faults.range("ends.back_mm", back_mm, (0.0, 1500.0), "mm");
        for (field, value, range) in [
            ("tuning_pin_diameter_mm", allowances.tuning_pin_diameter_mm, (5.0, 10.0)),
            ("turns", allowances.turns, (0.0, 6.0)),
            ("becket_mm", allowances.becket_mm, (0.0, 20.0)),
            ("hitch_pin_diameter_mm", allowances.hitch_pin_diameter_mm, (1.0, 12.0)),
            ("eye_mm", allowances.eye_mm, (0.0, 200.0)),
            ("working_mm", allowances.working_mm, (0.0, 300.0)),
            ("winding_finish_turns", allowances.winding_finish_turns, (0.0, 40.0)),
        ] {
            faults.range(format!("ends.allowances.{field}"), value, range, "");
        }
    }
}

fn find<'a>(catalogue: &'a Catalogue, wire_id: &WireId, faults: &mut Faults) -> Option<&'a Wire> {
    let wire = catalogue.get(wire_id.as_str());
    if wire.is_none() {
        faults.add("wire_id", wire_id, "a wire of the catalogue");
    }
    wire
}

/// The inputs that have tolerances; those of a layer that is not there are 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Inputs {
    core_diameter_mm: f64,
    winding_diameter_mm: f64,
    outer_winding_diameter_mm: f64,
    speaking_mm: f64,
    pitch_cents: f64,
    pub(crate) youngs_modulus_gpa: f64,
    pub(crate) core_density_kg_m3: f64,
    pub(crate) winding_density_kg_m3: f64,
    pub(crate) outer_winding_density_kg_m3: f64,
}

/// Part of an input by which it is moved to take a derivative.
const RELATIVE_STEP: f64 = 1e-5;
/// Cents by which the pitch is moved.
const CENTS_STEP: f64 = 0.01;

impl Inputs {
    pub(crate) fn of(string: &TolerancedString) -> Self {
        Self {
            core_diameter_mm: string.core_diameter_mm,
            winding_diameter_mm: string.winding.map_or(0.0, |winding| winding.wire_diameter_mm),
            outer_winding_diameter_mm: string.outer_winding.map_or(0.0, |winding| winding.wire_diameter_mm),
            speaking_mm: string.speaking_mm,
            pitch_cents: 0.0,
            youngs_modulus_gpa: string.youngs_modulus_gpa,
            core_density_kg_m3: string.core_density_kg_m3,
            winding_density_kg_m3: string.winding.map_or(0.0, |winding| winding.density_kg_m3),
            outer_winding_density_kg_m3: string.outer_winding.map_or(0.0, |winding| winding.density_kg_m3),
        }
    }

    fn slot(&mut self, source: Source) -> &mut f64 {
        match source {
            Source::CoreDiameter => &mut self.core_diameter_mm,
            Source::WindingDiameter => &mut self.winding_diameter_mm,
            Source::OuterWindingDiameter => &mut self.outer_winding_diameter_mm,
            Source::SpeakingLength => &mut self.speaking_mm,
            Source::Pitch => &mut self.pitch_cents,
            Source::YoungsModulus => &mut self.youngs_modulus_gpa,
            Source::CoreDensity => &mut self.core_density_kg_m3,
            Source::WindingDensity => &mut self.winding_density_kg_m3,
            Source::OuterWindingDensity => &mut self.outer_winding_density_kg_m3,
        }
    }

    pub(crate) fn step(mut self, source: Source) -> f64 {
        match source {
            Source::Pitch => CENTS_STEP,
            _ => RELATIVE_STEP * *self.slot(source),
        }
    }

    pub(crate) fn moved(mut self, source: Source, by: f64) -> Self {
        *self.slot(source) += by;
        self
    }

    pub(crate) fn figures(&self, string: &TolerancedString) -> Result<TolerancedFigures<f64>, DomainError> {
        let (d_mm, e, length_mm) = (self.core_diameter_mm, self.youngs_modulus_gpa, self.speaking_mm);
        let area_mm2 = string.core_section.area_mm2(d_mm)?;
        let hz = raised_hz(string.frequency_hz, self.pitch_cents)?;
        let at_pitch = self.body(string, area_mm2)?.at(hz, &string.models, false)?;
        let tension_n = at_pitch.tension_n;
        let stress_mpa = stress_mpa(tension_n, area_mm2)?;
        let ends = &string.ends;
        let allow = &ends.allowances;
        let straight_mm = ends.front_mm + length_mm + ends.back_mm;
        let relaxed_mm = relaxed_length_mm(straight_mm, tension_n, e, area_mm2)?;
        let hitch_mm = match ends.hitch {
            HitchStyle::LoopedBack if string.winding.is_none() => {
                hitch_leg_mm(allow.hitch_pin_diameter_mm, d_mm)?
            }
            HitchStyle::LoopedBack | HitchStyle::Tied => allow.eye_mm,
        };
        let pin_mm = pin_take_up_mm(allow.turns, allow.tuning_pin_diameter_mm, d_mm, allow.becket_mm)?;
        let without_hitch_mm = pin_mm + relaxed_mm + allow.working_mm;
        Ok(TolerancedFigures {
            tension_n,
            stress_mpa,
            load_share: string.tensile_mpa.map(|tensile_mpa| stress_mpa / tensile_mpa),
            inharmonicity: at_pitch.inharmonicity,
            linear_density_g_m: at_pitch.linear_density_g_m,
            stretch_mm: straight_mm - relaxed_mm,
            cut_mm: without_hitch_mm + hitch_mm,
            wound: self.wound(string, without_hitch_mm, relaxed_mm / straight_mm)?,
            clearance_mm: string
                .string_spacing_mm
                .map(|spacing_mm| Ok(spacing_mm - self.greatest_width_mm(string)?))
                .transpose()?,
        })
    }

    /// The layers with the values that they have here, from the inside out.
    fn layers(&self, string: &TolerancedString) -> impl Iterator<Item = TolerancedWinding> {
        let with = |winding: Option<TolerancedWinding>, wire_diameter_mm, density_kg_m3| {
            winding.map(|winding| TolerancedWinding { wire_diameter_mm, density_kg_m3, ..winding })
        };
        let inner = with(string.winding, self.winding_diameter_mm, self.winding_density_kg_m3);
        let outer =
            with(string.outer_winding, self.outer_winding_diameter_mm, self.outer_winding_density_kg_m3);
        [inner, outer].into_iter().flatten()
    }

    /// See `windings.rs` of the scale crate for the formulas.
    fn wound(
        &self,
        string: &TolerancedString,
        overall_relaxed_mm: f64,
        relaxed_share: f64,
    ) -> Result<Option<WoundStringFigures<f64>>, DomainError> {
        if string.winding.is_none() {
            return Ok(None);
        }
        let Ends { back_mm, allowances, .. } = &string.ends;
        let mut under_mm = string.core_section.girth_diameter_mm(self.core_diameter_mm)?;
        let mut layers = Vec::with_capacity(2);
        for TolerancedWinding { wire_diameter_mm: w, density_kg_m3, bare_ends } in self.layers(string) {
            let covered_mm = self.speaking_mm - bare_ends.front_mm - bare_ends.back_mm;
            let wound_mm = covered_mm + allowances.winding_finish_turns * w;
            let wire_length_mm = winding_wire_length_mm(under_mm, w, wound_mm)?;
            under_mm = outer_diameter_mm(under_mm, w)?;
            layers.push(LayerFigures {
                start_relaxed_mm: (back_mm + bare_ends.back_mm) * relaxed_share,
                end_relaxed_mm: (back_mm + self.speaking_mm - bare_ends.front_mm) * relaxed_share,
                wire_length_mm,
                wire_mass_g: density_kg_m3 * CrossSection::Round.area_mm2(w)? * wire_length_mm * 1e-6,
            });
        }
        Ok(Some(WoundStringFigures { outer_diameter_mm: under_mm, overall_relaxed_mm, layers }))
    }

    /// Over a hexagonal core across its corners.
    fn greatest_width_mm(&self, string: &TolerancedString) -> Result<f64, DomainError> {
        let core_mm = string.core_section.greatest_width_mm(self.core_diameter_mm)?;
        Ok(core_mm + self.layers(string).map(|layer| 2.0 * layer.wire_diameter_mm).sum::<f64>())
    }

    /// The string as it vibrates.
    fn body(&self, string: &TolerancedString, area_mm2: f64) -> Result<StringBody, DomainError> {
        let mut under_mm = string.core_section.girth_diameter_mm(self.core_diameter_mm)?;
        // A layer that is not there weighs nothing.
        let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: self.speaking_mm }; 2];
        let model = string.models.winding_model;
        for (layer, span) in self.layers(string).zip(&mut spans) {
            let TolerancedWinding { wire_diameter_mm, density_kg_m3, bare_ends } = layer;
            *span = CoveredSpan {
                density_g_m: layer_density_g_m(model, under_mm, wire_diameter_mm, density_kg_m3)?,
                start_mm: bare_ends.front_mm,
                end_mm: self.speaking_mm - bare_ends.back_mm,
            };
            under_mm = outer_diameter_mm(under_mm, wire_diameter_mm)?;
        }
        Ok(StringBody {
            speaking_mm: self.speaking_mm,
            core_g_m: self.core_density_kg_m3 * area_mm2 * 1e-3,
            youngs_modulus_gpa: self.youngs_modulus_gpa,
            second_moment_mm4: string.core_section.second_moment_mm4(self.core_diameter_mm)?,
            spans: string.winding.is_some().then_some(spans),
        })
    }
}
