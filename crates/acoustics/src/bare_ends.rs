//! What bare ends add to the inharmonicity of a wound string, without solving for its partials.

use std::f64::consts::PI;

use crate::domain::{DomainError, check, not_negative, positive};
use crate::stepped::MOST_PARTIALS;

/// Steps of the table over the layer's share of the mass. Between them the course is nearly straight: what the straight
/// line leaves is below 10⁻³ of the value.
const STEPS: u8 = 64;

/// What the bare ends of one layer add to B, for any share of the mass that the layer has.
///
/// # Formula
/// ```text
/// k = n·π/L,  k_c = k·√(1 − ρ),  ρ = mass of the layer/mass of the covered string, both for each length
/// shift of an end       δ_n = a − (1/k)·arctan[(k/k_c)·tan(k_c·a)]              on the branch next to k_c·a
/// B of the bare ends    slope, over n², of the straight line nearest to 2·(δ_n(a) + δ_n(b))/L, n = 1 … N
/// ```
/// A bare end is light, so that it moves less than covered string would and the string sounds as if it were shorter by
/// δ. That grows with n²; to first order in (k·a)² the sum is (2π²/3)·ρ·(a³ + b³)/L³. The bare ends' B is added to that of the
/// core's stiffness, and those of two layers to each other.
///
/// # Valid range and accuracy
/// The end is taken as limp, which makes no difference to first order. Against the exact solution, with B fitted to 16
/// partials, B in all is too low by 1.5 % (two layers: 2.7 %) where the bare ends are 1.6 % of the length, by 6 % (8 %) where
/// they are 3 %, and by more beyond; with more partials by more. For exact figures see [`crate::SteppedString`].
///
/// # Source
/// Derived from the wave equation at the step, as end corrections are; compared with the exact solution in the tests.
///
/// # Examples
/// ```
/// use becket_acoustics::BareEnds;
/// let ends = BareEnds::new(1200.0, 20.0, 20.0, 16)?;
/// // First order: (2π²/3)·0.9·2·(20/1200)³ = 5.5e-5; high partials feel less of it.
/// assert!((4.0e-5..5.5e-5).contains(&ends.inharmonicity(0.9)));
/// assert_eq!(ends.inharmonicity(0.0), 0.0);
/// assert!(BareEnds::new(1200.0, 700.0, 700.0, 16).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct BareEnds {
    /// B at the shares 0, 1/64, … 1.
    table: Vec<f64>,
}

impl BareEnds {
    /// Prepares the table of a layer.
    ///
    /// # Units
    /// `length_mm`: speaking length in mm, above 0; `front_mm` and `back_mm`: what the layer leaves bare at the ends in mm, 0
    /// or above and less than the length together; `partial_count`: partials to which B is fitted, 2 to 60.
    ///
    /// # Errors
    /// [`DomainError`] names the argument outside its range.
    pub fn new(length_mm: f64, front_mm: f64, back_mm: f64, partial_count: u32) -> Result<Self, DomainError> {
        let length_mm = positive("length_mm", length_mm)?;
        let bare_mm = not_negative("front_mm", front_mm)? + not_negative("back_mm", back_mm)?;
        check("back_mm", back_mm, bare_mm < length_mm, "bare ends shorter than the string together")?;
        let counted = f64::from(partial_count);
        check("partial_count", counted, (2..=MOST_PARTIALS).contains(&partial_count), "2 to 60")?;
        let (front, back) = (front_mm / length_mm, back_mm / length_mm);
        let numbers = || (1..=partial_count).map(f64::from);
        let mean_square = numbers().map(|n| n * n).sum::<f64>() / counted;
        let spread: f64 = numbers().map(|n| (n * n - mean_square).powi(2)).sum();
        let slope = |share: f64| {
            let rise =
                numbers().map(|n| (n * n - mean_square) * (shift(front, n, share) + shift(back, n, share)));
            2.0 * rise.sum::<f64>() / spread
        };
        Ok(Self { table: (0..=STEPS).map(|step| slope(f64::from(step) / f64::from(STEPS))).collect() })
    }

    /// What the ends add to B, where the layer has a share of the covered string's mass, 0 to 1; what lies beyond counts as
    /// the nearer end.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the place is 0 to 64")]
    pub fn inharmonicity(&self, share: f64) -> f64 {
        let place = share.clamp(0.0, 1.0) * f64::from(STEPS);
        let step = (place as u8).min(STEPS - 1);
        let at = usize::from(step);
        match self.table.get(at).zip(self.table.get(at + 1)) {
            Some((low, high)) => low + (place - f64::from(step)) * (high - low),
            None => 0.0,
        }
    }
}

/// Shift of an end over the length, of an end that is `bare` of the length, for partial `n`.
fn shift(bare: f64, n: f64, share: f64) -> f64 {
    let wave = n * PI;
    // At the share 1 the end would weigh nothing.
    let slow = (1.0 - share).max(1e-12).sqrt();
    let phase = wave * slow * bare;
    let whole = (phase / PI).round() * PI;
    bare - (whole + ((phase - whole).tan() / slow).atan()) / wave
}
