//! The least path through the candidates of all notes.

use crate::bass::candidates::{Candidate, Candidates, SLACK, go_on, of_group};
use crate::bass::question::BassQuestion;
use crate::bass::relaxed::Bounds;
use crate::error::DesignError;

/// A build chosen for a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pick {
    pub(crate) core: usize,
    pub(crate) build: usize,
}

/// A path and its cost.
#[derive(Debug)]
pub(crate) struct Found {
    pub(crate) value: f64,
    pub(crate) picks: Vec<Pick>,
}

/// Where a path comes from: group and position in its list, one note lower.
type Back = (u16, u32);

/// Least costs of the paths that end in each candidate of a note.
struct Ends {
    values: Vec<Vec<f64>>,
    backs: Vec<Vec<Back>>,
}

/// Finds the least path, pair by pair of neighbouring candidates. Paths that cannot end at or below `upper` are given up
/// early; `None` if there is none at all. `bounds`, if given, say what the rest of a path costs at least.
pub(crate) fn least(
    question: &BassQuestion<'_>,
    notes: &[Candidates],
    bounds: Option<&Bounds>,
    upper: f64,
    stop: &dyn Fn() -> bool,
) -> Result<Option<Found>, DesignError> {
    let slack = SLACK * (1.0 + if upper.is_finite() { upper } else { 0.0 });
    let mut rest: f64 = notes.iter().map(|note| note.least).sum();
    let mut all: Vec<Ends> = Vec::with_capacity(notes.len());
    let mut below: Option<&Candidates> = None;
    for (at, note) in notes.iter().enumerate() {
        go_on(stop)?;
        rest -= note.least;
        let mut ends = match (below, all.last()) {
            (Some(below), Some(before)) => step(question, below, before, note, upper + slack - rest),
            _ => Ends {
                values: note.groups.iter().map(|list| list.iter().map(|c| c.own).collect()).collect(),
                backs: note.groups.iter().map(|list| vec![(0, 0); list.len()]).collect(),
            },
        };
        if let Some(bounds) = bounds {
            give_up(&mut ends, bounds.above(at), upper + slack);
        }
        all.push(ends);
        below = Some(note);
    }
    Ok(trace(notes, &all))
}

/// Forgets paths that cannot end at or below `bound`.
fn give_up(ends: &mut Ends, above: &[Vec<f64>], bound: f64) {
    for (values, above) in ends.values.iter_mut().zip(above) {
        for (value, above) in values.iter_mut().zip(above) {
            if *value + above > bound {
                *value = f64::INFINITY;
            }
        }
    }
}

/// Extends the paths by one note.
fn step(
    question: &BassQuestion<'_>,
    below: &Candidates,
    before: &Ends,
    note: &Candidates,
    bound: f64,
) -> Ends {
    let mut ends = Ends {
        values: note.groups.iter().map(|list| vec![f64::INFINITY; list.len()]).collect(),
        backs: note.groups.iter().map(|list| vec![(0, 0); list.len()]).collect(),
    };
    let mut worth: Vec<(u32, Candidate, f64)> = Vec::new();
    for (from, list) in (0_u16..).zip(&below.groups) {
        let from_at = usize::from(from);
        let all = (0_u32..).zip(list).zip(&before.values[from_at]);
        worth.clear();
        worth.extend(all.filter(|(_, value)| **value <= bound).map(|((id, c), &value)| (id, *c, value)));
        let lowest = worth.iter().map(|(_, _, value)| *value).fold(f64::INFINITY, f64::min);
        for (to, list) in note.groups.iter().enumerate() {
            let fixed = change(question, from_at, to);
            if lowest + fixed > bound {
                continue;
            }
            let winding_step = steady(question, from_at, to);
            let kept = ends.values[to].iter_mut().zip(&mut ends.backs[to]);
            for (candidate, (value, back)) in list.iter().zip(kept) {
                let so_far = *value - fixed - candidate.own;
                let mut best = so_far;
                for (id, other, cost) in &worth {
                    let total = cost + between(question, winding_step, other, candidate);
                    if total < best {
                        best = total;
                        *back = (from, *id);
                    }
                }
                if best < so_far {
                    *value = best + fixed + candidate.own;
                }
            }
        }
    }
    ends
}

/// Cost of the step between two candidates, without what is the same for their groups.
fn between(question: &BassQuestion<'_>, winding_step: f64, low: &Candidate, high: &Candidate) -> f64 {
    let costs = &question.neighbour_costs;
    let tension = high.log_tension - low.log_tension;
    let b = high.log_inharmonicity - low.log_inharmonicity;
    let (inner, outer) = (high.log_inner - low.log_inner, high.log_outer - low.log_outer);
    costs.tension_step * tension * tension
        + costs.inharmonicity_step * b * b
        + winding_step * (inner * inner + outer * outer)
}

/// Cost of a step of winding wire from one group to another: none where the number of layers changes, since the layers do
/// not answer to each other then.
pub(crate) fn steady(question: &BassQuestion<'_>, below: usize, above: usize) -> f64 {
    if of_group(below).1 == of_group(above).1 { question.neighbour_costs.winding_step } else { 0.0 }
}

/// Cost of going from one group to another.
pub(crate) fn change(question: &BassQuestion<'_>, below: usize, above: usize) -> f64 {
    let ((core_below, two_below), (core_above, two_above)) = (of_group(below), of_group(above));
    let costs = &question.neighbour_costs;
    let layers = if two_below == two_above { 0.0 } else { costs.layer_change };
    if core_below == core_above {
        return layers;
    }
    let thicker = question.cores[core_below].area_mm2() < question.cores[core_above].area_mm2();
    layers + costs.wire_change + if thicker { costs.thicker_above } else { 0.0 }
}

/// Follows the least path back from the last note.
fn trace(notes: &[Candidates], all: &[Ends]) -> Option<Found> {
    let last = all.last()?;
    let mut best: Option<(f64, usize, usize)> = None;
    for (group, values) in last.values.iter().enumerate() {
        for (at, &value) in values.iter().enumerate() {
            if value.is_finite() && best.is_none_or(|(least, _, _)| value < least) {
                best = Some((value, group, at));
            }
        }
    }
    let (value, mut group, mut at) = best?;
    let mut picks = Vec::with_capacity(notes.len());
    for (note, ends) in notes.iter().zip(all).rev() {
        let build = usize::try_from(note.groups.get(group)?.get(at)?.build).ok()?;
        picks.push(Pick { core: of_group(group).0, build });
        let (from, id) = *ends.backs.get(group)?.get(at)?;
        group = usize::from(from);
        at = usize::try_from(id).ok()?;
    }
    picks.reverse();
    Some(Found { value, picks })
}
