//! How well the length on a coil is known.
//!
//! # Model
//!
//! Two numbers of a coil are not known exactly: its remaining length L, and the relative error δ of its linear density,
//! by which every mass is turned into a length. They are estimated together, since all masses of one coil share δ: a
//! label and two weighings of a wire that is a little thick agree with each other and are all wrong. What is known is the
//! mean of L ([`Coil::remaining`](crate::Coil::remaining), in whole micrometres), and here the mean of δ, both variances and
//! the covariance.
//!
//! ```text
//! weighing      z = m/μ = L·(1 + δ) + e ≈ L + z·δ + e,     e ~ (0, R)
//! innovation    ν = z − L̂ − z·δ̂,      S = P_LL + 2·z·P_Lδ + z²·P_δδ + R
//! gains         g_L = P_LL + z·P_Lδ,     g_δ = P_Lδ + z·P_δδ
//! new means     L̂ + ν·g_L/S,     δ̂ + ν·g_δ/S
//! new variances P_LL − g_L²/S,   P_Lδ − g_L·g_δ/S,   P_δδ − g_δ²/S
//! deviation     ν/√S, in standard deviations
//! ```
//!
//! Where nothing is shared (δ known, or a length that was measured), this is the weighted mean with inverse variances as
//! weights. L·δ is taken as z·δ, which makes the model linear: the order of the evidence does not matter, and the error is
//! of the order of L·δ², 0.02 % of L at the widest tolerance.
//!
//! Wire that is taken off makes L smaller by a length that is known to within a small standard deviation, so the variance
//! of L grows by its square; δ stays.
//!
//! # Valid range and accuracy
//!
//! Errors of single cuts are taken as independent. A stringer whose every piece is a millimetre too long is not modelled, and
//! shows as a weighing that disagrees.
//!
//! # Source
//!
//! P. R. Bevington, D. K. Robinson, "Data Reduction and Error Analysis for the Physical Sciences", 3rd ed., 2003, section 4.1
//! (weighted mean); R. E. Kalman, "A new approach to linear filtering and prediction problems", Journal of Basic
//! Engineering 82 (1960): both from memory. JCGM 100:2008 (GUM), 4.3.7 (limits as a rectangular distribution) and 5.2
//! (correlated quantities), from memory.

use becket_units::Um;

use crate::receive::MAX_COIL_LENGTH;

/// Standard deviation of the length of one piece that is cut, in mm. Common practice, no source.
pub const CUT_SD_MM: f64 = 0.5;

/// Standard deviation of a trim, a tail or lost wire, in mm, which nobody measures closely. Common practice, no source.
pub const SCRAP_SD_MM: f64 = 2.0;

/// From so many standard deviations on, evidence disagrees with what was believed. In a normal distribution 0.27 % lie outside.
pub const DISAGREES_FROM_SDS: f64 = 3.0;

/// Half-width of the tolerance of a wire's diameter in mm: 0.0004 in, as ASTM A228 has it for 0.028 to 0.063 in.
const DIAMETER_TOLERANCE_MM: f64 = 0.0004 * 25.4;

/// Density of steel in g/mm³, for the diameter that follows from a linear density; EN 10270-1.
const STEEL_G_MM3: f64 = 7.85e-3;

/// No wire's linear density is known worse than this, relative to it; reached by wire of about 0.2 mm.
const MOST_DENSITY_SD: f64 = 0.05;

/// What is known of the length on a coil besides its mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LengthEstimate {
    /// Variance of the remaining length in mm², at least 0.
    pub variance_mm2: f64,
    /// Relative error of the linear density that is believed: 0.01 if the wire is 1 % heavier than the catalogue has it.
    pub density_error: f64,
    /// Variance of that error.
    pub density_variance: f64,
    /// Covariance of length and density error in mm; negative where the length comes from a mass.
    pub covariance_mm: f64,
}

/// A number of standard deviations, in whole thousandths: 0 to 10.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Sds(u16);

impl Sds {
    /// None.
    pub const ZERO: Self = Self(0);
    /// The most that can be stated.
    pub const MOST: Self = Self(10_000);

    /// So many thousandths; `None` for more than [`MOST`](Self::MOST).
    #[must_use]
    pub fn of_thousandths(thousandths: u16) -> Option<Self> {
        (thousandths <= Self::MOST.0).then_some(Self(thousandths))
    }

    /// To the nearest thousandth; `None` outside 0 to 10.
    #[must_use]
    pub fn new(sds: f64) -> Option<Self> {
        // Thousandths as lengths have micrometres.
        let thousandths = Um::from_mm_f64(sds).ok().filter(|_| (0.0..=10.0).contains(&sds))?.get();
        u16::try_from(thousandths).ok().and_then(Self::of_thousandths)
    }

    /// In thousandths.
    #[must_use]
    pub fn thousandths(self) -> u16 {
        self.0
    }

    /// As a number.
    #[must_use]
    pub fn get(self) -> f64 {
        f64::from(self.0) / 1000.0
    }
}

