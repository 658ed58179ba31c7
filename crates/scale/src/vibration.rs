//! How a note's string vibrates: the tension that its pitch takes, and its partials, by either model.

use std::sync::Arc;

use becket_acoustics::{
    CoveredSpan, DomainError, InharmonicityFit, Segment, SteppedString, effective_density_g_m,
    fit_inharmonicity, frequency_stiffness_free_hz, inharmonicity, partial_hz, sharpness_cents,
    stepped_tension_first_partial_n, stepped_tension_stiffness_free_n, tension_first_partial_n,
    tension_stiffness_free_n,
};
use becket_wire::Wire;

use crate::model::Note;
use crate::options::{ComputeOptions, PitchBasis, StringModel};
use crate::set::PartialFigures;

/// N·m² in a GPa·mm⁴.
const N_M2_PER_GPA_MM4: f64 = 1e-3;

/// A string between its ends, before it has a tension.
pub(crate) struct Vibration<'a> {
    pub(crate) length_mm: f64,
    pub(crate) wire: &'a Wire,
    /// The layers of a wound string; the second of a single one weighs nothing.
    pub(crate) spans: Option<[CoveredSpan; 2]>,
}

/// A string at its pitch.
pub(crate) struct AtPitch {
    pub(crate) tension_n: f64,
    pub(crate) linear_density_g_m: f64,
    pub(crate) inharmonicity: f64,
    pub(crate) partials: Option<Arc<PartialFigures>>,
}

impl<'a> Vibration<'a> {
    pub(crate) const fn new(note: &Note, wire: &'a Wire, spans: Option<[CoveredSpan; 2]>) -> Self {
        Self { length_mm: note.speaking_mm, wire, spans }
    }

    /// Pulls the string to a pitch.
    ///
    /// A plain string is uniform, and the closed formulas are exact for it in both models.
    pub(crate) fn at(&self, frequency_hz: f64, options: &ComputeOptions) -> Result<AtPitch, DomainError> {
        match (options.string_model(), &self.spans) {
            (StringModel::Stepped, Some(spans)) => self.stepped(spans, frequency_hz, options),
            (StringModel::ClosedForm, _) | (StringModel::Stepped, None) => {
                self.uniform(frequency_hz, options)
            }
        }
    }

    fn uniform(&self, frequency_hz: f64, options: &ComputeOptions) -> Result<AtPitch, DomainError> {
        let core_g_m = self.wire.linear_density_g_m();
        let linear_density_g_m = match &self.spans {
            Some(spans) => effective_density_g_m(self.length_mm, core_g_m, spans)?,
            None => core_g_m,
        };
        let (modulus_gpa, second_moment_mm4) =
            (self.wire.youngs_modulus_gpa(), self.wire.second_moment_mm4());
        let tension_n = match options.pitch_basis() {
            PitchBasis::StiffnessFree => {
                tension_stiffness_free_n(self.length_mm, linear_density_g_m, frequency_hz)
            }
            PitchBasis::FirstPartial => tension_first_partial_n(
                self.length_mm,
                linear_density_g_m,
                frequency_hz,
                modulus_gpa,
                second_moment_mm4,
            ),
        }?;
        let b = inharmonicity(self.length_mm, tension_n, modulus_gpa, second_moment_mm4)?;
        let partials = options.include_partials().then(|| {
            let f0_hz = frequency_stiffness_free_hz(self.length_mm, linear_density_g_m, tension_n)?;
            uniform_partials(f0_hz, b, options.partial_count())
        });
        let partials = partials.transpose()?.map(Arc::new);
        Ok(AtPitch { tension_n, linear_density_g_m, inharmonicity: b, partials })
    }

    fn stepped(
        &self,
        spans: &[CoveredSpan; 2],
        frequency_hz: f64,
        options: &ComputeOptions,
    ) -> Result<AtPitch, DomainError> {
        let segments = &segments(self.length_mm, self.wire.linear_density_g_m(), spans);
        let bending_stiffness_n_m2 =
            self.wire.youngs_modulus_gpa() * self.wire.second_moment_mm4() * N_M2_PER_GPA_MM4;
        let tension_n = match options.pitch_basis() {
            PitchBasis::StiffnessFree => stepped_tension_stiffness_free_n(frequency_hz, segments),
            PitchBasis::FirstPartial => {
                stepped_tension_first_partial_n(frequency_hz, bending_stiffness_n_m2, segments)
            }
        }?;
        let string = SteppedString { tension_n, bending_stiffness_n_m2, segments };
        let stiffness_free_hz = match options.pitch_basis() {
            PitchBasis::StiffnessFree => frequency_hz,
            PitchBasis::FirstPartial => string.stiffness_free_hz()?,
        };
        let partial_hz = string.partials_hz(options.partial_count())?;
        let fit = fit_inharmonicity(&partial_hz)?;
        let partials = options.include_partials().then(|| figures(stiffness_free_hz, partial_hz, fit));
        Ok(AtPitch {
            tension_n,
            // The inverse of Mersenne's formula; kg/m from N, mm and Hz is 10⁶, and g/m 10³ more.
            linear_density_g_m: 1e9 * tension_n / (2.0 * self.length_mm * stiffness_free_hz).powi(2),
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
