//! The stepped string without stiffness.

use std::f64::consts::{FRAC_PI_2, PI};

use super::{
    partials::rayleigh,
    root::{self, Guess},
    sweep::Span,
};

/// Returns the first frequency Ω of `y'' + Ω²·ratio·y = 0`, `y = 0` at both ends, or `None` where the arithmetic
/// fails.
pub(super) fn first(spans: &[Span]) -> Option<f64> {
    let length: f64 = spans.iter().map(|span| span.length).sum();
    // Rayleigh's frequency is that of a stiff string: the factor takes its stiffness out.
    let start = rayleigh(spans, length, 1) / (PI / length).hypot(1.0);
    let lightest = spans.iter().map(|span| span.ratio).fold(f64::INFINITY, f64::min);
    let heaviest = spans.iter().map(|span| span.ratio).fold(0.0, f64::max);
    // Uniform strings of the greatest and of the least density, and the rounding.
    let (low, high) = (PI / length / heaviest.sqrt(), PI / length / lightest.sqrt());
    let guess =
        Guess { low: low * (1.0 - 1e-9), high: high * (1.0 + 1e-9), start, slope: PI / start, scale: start };
    let root = root::find(guess, |omega| {
        let over = phase(spans, omega) - PI;
        Some((over, over > 0.0))
    })?;
    Some(root.at)
}

/// Prüfer's phase at the right end: `tan φ = k·y/y'`, with `k = Ω·√ratio`. It rises with Ω and is nπ at partial n.
fn phase(spans: &[Span], omega: f64) -> f64 {
    let (mut phase, mut before) = (0.0_f64, None::<f64>);
    for span in spans {
        let wave = omega * span.ratio.sqrt();
        if let Some(before) = before {
            // y and y' go through the step, so that the tangent steps with k and multiples of π/2 stay.
            let whole = (phase / PI).round() * PI;
            let rest = phase - whole;
            if rest.abs() < FRAC_PI_2 {
                phase = whole + (rest.tan() * (wave / before)).atan();
            }
        }
        phase += wave * span.length;
        before = Some(wave);
    }
    phase
}
