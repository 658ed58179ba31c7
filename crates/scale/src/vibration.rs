//! How a note's string vibrates: the tension that its pitch takes, and its partials, by either model.

use std::sync::Arc;

use becket_acoustics::{
    CoveredSpan, DomainError, InharmonicityFit, Segment, SteppedString, effective_density_g_m,
    fit_inharmonicity, frequency_first_partial_hz, frequency_stiffness_free_hz, inharmonicity, partial_hz,
    sharpness_cents, stepped_tension_first_partial_n, stepped_tension_stiffness_free_n,
    tension_first_partial_n, tension_stiffness_free_n,
};

use crate::options::{Models, PitchBasis, StringModel};
use crate::set::PartialFigures;

/// N·m² in a GPa·mm⁴.
const N_M2_PER_GPA_MM4: f64 = 1e-3;

/// A string between its ends, before it has a tension: what every computation of tension, B and partials starts from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringBody {
    /// Speaking length in mm, above 0.
    pub speaking_mm: f64,
    /// Linear density of wire or core in g/m, above 0.
    pub core_g_m: f64,
    /// Young's modulus of wire or core in GPa, above 0.
    pub youngs_modulus_gpa: f64,
    /// Second moment of area of wire or core in mm⁴, above 0.
    pub second_moment_mm4: f64,
    /// The layers of a wound string from the inside out; the second of a single one weighs nothing. `None` for a plain
    /// string.
    pub spans: Option<[CoveredSpan; 2]>,
}

/// A string at its pitch.
#[derive(Debug, Clone, PartialEq)]
pub struct AtPitch {
    /// Tension in N.
    pub tension_n: f64,
    /// Linear density in g/m as it acts on the first partial; see [`crate::StringFigures::linear_density_g_m`].
    pub linear_density_g_m: f64,
    /// Inharmonicity coefficient B; see [`crate::StringFigures::inharmonicity`].
    pub inharmonicity: f64,
    /// The partials, if they were asked for.
    pub partials: Option<Arc<PartialFigures>>,
}

impl StringBody {
    /// Pulls the string to a pitch.
    ///
    /// # Units
    /// `frequency_hz` in Hz, above 0, on the pitch basis of the models; `include_partials` says whether the answer holds
    /// the partials.
    ///
    /// # Formula
    /// By the string model: the closed formulas, or the boundary value problem of [`becket_acoustics::SteppedString`]. A plain
    /// string is uniform, and the closed formulas are exact for it in both. The winding model is in `spans` already.
    ///
    /// # Valid range and accuracy
    /// Stepped: tension to 1e-12, partials to 1e-12 of the frequency.
    ///
    /// # Errors
    /// [`DomainError`] of the formula that refuses the string.
    ///
    /// # Source
    /// See [`becket_acoustics::SteppedString`] and [`becket_acoustics::inharmonicity`].
    pub fn at(
        &self,
        frequency_hz: f64,
        models: &Models,
        include_partials: bool,
    ) -> Result<AtPitch, DomainError> {
        match (models.string_model, &self.spans) {
            (StringModel::Stepped, Some(spans)) => {
                self.stepped(spans, frequency_hz, models, include_partials)
            }
            (StringModel::ClosedForm, _) | (StringModel::Stepped, None) => {
                self.uniform(frequency_hz, models, include_partials)
            }
        }
    }

    /// The frequency of the string at a tension, on the pitch basis of the models; the inverse of [`Self::at`].
    ///
    /// # Units
    /// `tension_n` in N, above 0. Result in Hz.
    ///
    /// # Formula
    /// f₀ without stiffness, or the first partial, by the string model; see [`Self::at`].
    ///
    /// # Errors
    /// [`DomainError`] of the formula that refuses the string.
    pub fn frequency_at(&self, tension_n: f64, models: &Models) -> Result<f64, DomainError> {
        let (length_mm, core_g_m) = (self.speaking_mm, self.core_g_m);
        let (modulus_gpa, second_moment_mm4) = (self.youngs_modulus_gpa, self.second_moment_mm4);
        if let (StringModel::Stepped, Some(spans)) = (models.string_model, &self.spans) {
            let bending_stiffness_n_m2 = modulus_gpa * second_moment_mm4 * N_M2_PER_GPA_MM4;
            let segments = &segments(length_mm, core_g_m, spans);
            let string = SteppedString { tension_n, bending_stiffness_n_m2, segments };
            return match models.pitch_basis {
                PitchBasis::StiffnessFree => string.stiffness_free_hz(),
                PitchBasis::FirstPartial => Ok(string.partials_hz(1)?.first().copied().unwrap_or(0.0)),
            };
        }
        let g_m = match &self.spans {
            Some(spans) => effective_density_g_m(length_mm, core_g_m, spans)?,
            None => core_g_m,
        };
        match models.pitch_basis {
            PitchBasis::StiffnessFree => frequency_stiffness_free_hz(length_mm, g_m, tension_n),
            PitchBasis::FirstPartial => {
                frequency_first_partial_hz(length_mm, g_m, tension_n, modulus_gpa, second_moment_mm4)
            }
        }
    }