/// What evidence and belief come to together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Mean of the remaining length in mm; may be negative by a little.
    pub mean_mm: f64,
    /// The rest of what is known.
    pub estimate: LengthEstimate,
    /// How far the evidence lay from the belief, in standard deviations of their difference, with its sign.
    pub deviation_sds: f64,
}

/// Standard deviation of the relative error of a linear density in g/m, from the tolerance of the diameter.
///
/// # Formula
/// ```text
/// d = √(4·μ/(π·ρ)),     u(μ)/μ = 2·u(d)/d,     u(d) = 0.0004 in/√3
/// ```
/// The tolerance is taken as the limits of a rectangular distribution. ρ is that of steel: for copper d comes out 6 % too
/// large. At most 5 %.
///
/// # Source
/// Tolerance: ASTM A228, 0.028 to 0.063 in; outside that range it is taken as the same. Rectangular distribution: JCGM
/// 100:2008, 4.3.7 (from memory).
///
/// # Examples
/// ```
/// // 1.0 mm wire: 2·0.01016/√3 = 1.17 %.
/// assert!((becket_floor::density_sd(6.165) - 0.01173).abs() < 1e-5);
/// ```
#[must_use]
pub fn density_sd(linear_density_g_m: f64) -> f64 {
    let area_mm2 = linear_density_g_m / 1000.0 / STEEL_G_MM3;
    let diameter_mm = (4.0 * area_mm2 / std::f64::consts::PI).sqrt();
    let sd = 2.0 * DIAMETER_TOLERANCE_MM / 3.0_f64.sqrt() / diameter_mm;
    // What is no number comes from a density that is none, and such a coil is refused at its receipt.
    if sd < MOST_DENSITY_SD { sd } else { MOST_DENSITY_SD }
}

impl LengthEstimate {
    /// A length that was measured or stated as a length: it says nothing of the linear density.
    #[must_use]
    pub fn of_length(sd_mm: f64, density_sd: f64) -> Self {
        Self {
            variance_mm2: sd_mm * sd_mm,
            density_error: 0.0,
            density_variance: density_sd * density_sd,
            covariance_mm: 0.0,
        }
    }

    /// A length that follows from a mass: L = z − z·δ − e. `own_sd_mm` is the standard deviation of e, what the mass itself
    /// contributes.
    #[must_use]
    pub fn of_mass(length: Um, own_sd_mm: f64, density_sd: f64) -> Self {
        let (length_mm, density_variance) = (length.as_mm(), density_sd * density_sd);
        Self {
            variance_mm2: own_sd_mm * own_sd_mm + length_mm * length_mm * density_variance,
            density_error: 0.0,
            density_variance,
            // Subtracted, since a reel that is weighed as empty would give a negative zero, which not every database keeps.
            covariance_mm: 0.0 - length_mm * density_variance,
        }
    }

    /// Standard deviation of the remaining length in mm.
    #[must_use]
    pub fn sd_mm(&self) -> f64 {
        self.variance_mm2.max(0.0).sqrt()
    }

    /// So many standard deviations of the remaining length, rounded up to whole micrometres.
    #[must_use]
    pub fn margin(&self, sds: Sds) -> Um {
        let margin = Um::from_mm_f64_up(sds.get() * self.sd_mm());
        // No coil's length is known so badly that this does not fit.
        margin.unwrap_or(MAX_COIL_LENGTH).min(MAX_COIL_LENGTH)
    }

    /// After wire was taken off whose length is known to within `sd_mm`.
    #[must_use]
    pub fn after_taking(self, sd_mm: f64) -> Self {
        Self { variance_mm2: self.variance_mm2 + sd_mm * sd_mm, ..self }
    }

    /// Combines a belief, whose mean is `believed`, with a weighing that gives the length `found` by the catalogue's linear
    /// density. `own_sd_mm` is what the mass itself contributes, more than 0.
    #[must_use]
    pub fn with_weighing(&self, believed: Um, found: Um, own_sd_mm: f64) -> Combined {
        self.combine(believed, found.as_mm() - found.as_mm() * self.density_error, found.as_mm(), own_sd_mm)
    }

    /// Combines a belief with a length that was measured as a length, to within `sd_mm`, more than 0.
    #[must_use]
    pub fn with_length(&self, believed: Um, found: Um, sd_mm: f64) -> Combined {
        self.combine(believed, found.as_mm(), 0.0, sd_mm)
    }

