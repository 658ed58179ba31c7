//! The least path through the candidates of all notes.

use crate::bass::candidates::{Candidates, SLACK, go_on};
use crate::bass::envelope::Envelope;
use crate::bass::question::BassQuestion;
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

/// Where a path comes from: core and position in its list, one note lower.
type Back = (u16, u32);

/// Least costs of the paths that end in each candidate of a note.
struct Ends {
    values: Vec<Vec<f64>>,
    backs: Vec<Vec<Back>>,
}

/// Finds the least path. Paths that cannot end at or below `upper` are given up early; `None` if there is none at all.
pub(crate) fn least(
    question: &BassQuestion<'_>,
    notes: &[Candidates],
    upper: f64,
    stop: &dyn Fn() -> bool,
) -> Result<Option<Found>, DesignError> {
    let mut rest: f64 = notes.iter().map(|note| note.least).sum();
    let slack = SLACK * (1.0 + if upper.is_finite() { upper } else { 0.0 });
    let mut all: Vec<Ends> = Vec::with_capacity(notes.len());
    let mut below: Option<&Candidates> = None;
    for note in notes {
        go_on(stop)?;
        rest -= note.least;
        // What a path up to here may cost and still end at or below the upper bound.
        let bound = upper - rest + slack;
        let ends = match (below, all.last()) {
            (Some(below), Some(before)) => step(question, below, before, note, bound),
            _ => Ends {
                values: note.cores.iter().map(|list| list.iter().map(|c| c.own).collect()).collect(),
                backs: note.cores.iter().map(|list| vec![(0, 0); list.len()]).collect(),
            },
        };
        all.push(ends);
        below = Some(note);
    }
    Ok(trace(notes, &all))
}

/// Extends the paths by one note.
fn step(
    question: &BassQuestion<'_>,
    below: &Candidates,
    before: &Ends,
    note: &Candidates,
    bound: f64,
) -> Ends {
    let costs = &question.neighbour_costs;
    let gamma = costs.tension_step + costs.inharmonicity_step;
    // Share of the step of B in the parabola's place, and what is left of it in the parabola's height.
    let (place, height) = if gamma == 0.0 {
        (0.0, 0.0)
    } else {
        (costs.inharmonicity_step / gamma, costs.tension_step * costs.inharmonicity_step / gamma)
    };
    let mut ends = Ends {
        values: note.cores.iter().map(|list| vec![f64::INFINITY; list.len()]).collect(),
        backs: note.cores.iter().map(|list| vec![(0, 0); list.len()]).collect(),
    };
    let mut envelope = Envelope::default();
    for (from, list) in (0_u16..).zip(&below.cores) {
        let from_at = usize::from(from);
        let worth = (0_u32..).zip(list).zip(&before.values[from_at]).filter(|(_, value)| **value <= bound);
        envelope.build(gamma, worth.map(|((id, c), &value)| (c.log_tension, value, id)));
        let lowest = envelope.lowest();
        for (to, list) in note.cores.iter().enumerate() {
            // c_T·x² + c_B·(Δ − x)² = γ·(x − c_B·Δ/γ)² + (c_T·c_B/γ)·Δ², with Δ the step of ln(π²·E·I/L²).
            let delta = note.log_stiffness[to] - below.log_stiffness[from_at];
            let fixed = height * delta * delta + change(question, from_at, to);
            if lowest + fixed > bound {
                continue;
            }
            let mut reader = envelope.reader(gamma);
            let kept = ends.values[to].iter_mut().zip(&mut ends.backs[to]);
            for (candidate, (value, back)) in list.iter().zip(kept) {
                if let Some((least, id)) = reader.least(candidate.log_tension - place * delta)
                    && least + fixed + candidate.own < *value
                {
                    *value = least + fixed + candidate.own;
                    *back = (from, id);
                }
            }
        }
    }
    ends
}

/// Cost of going from one core to another.
fn change(question: &BassQuestion<'_>, below: usize, above: usize) -> f64 {
    if below == above {
        return 0.0;
    }
    let thicker = question.cores[below].area_mm2() < question.cores[above].area_mm2();
    question.neighbour_costs.wire_change + if thicker { question.neighbour_costs.thicker_above } else { 0.0 }
}

/// Follows the least path back from the last note.
fn trace(notes: &[Candidates], all: &[Ends]) -> Option<Found> {
    let last = all.last()?;
    let mut best: Option<(f64, usize, usize)> = None;
    for (core, values) in last.values.iter().enumerate() {
        for (at, &value) in values.iter().enumerate() {
            if value.is_finite() && best.is_none_or(|(least, _, _)| value < least) {
                best = Some((value, core, at));
            }
        }
    }
    let (value, mut core, mut at) = best?;
    let mut picks = Vec::with_capacity(notes.len());
    for (note, ends) in notes.iter().zip(all).rev() {
        let build = usize::try_from(note.cores.get(core)?.get(at)?.build).ok()?;
        picks.push(Pick { core, build });
        let (from, id) = *ends.backs.get(core)?.get(at)?;
        core = usize::from(from);
        at = usize::try_from(id).ok()?;
    }
    picks.reverse();
    Some(Found { value, picks })
}