    fn uniform(
        &self,
        frequency_hz: f64,
        models: &Models,
        include_partials: bool,
    ) -> Result<AtPitch, DomainError> {
        let (length_mm, core_g_m) = (self.speaking_mm, self.core_g_m);
        let linear_density_g_m = match &self.spans {
            Some(spans) => effective_density_g_m(length_mm, core_g_m, spans)?,
            None => core_g_m,
        };
        let (modulus_gpa, second_moment_mm4) = (self.youngs_modulus_gpa, self.second_moment_mm4);
        let tension_n = match models.pitch_basis {
            PitchBasis::StiffnessFree => {
                tension_stiffness_free_n(length_mm, linear_density_g_m, frequency_hz)
            }
            PitchBasis::FirstPartial => tension_first_partial_n(
                length_mm,
                linear_density_g_m,
                frequency_hz,
                modulus_gpa,
                second_moment_mm4,
            ),
        }?;
        let b = inharmonicity(length_mm, tension_n, modulus_gpa, second_moment_mm4)?;
        let partials = include_partials.then(|| {
            let f0_hz = frequency_stiffness_free_hz(length_mm, linear_density_g_m, tension_n)?;
            uniform_partials(f0_hz, b, models.partial_count)
        });
        let partials = partials.transpose()?.map(Arc::new);
        Ok(AtPitch { tension_n, linear_density_g_m, inharmonicity: b, partials })
    }

    fn stepped(
        &self,
        spans: &[CoveredSpan; 2],
        frequency_hz: f64,
        models: &Models,
        include_partials: bool,
    ) -> Result<AtPitch, DomainError> {
        let segments = &segments(self.speaking_mm, self.core_g_m, spans);
        let bending_stiffness_n_m2 = self.youngs_modulus_gpa * self.second_moment_mm4 * N_M2_PER_GPA_MM4;
        let tension_n = match models.pitch_basis {
            PitchBasis::StiffnessFree => stepped_tension_stiffness_free_n(frequency_hz, segments),
            PitchBasis::FirstPartial => {
                stepped_tension_first_partial_n(frequency_hz, bending_stiffness_n_m2, segments)
            }
        }?;
        let string = SteppedString { tension_n, bending_stiffness_n_m2, segments };
        let stiffness_free_hz = match models.pitch_basis {
            PitchBasis::StiffnessFree => frequency_hz,
            PitchBasis::FirstPartial => string.stiffness_free_hz()?,
        };
        let partial_hz = string.partials_hz(models.partial_count)?;
        let fit = fit_inharmonicity(&partial_hz)?;
        let partials = include_partials.then(|| figures(stiffness_free_hz, partial_hz, fit));
        Ok(AtPitch {
            tension_n,
            // The inverse of Mersenne's formula; kg/m from N, mm and Hz is 10⁶, and g/m 10³ more.
            linear_density_g_m: 1e9 * tension_n / (2.0 * self.speaking_mm * stiffness_free_hz).powi(2),
            inharmonicity: fit.inharmonicity,
            partials: partials.transpose()?.map(Arc::new),
        })
    }
}

/// The string cut where a layer begins or ends within the speaking length; some segments may have no length.
fn segments(length_mm: f64, core_g_m: f64, spans: &[CoveredSpan; 2]) -> [Segment; 5] {
    let [inner, outer] = spans;
    let mut steps_mm =
        [inner.start_mm, inner.end_mm, outer.start_mm, outer.end_mm].map(|at| at.min(length_mm));
    steps_mm.sort_by(f64::total_cmp);
    let [a, b, c, d] = steps_mm;
    [(0.0, a), (a, b), (b, c), (c, d), (d, length_mm)].map(|(from_mm, to_mm)| {
        let layers = spans.iter().filter(|span| span.start_mm <= from_mm && to_mm <= span.end_mm);
        Segment {
            length_mm: to_mm - from_mm,
            linear_density_g_m: core_g_m + layers.map(|span| span.density_g_m).sum::<f64>(),
        }
    })
}

fn uniform_partials(f0_hz: f64, b: f64, count: u32) -> Result<PartialFigures, DomainError> {
    let partials_hz = (1..=count).map(|n| partial_hz(n, f0_hz, b)).collect::<Result<Vec<_>, _>>()?;
    let fit = InharmonicityFit {
        stiffness_free_hz: f0_hz,
        inharmonicity: b,
        residual_rms_cents: 0.0,
        residual_max_cents: 0.0,
    };
    figures(f0_hz, partials_hz, fit)
}

fn figures(
    stiffness_free_hz: f64,
    partial_hz: Vec<f64>,
    fit: InharmonicityFit,
) -> Result<PartialFigures, DomainError> {
    let first_hz = partial_hz.first().copied().unwrap_or(stiffness_free_hz);
    let cents = sharpness_cents(&partial_hz, first_hz)?;
    Ok(PartialFigures { stiffness_free_hz, partial_hz, cents, fit })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(density_g_m: f64, start_mm: f64, end_mm: f64) -> CoveredSpan {
        CoveredSpan { density_g_m, start_mm, end_mm }
    }

    fn cut(spans: [CoveredSpan; 2]) -> Vec<(f64, f64)> {
        let segments = segments(1000.0, 7.0, &spans);
        let real = segments.iter().filter(|segment| segment.length_mm > 0.0);
        real.map(|segment| (segment.length_mm, segment.linear_density_g_m)).collect()
    }

    #[test]
    fn a_string_is_cut_at_every_step() {
        let none = span(0.0, 0.0, 1000.0);
        assert_eq!(cut([span(50.0, 20.0, 985.0), none]), [(20.0, 7.0), (965.0, 57.0), (15.0, 7.0)]);
        assert_eq!(
            cut([span(20.0, 10.0, 990.0), span(50.0, 20.0, 970.0)]),
            [(10.0, 7.0), (10.0, 27.0), (950.0, 77.0), (20.0, 27.0), (10.0, 7.0)]
        );
        assert_eq!(cut([span(50.0, 0.0, 1000.0), none]), [(1000.0, 57.0)]);
    }

    #[test]
    fn what_lies_beyond_the_bridge_pin_does_not_sound() {
        let beyond = cut([span(20.0, 10.0, 1030.0), span(50.0, 10.0, 1010.0)]);
        assert_eq!(beyond, [(10.0, 7.0), (990.0, 77.0)]);
    }
}
