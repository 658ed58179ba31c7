//! Leaving out what cannot be part of a better design, until what is left can be searched pair by pair.

use crate::bass::candidates::{Candidates, SLACK};
use crate::bass::question::BassQuestion;
use crate::bass::relaxed::Bounds;
use crate::bass::search;
use crate::error::DesignError;

/// Candidates of each note, with one layer or two on any core, of which the next upper bound is made.
const FEW: usize = 200;
/// Pairs of neighbouring candidates that are looked at in the last search at most: a bound on time, of the order of half a
/// second.
const MOST_PAIRS: u64 = 200_000_000;

/// What the bounds leave.
pub(crate) struct Narrowed {
    pub(crate) kept: Vec<Candidates>,
    pub(crate) bounds: Bounds,
    pub(crate) upper: f64,
    /// No solution with what was cut off in spite of the bounds costs less; infinite if nothing was.
    pub(crate) gap_above: f64,
}

/// Leaves out what cannot be in a solution below the upper bound, and improves that bound, while it helps.
pub(crate) fn narrowed(
    question: &BassQuestion<'_>,
    mut kept: Vec<Candidates>,
    mut upper: f64,
    stop: &dyn Fn() -> bool,
) -> Result<Narrowed, DesignError> {
    let slack = |upper: f64| SLACK * (1.0 + upper);
    let count = |kept: &[Candidates]| kept.iter().map(Candidates::len).sum::<u64>();
    loop {
        let before = count(&kept);
        let bounds = Bounds::of(question, &kept, stop)?;
        let few = bounds.below(&kept, &bounds.thresholds(FEW));
        if let Some(found) = search::least(question, &few, None, upper, stop)? {
            upper = upper.min(found.value);
        }
        // A solution at the bound lies among what is kept, so there is always one.
        kept = bounds.kept(&kept, upper + slack(upper));
        let after = count(&kept);
        // The bounds belong to the lists that they were made of.
        if 10 * after > 9 * before || pairs(&kept) < MOST_PAIRS / 100 {
            let bounds = Bounds::of(question, &kept, stop)?;
            return if pairs(&kept) <= MOST_PAIRS {
                Ok(Narrowed { kept, bounds, upper, gap_above: f64::INFINITY })
            } else {
                cut_short(question, &kept, &bounds, upper, stop)
            };
        }
    }
}

/// Keeps as many of the candidates with the lowest bounds as can be searched in time.
fn cut_short(
    question: &BassQuestion<'_>,
    kept: &[Candidates],
    bounds: &Bounds,
    upper: f64,
    stop: &dyn Fn() -> bool,
) -> Result<Narrowed, DesignError> {
    let steps = kept.len().saturating_sub(1).max(1) as u64;
    let count = usize::try_from((MOST_PAIRS / steps).isqrt()).unwrap_or(FEW).max(FEW);
    let thresholds = bounds.thresholds(count);
    let gap_above = thresholds.iter().copied().fold(f64::INFINITY, f64::min);
    let kept = bounds.below(kept, &thresholds);
    let bounds = Bounds::of(question, &kept, stop)?;
    Ok(Narrowed { kept, bounds, upper, gap_above })
}

/// Pairs of neighbouring candidates.
fn pairs(kept: &[Candidates]) -> u64 {
    kept.windows(2).map(|pair| pair[0].len().saturating_mul(pair[1].len())).fold(0, u64::saturating_add)
}
