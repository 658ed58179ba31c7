//! One sweep over a stepped string at one frequency: how many partials lie below it, and how far the next is.
//!
//! # The problem without units
//! With lengths in units of `√(EI/T)` and the frequency as `Ω = ω·√(EI·μ_ref)/T` the equation is
//! ```text
//! y'''' − y'' = Ω²·(μ/μ_ref)·y          y = y'' = 0 at both ends
//! ```
//! In a segment `p = Ω·√(μ/μ_ref)`, and y is made of `e^{±αx}`, `cos βx`, `sin βx` with `α² − β² = 1`, `αβ = p`.
//! `α·length` is some hundreds for a real string, so neither a transfer matrix nor `e^{αx}` can be used as
//! it stands.
//!
//! # What is carried along the string
//! Two solutions satisfy the left end. Carried are the 2×2 minors of their values `(y, y', m = y'', q = y''' − y')`:
//! the sixth, `y'∧m`, equals `y∧q`. All grow alike, as `e^{αx}`, which is left out; only `e^{−αx}` is ever computed.
//! No minor has poles, unlike an element of a dynamic stiffness matrix, so no digits are lost where a
//! frequency lies near one of a single clamped segment.
//!
//! # The count
//! Wittrick and Williams: the partials below `Ω` are those of the segments with clamped ends, and one for each
//! negative eigenvalue of the dynamic stiffness matrix, eliminated joint by joint. The sign of `y∧y'` gives the
//! parity of the count up to a joint; the trace of the 2×2 pivot tells none from two.

use std::f64::consts::{FRAC_PI_2, PI};

/// Below this value of `α·length` a segment is swept by its power series: the wave formulas would lose
/// `1/(α·length)²` of their digits, the series loses none however short the segment is.
const SHORT: f64 = 0.25;

/// Terms of the series: the rates of growth are at most `√2·α`, and `(√2/4)¹⁴/14!` is below the rounding.
const TERMS: u32 = 14;

/// A segment in units of the sweep.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    /// Length over `√(EI/T)`.
    pub(super) length: f64,
    /// Density over the reference density.
    pub(super) ratio: f64,
}

/// What a sweep finds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    /// Number of partials below the frequency.
    pub(super) below: u32,
    /// Phase of the wave that arrives at the right end, from −π/2 to π/2: 0 at a partial, and nearly linear in
    /// the frequency round it.
    pub(super) phase: f64,
}

/// The minors of two solutions, but for a common positive factor.
#[derive(Debug, Clone, Copy)]
struct Minors {
    y_t: f64,
    y_m: f64,
    y_q: f64,
    t_q: f64,
    m_q: f64,
}

/// The waves of a segment at one frequency.
#[derive(Debug, Clone, Copy)]
struct Waves {
    p2: f64,
    alpha2: f64,
    beta2: f64,
    alpha: f64,
    beta: f64,
    /// `α² + β²`
    n: f64,
}

/// What a segment adds to the count: its clamped partials, and the weighted trace of its stiffness at its left joint.
struct Clamped {
    below: u32,
    trace: f64,
}

/// Sweeps from the left pinned end to the right one. `None` where the arithmetic fails on extreme figures.
pub(super) fn sweep(spans: &[Span], omega: f64) -> Option<Sample> {
    let omega2 = omega * omega;
    let mut minors = Minors { y_t: 0.0, y_m: 0.0, y_q: 0.0, t_q: 1.0, m_q: 0.0 };
    let mut waves = Waves::new(0.0);
    let mut below = 0;
    for span in spans {
        waves = Waves::new(omega2 * span.ratio);
        // Infinite at the left end: only the slope is free there, so that the pivot has one eigenvalue, not two.
        let joint = (minors.t_q + waves.n * minors.y_m) / minors.y_t;
        let clamped = minors.pass(waves, span.length);
        below += clamped.below;
        if odd(below) != (minors.y_t < 0.0) {
            below += 1;
        } else if joint + clamped.trace < 0.0 {
            below += 2;
        }
    }
    if odd(below) != (minors.y_m < 0.0) {
        below += 1;
    }
    let finite = minors.y_t + minors.y_m + minors.y_q + minors.t_q + minors.m_q;
    finite.is_finite().then(|| Sample { below, phase: minors.phase(waves) })
}

