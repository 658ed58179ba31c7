//! One root between bounds, by secants that cannot leave the bounds.

use std::ops::RangeInclusive;

/// Relative step at which a root is taken: two digits above the rounding of the functions solved here.
const TOLERANCE: f64 = 1e-14;

/// Slopes that differ from the first guess by more than this factor are not used.
const SLOPE_TRUST: f64 = 50.0;

/// Secants after which every second step is a bisection.
const PATIENCE: u32 = 8;

/// Steps after which the search is given up. Bisection alone ends in fewer.
const MOST_STEPS: u32 = 300;

/// What is known of a root before the search.
#[derive(Debug, Clone, Copy)]
pub(super) struct Guess {
    /// Bounds; the upper one may be infinite.
    pub(super) low: f64,
    pub(super) high: f64,
    /// First argument to try, above 0.
    pub(super) start: f64,
    /// Slope of the function near the root, above 0.
    pub(super) slope: f64,
    /// Distance over which the slope changes by its own size, or less: the search measures that too.
    pub(super) scale: f64,
}

/// A root and the slope found there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Root {
    pub(super) at: f64,
    pub(super) slope: f64,
}

/// Finds the root within the bounds. `evaluate` returns the function, which may jump away from the root, and whether
/// the root is at or below the argument, which alone moves the bounds. `None` if there is no such root, or if
/// `evaluate` has no answer.
pub(super) fn find(guess: Guess, mut evaluate: impl FnMut(f64) -> Option<(f64, bool)>) -> Option<Root> {
    let Guess { mut low, mut high, start, .. } = guess;
    let mut at = if start > low && start < high { start } else { inside(low, high) };
    let mut secant = Secant::new(guess);
    for count in 0..MOST_STEPS {
        let (value, above) = evaluate(at)?;
        if above {
            high = at;
        } else {
            low = at;
        }
        let (next, sure) = secant.step(at, value);
        if sure && low <= next && next <= high {
            return Some(Root { at: next, slope: secant.slope });
        }
        if high.is_finite() && high - low <= f64::EPSILON * high {
            return Some(Root { at: 0.5 * (low + high), slope: secant.slope });
        }
        let secant_turn = count < PATIENCE || count.is_multiple_of(2);
        at = if secant_turn && next > low && next < high { next } else { inside(low, high) };
    }
    None
}

/// The slope through the last two points, and how far it can be trusted.
struct Secant {
    slope: f64,
    trusted: RangeInclusive<f64>,
    scale: f64,
    /// The point before, and the step that led to it.
    before: Option<(f64, f64)>,
    step_before: f64,
}

impl Secant {
    fn new(guess: Guess) -> Self {
        let trusted = guess.slope / SLOPE_TRUST..=guess.slope * SLOPE_TRUST;
        Self { slope: guess.slope, trusted, scale: guess.scale, before: None, step_before: 0.0 }
    }

    /// Takes a point; returns the next, and whether that is the root to within the tolerance.
    fn step(&mut self, at: f64, value: f64) -> (f64, bool) {
        let mut error = f64::INFINITY;
        if let Some((before_at, before_value)) = self.before {
            let last_step = at - before_at;
            let slope = (value - before_value) / last_step;
            if self.trusted.contains(&slope) {
                // The error after a secant step is about the product of the last two steps over the scale.
                let bend = (slope / self.slope - 1.0).abs() / (last_step.abs() + self.step_before);
                self.slope = slope;
                error = (value / slope * last_step).abs() * bend.max(1.0 / self.scale);
            }
            self.step_before = last_step.abs();
        }
        self.before = Some((at, value));
        let step = -value / self.slope;
        (at + step, step.abs().min(error) <= TOLERANCE * at)
    }
}

/// Finds the root by bisection alone, from the bounds and the size of a step upward where there is none.
pub(super) fn bisect(low: f64, step: f64, mut above: impl FnMut(f64) -> Option<bool>) -> Option<f64> {
    let (mut low, mut high, mut step) = (low, low + step, step);
    for _ in 0..MOST_STEPS {
        if !high.is_finite() {
            return None;
        }
        if above(high)? {
            break;
        }
        (low, step) = (high, 2.0 * step);
        high = low + step;
    }
    for _ in 0..MOST_STEPS {
        let middle = 0.5 * (low + high);
        if !(middle > low && middle < high) {
            return Some(high);
        }
        if above(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    None
}

/// A point between the bounds, or above the lower one.
fn inside(low: f64, high: f64) -> f64 {
    if high.is_finite() { 0.5 * (low + high) } else { 1.25 * low.max(f64::MIN_POSITIVE) }
}
