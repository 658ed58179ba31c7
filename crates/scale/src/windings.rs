//! The layers of a wound string: what they weigh, where they lie, how much wire they take.
//!
//! The winding takes the model of mass that the options state for what sounds. The length of winding wire always takes
//! one wire diameter of rise for each turn, which is its true length and at most 2 % more than the tube's: what is bought
//! and fed is on the safe side. Turns are reckoned to touch at pitch; on the relaxed core the same length takes T/(E·A)
//! fewer, less than half a percent.

use becket_acoustics::{
    CoveredSpan, DomainError, WindingModel, layer_density_g_m, outer_diameter_mm, winding_wire_length_mm,
};
use becket_wire::Wire;

use crate::model::{Note, Winding};
use crate::set::{FromEye, WindingFigures};
use crate::vibration::StringBody;

/// The core of a note and the wires of its scale, by index.
pub(crate) struct Layers<'a> {
    pub(crate) note: &'a Note,
    pub(crate) core: &'a Wire,
    pub(crate) wires: &'a [&'a Wire],
}

impl Layers<'_> {
    /// The string as it vibrates.
    pub(crate) fn body(&self, model: WindingModel) -> Result<StringBody, DomainError> {
        Ok(StringBody {
            speaking_mm: self.note.speaking_mm,
            core_g_m: self.core.linear_density_g_m(),
            youngs_modulus_gpa: self.core.youngs_modulus_gpa(),
            second_moment_mm4: self.core.second_moment_mm4(),
            spans: self.spans(model)?,
        })
    }

    /// Mass and place of the layers; `None` for a plain string. The second span of a single layer weighs nothing.
    fn spans(&self, model: WindingModel) -> Result<Option<[CoveredSpan; 2]>, DomainError> {
        if self.note.windings.is_empty() {
            return Ok(None);
        }
        let speaking_mm = self.note.speaking_mm;
        let mut under_mm = self.core_girth_mm()?;
        let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: speaking_mm }; 2];
        for (winding, span) in self.note.windings.iter().zip(&mut spans) {
            let wire = self.wire(winding);
            *span = CoveredSpan {
                density_g_m: layer_density_g_m(model, under_mm, wire.diameter_mm(), wire.density_kg_m3())?,
                start_mm: winding.bare_front_mm,
                end_mm: speaking_mm - winding.bare_back_mm,
            };
            under_mm = outer_diameter_mm(under_mm, wire.diameter_mm())?;
        }
        Ok(Some(spans))
    }

    /// The figures of the layers from the inside out.
    ///
    /// # Formula
    /// ```text
    /// start at pitch  back + bare_back                 relaxed  the same · relaxed/pitch length of the straight part
    /// end at pitch    back + speaking − bare_front
    /// wire            (covered/w + finishing turns)·√((π·(D + w))² + w²)
    /// ```
    ///
    /// `relaxed_share` is the relaxed length over the length at pitch: 1/(1 + T/(E·A)). Friction at the bridge is left
    /// out, so that the whole core is stretched alike.
    pub(crate) fn figures(&self, relaxed_share: f64) -> Result<Vec<WindingFigures>, DomainError> {
        let note = self.note;
        let finish_turns = note.effective_allowances().winding_finish_turns;
        let mut under_mm = self.core_girth_mm()?;
        let mut figures = Vec::with_capacity(note.windings.len());
        for winding in &note.windings {
            let wire = self.wire(winding);
            let (start_mm, end_mm) = (
                note.back_mm + winding.bare_back_mm,
                note.back_mm + note.speaking_mm - winding.bare_front_mm,
            );
            let covered_mm = note.speaking_mm - winding.bare_back_mm - winding.bare_front_mm;
            // Finishing turns as if they lay on the core too: each takes one wire diameter of it.
            let wound_mm = covered_mm + finish_turns * wire.diameter_mm();
            let wire_length_mm = winding_wire_length_mm(under_mm, wire.diameter_mm(), wound_mm)?;
            under_mm = outer_diameter_mm(under_mm, wire.diameter_mm())?;
            figures.push(WindingFigures {
                wire_id: winding.wire_id.clone(),
                covered_mm,
                wire_length_mm,
                wire_mass_g: wire.mass_g(wire_length_mm),
                outer_diameter_mm: under_mm,
                at_pitch: FromEye { start_mm, end_mm },
                relaxed: FromEye { start_mm: start_mm * relaxed_share, end_mm: end_mm * relaxed_share },
            });
        }
        Ok(figures)
    }

    /// Mean and greatest diameter of the finished string in mm. They differ over a hexagonal core, by what its corners
    /// stand out: across corners it is 2·s/√3 wide.
    pub(crate) fn widths_mm(&self) -> Result<(f64, f64), DomainError> {
        let layers_mm: f64 =
            self.note.windings.iter().map(|winding| 2.0 * self.wire(winding).diameter_mm()).sum();
        let across_mm = self.core.material().cross_section().greatest_width_mm(self.core.diameter_mm())?;
        Ok((self.core_girth_mm()? + layers_mm, across_mm + layers_mm))
    }

    fn core_girth_mm(&self) -> Result<f64, DomainError> {
        self.core.material().cross_section().girth_diameter_mm(self.core.diameter_mm())
    }

    fn wire(&self, winding: &Winding) -> &Wire {
        self.wires[winding.wire.at()]
    }
}