fn odd(count: u32) -> bool {
    !count.is_multiple_of(2)
}

impl Waves {
    fn new(p2: f64) -> Self {
        let root = (0.25 + p2).sqrt();
        let alpha2 = 0.5 + root;
        // Not root − 1/2, which loses all digits of a long string's low partials.
        let beta2 = p2 / alpha2;
        Self { p2, alpha2, beta2, alpha: alpha2.sqrt(), beta: beta2.sqrt(), n: 2.0 * root }
    }
}

impl Minors {
    /// Carries the minors through a segment and tells what the segment adds to the count.
    #[inline]
    fn pass(&mut self, waves: Waves, length: f64) -> Clamped {
        let clamped = if waves.alpha * length < SHORT {
            self.pass_series(waves.p2, length);
            // Its half wave is longer than itself: no clamped partial. Stiffness of a short beam: 12/l³ and 4/l.
            Clamped { below: 0, trace: (12.0 / (length * length) + 4.0 * waves.n) / length }
        } else {
            let (sin, cos) = (0.5 * waves.beta * length).sin_cos();
            let decay = (-waves.alpha * length).exp();
            self.pass_waves(waves, sin, cos, decay);
            clamped(waves, length, sin, cos, decay)
        };
        let largest =
            self.y_t.abs().max(self.y_m.abs()).max(self.y_q.abs()).max(self.t_q.abs()).max(self.m_q.abs());
        *self = self.times(1.0 / largest);
        clamped
    }

    /// `sin` and `cos` of half the phase `β·length`, `decay` = `e^{−α·length}`.
    ///
    /// With `y = E·cosh αx + (O·sinh αx) + C·cos βx + S·sin βx` the minors of (E, O) and (C, S) are turned as a
    /// tensor product; `E∧O` and `C∧S` are constant.
    #[inline]
    fn pass_waves(&mut self, waves: Waves, sin: f64, cos: f64, decay: f64) {
        let Waves { p2, alpha2, beta2, alpha, beta, n } = waves;
        let (inverse_n, p) = (1.0 / n, alpha * beta);
        let inverse_n2 = inverse_n * inverse_n;
        let constant = (self.m_q + p2 * self.y_t - self.y_q) * inverse_n2 * decay; // α·E∧O = β·C∧S
        let e_c = -self.y_m * inverse_n;
        let e_s = (beta2 * (beta2 * self.y_t - 2.0 * self.y_q) - self.m_q) * inverse_n2 / beta;
        let o_c = (self.m_q - alpha2 * (2.0 * self.y_q + alpha2 * self.y_t)) * inverse_n2 / alpha;
        let o_s = -self.t_q * inverse_n / p;

        let (cosh, sinh) = (0.5 * (1.0 + decay * decay), 0.5 * (1.0 - decay * decay));
        let (e_c, o_c) = (cosh * e_c + sinh * o_c, sinh * e_c + cosh * o_c);
        let (e_s, o_s) = (cosh * e_s + sinh * o_s, sinh * e_s + cosh * o_s);
        let (sin, cos) = (2.0 * sin * cos, (cos - sin) * (cos + sin));
        let (e_c, e_s) = (e_c * cos + e_s * sin, e_s * cos - e_c * sin);
        let (o_c, o_s) = (o_c * cos + o_s * sin, o_s * cos - o_c * sin);

        let (e_s, o_c) = (beta * e_s, alpha * o_c);
        *self = Self {
            y_t: 2.0 * constant + e_s - o_c,
            y_m: -n * e_c,
            y_q: -constant - alpha2 * e_s - beta2 * o_c,
            t_q: -n * p * o_s,
            m_q: 2.0 * p2 * constant - alpha2 * alpha2 * e_s + beta2 * beta2 * o_c,
        };
    }