    /// One step of the filter: `expected` is what the evidence says of L at the believed δ, `per_error_mm` how it depends on δ.
    fn combine(&self, believed: Um, expected_mm: f64, per_error_mm: f64, sd_mm: f64) -> Combined {
        let (z, p) = (per_error_mm, self);
        let innovation = expected_mm - believed.as_mm();
        let length_gain = p.variance_mm2 + z * p.covariance_mm;
        let density_gain = p.covariance_mm + z * p.density_variance;
        let spread = (length_gain + z * density_gain).max(0.0) + sd_mm * sd_mm;
        Combined {
            mean_mm: believed.as_mm() + innovation * length_gain / spread,
            estimate: Self {
                variance_mm2: (p.variance_mm2 - length_gain * length_gain / spread).max(0.0),
                density_error: p.density_error + innovation * density_gain / spread,
                density_variance: (p.density_variance - density_gain * density_gain / spread).max(0.0),
                covariance_mm: p.covariance_mm - length_gain * density_gain / spread,
            },
            deviation_sds: innovation / spread.sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const M: i64 = 1_000_000;

    fn near(a: f64, b: f64, share: f64) -> bool {
        (a - b).abs() <= share * a.abs().max(b.abs())
    }

    /// 10.0 ± 0.3 and 10.6 ± 0.4: weights 1/0.09 and 1/0.16, so (10.0·16 + 10.6·9)/25 = 10.216, sd 0.24, deviation 0.6/0.5.
    #[test]
    fn independent_lengths_give_the_weighted_mean() {
        let belief = LengthEstimate::of_length(300.0, 0.01);
        let both = belief.with_length(Um::new(10 * M), Um::new(10_600_000), 400.0);
        assert!(near(both.mean_mm, 10_216.0, 1e-12), "{both:?}");
        assert!(near(both.estimate.sd_mm(), 240.0, 1e-12));
        assert!(near(both.deviation_sds, 1.2, 1e-12));
    }

    /// Found by histories of concurrent clients: an empty reel left a negative zero, and the journal told another one than the table had.
    #[test]
    fn an_empty_reel_has_no_negative_zero() {
        let estimate = LengthEstimate::of_mass(Um::ZERO, 1.0, 0.01);
        assert_eq!(estimate.covariance_mm.to_bits(), 0.0_f64.to_bits());
    }

    /// A label of 81 m ± 0.3 % and a weighing of 80.9 m ± 0.1 m: masses are compared without the tolerance of the wire, and that
    /// tolerance is left of the uncertainty.
    #[test]
    fn masses_of_one_coil_share_the_error_of_the_wire() {
        let (label, found) = (Um::new(81 * M), Um::new(80_900_000));
        let belief = LengthEstimate::of_mass(label, 243.0, 0.0117);
        let both = belief.with_weighing(label, found, 100.0);
        assert!(near(both.deviation_sds, -100.0 / 243.0_f64.hypot(100.0), 1e-3), "{both:?}");
        assert!(near(both.estimate.sd_mm(), 0.0117 * 80_900.0, 0.01), "{both:?}");
        // However often it is weighed.
        let mut again = both;
        for _ in 0..100 {
            again = again.estimate.with_weighing(Um::from_mm_f64(again.mean_mm).unwrap(), found, 100.0);
        }
        assert!(again.estimate.sd_mm() > 0.99 * 0.0117 * 80_900.0, "{again:?}");
    }

    /// The wire is 1 % heavy: the label says 101 m of 100 m. After 80 m have been cut, 20 m weigh as much as 20.2 m should, and
    /// the books say 21 m. Both errors are found from the two masses and the length between them.
    #[test]
    fn cut_wire_between_two_masses_tells_the_linear_density() {
        let label = Um::new(101 * M);
        let mut belief = LengthEstimate::of_mass(label, 101.0, 0.0117);
        for _ in 0..80 {
            belief = belief.after_taking(CUT_SD_MM);
        }
        let both = belief.with_weighing(Um::new(21 * M), Um::new(20_200_000), 30.0);
        assert!((both.mean_mm - 20_000.0).abs() < 10.0, "{both:?}");
        assert!((both.estimate.density_error - 0.01).abs() < 3e-4, "{both:?}");
        // e₁·(1 + 20/80) and e₀·20/80.
        assert!(near(both.estimate.sd_mm(), 37.5_f64.hypot(25.25), 0.01), "{both:?}");
        assert!(both.deviation_sds.abs() < 1.0, "{both:?}");
    }

    #[test]
    fn a_margin_is_so_many_standard_deviations() {
        let estimate = LengthEstimate::of_length(300.0, 0.01);
        let margin = |sds: f64| estimate.margin(Sds::new(sds).unwrap());
        assert_eq!(
            (margin(0.0), margin(2.5), margin(10.0)),
            (Um::ZERO, Um::new(750_000), Um::new(3_000_000))
        );
        for bad in [-0.001, 10.001, f64::NAN, f64::INFINITY] {
            assert_eq!(Sds::new(bad), None, "{bad}");
        }
        assert_eq!((Sds::new(1.2344).unwrap().thousandths(), Sds::of_thousandths(10_001)), (1234, None));
    }

    #[test]
    fn a_wire_that_is_none_has_the_widest_tolerance() {
        for bad in [0.0, -1.0, f64::NAN, 1e-9] {
            assert!((density_sd(bad) - MOST_DENSITY_SD).abs() < 1e-15, "{bad}");
        }
    }
}