    /// Power series of the same; from `y' = t`, `t' = m`, `m' = q + t`, `q' = p²·y`.
    fn pass_series(&mut self, p2: f64, length: f64) {
        let (mut sum, mut term) = (*self, *self);
        for k in 1..=TERMS {
            let step = length / f64::from(k);
            term = Self {
                y_t: step * term.y_m,
                y_m: step * (2.0 * term.y_q + term.y_t),
                y_q: step * term.t_q,
                t_q: step * (term.m_q - p2 * term.y_t),
                m_q: step * (term.t_q - p2 * term.y_m),
            };
            sum = Self {
                y_t: sum.y_t + term.y_t,
                y_m: sum.y_m + term.y_m,
                y_q: sum.y_q + term.y_q,
                t_q: sum.t_q + term.t_q,
                m_q: sum.m_q + term.m_q,
            };
        }
        *self = sum;
    }

    /// Phase of the wave `R·sin(βx + φ)` at the right end: `tan φ = E∧C / E∧S`. Its zeros are those of `y∧m`.
    fn phase(&self, waves: Waves) -> f64 {
        let Waves { beta2, beta, n, .. } = waves;
        let e_s = beta2 * (beta2 * self.y_t - 2.0 * self.y_q) - self.m_q;
        let phase = (-self.y_m * beta * n / e_s).atan();
        if phase.is_nan() { FRAC_PI_2 } else { phase }
    }

    fn times(self, factor: f64) -> Self {
        Self {
            y_t: self.y_t * factor,
            y_m: self.y_m * factor,
            y_q: self.y_q * factor,
            t_q: self.t_q * factor,
            m_q: self.m_q * factor,
        }
    }
}

/// The partials of a clamped segment below the frequency, and `K_ww + n·K_θθ` of its left end.
///
/// The halves of even and of odd shapes are pinned at phases `β·length` of odd and of even multiples of π; from
/// the number of pinned partials clamping takes one for each negative moment stiffness, whose signs are those
/// of `α·tanh + β·tan` and of `α·coth − β·cot` (of half the length).
#[inline]
fn clamped(waves: Waves, length: f64, sin: f64, cos: f64, decay: f64) -> Clamped {
    let Waves { alpha, beta, n, .. } = waves;
    let tanh = (1.0 - decay) / (1.0 + decay);
    let even = alpha * tanh * cos + beta * sin;
    let odd_shape = alpha * sin - beta * cos * tanh;
    let below = pinned_below(beta * length, sin * cos)
        .saturating_sub(u32::from(even * cos < 0.0))
        .saturating_sub(u32::from(odd_shape * sin < 0.0));
    let p = alpha * beta;
    let trace = 0.5 * n * ((n * cos - p * sin * tanh) / even + (n * sin * tanh + p * cos) / odd_shape);
    Clamped { below, trace }
}

/// Whole multiples of π below `phase`, in agreement with the sign of its computed sine.
#[inline]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates; never negative")]
fn pinned_below(phase: f64, sine: f64) -> u32 {
    let nearest = (phase / PI + 0.5) as u32;
    if odd(nearest) == (sine < 0.0) { nearest } else { nearest.saturating_sub(1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where both hold, the two ways through a segment are the same, and so are a segment and its halves.
    #[test]
    fn series_and_waves_agree() {
        for p2 in [1e-6_f64, 1e-2, 1.0, 1e3, 1e8] {
            let waves = Waves::new(p2);
            let alpha = waves.alpha;
            let start = Minors {
                y_t: 0.3,
                y_m: 0.2 * alpha,
                y_q: -0.7 * alpha.powi(2),
                t_q: 0.9 * alpha.powi(3),
                m_q: 0.4 * alpha.powi(4),
            };
            let length = SHORT / alpha;
            let [mut series, mut halves, mut long] = [start; 3];
            series.pass_series(p2, length);
            halves.pass_series(p2, 0.5 * length);
            halves.pass_series(p2, 0.5 * length);
            let (sin, cos) = (0.5 * waves.beta * length).sin_cos();
            let decay = (-alpha * length).exp();
            long.pass_waves(waves, sin, cos, decay);
            // The waves leave the growth out.
            let long = long.times(1.0 / decay);
            let parts = |m: &Minors| {
                [m.y_t, m.y_m / alpha, m.y_q / alpha.powi(2), m.t_q / alpha.powi(3), m.m_q / alpha.powi(4)]
            };
            for other in [halves, long] {
                for (a, b) in parts(&series).iter().zip(parts(&other)) {
                    assert!((a - b).abs() < 1e-13, "p² = {p2}: {series:?} {other:?}");
                }
            }
        }
    }
}
