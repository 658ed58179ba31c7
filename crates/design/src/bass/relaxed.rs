//! What a path through a candidate costs at least, from an easier problem that is solved fast.
//!
//! The easier problem leaves out the steps of winding wires and takes B of a group's candidates as k/T times a factor
//! that is free within the range that it has in the group. What remains of a step is a parabola in ln T, so that the least
//! over a sorted list is a lower envelope, found in linear time. All that is left out costs 0 or more, so that the easier
//! problem's cost is never above the true one.

use crate::bass::candidates::{Candidates, go_on};
use crate::bass::envelope::Envelope;
use crate::bass::question::BassQuestion;
use crate::bass::search::change;
use crate::error::DesignError;

/// Half ranges of ln(B·T) in a group beyond which the steps of B are left out as a whole.
const WIDE: f64 = 0.3;
/// Part of the squared step of B that is given up for the freedom of the factor.
const GIVEN_UP: f64 = 0.25;

/// Costs by note, group and candidate.
type Costs = Vec<Vec<Vec<f64>>>;

/// Least costs of the easier problem.
#[derive(Debug)]
pub(crate) struct Bounds {
    /// Of paths from the first note up to a candidate, its own cost included.
    up_to: Costs,
    /// Of paths from a candidate to the last note, its own cost not included.
    above: Costs,
}

impl Bounds {
    /// Solves the easier problem from both ends.
    pub(crate) fn of(
        question: &BassQuestion<'_>,
        notes: &[Candidates],
        stop: &dyn Fn() -> bool,
    ) -> Result<Self, DesignError> {
        let ranges: Vec<Vec<Range>> = notes.iter().map(ranges).collect();
        let widest = ranges.iter().flatten().map(|range| range.half).fold(0.0, f64::max);
        let eased = Eased::of(question, widest);
        let mut up_to: Costs = Vec::with_capacity(notes.len());
        for at in 0..notes.len() {
            go_on(stop)?;
            let own = |note: &Candidates| own(note);
            let costs = match at.checked_sub(1) {
                None => own(&notes[at]),
                Some(below) => {
                    let from = Side { note: &notes[below], ranges: &ranges[below], costs: &up_to[below] };
                    let mut costs =
                        eased.step(&from, &notes[at], &ranges[at], |from, to| change(question, from, to));
                    for (list, own) in costs.iter_mut().zip(own(&notes[at])) {
                        list.iter_mut().zip(own).for_each(|(cost, own)| *cost += own);
                    }
                    costs
                }
            };
            up_to.push(costs);
        }
        let mut above: Costs = Vec::with_capacity(notes.len());
        for at in (0..notes.len()).rev() {
            go_on(stop)?;
            let costs = match (above.last(), notes.get(at + 1)) {
                (Some(rest), Some(next)) => {
                    let mut with_own = own(next);
                    for (list, rest) in with_own.iter_mut().zip(rest) {
                        list.iter_mut().zip(rest).for_each(|(cost, rest)| *cost += rest);
                    }
                    let from = Side { note: next, ranges: &ranges[at + 1], costs: &with_own };
                    eased.step(&from, &notes[at], &ranges[at], |from, to| change(question, to, from))
                }
                _ => notes[at].groups.iter().map(|list| vec![0.0; list.len()]).collect(),
            };
            above.push(costs);
        }
        above.reverse();
        Ok(Self { up_to, above })
    }

    /// Least costs of what comes after the candidates of a note.
    pub(crate) fn above(&self, note: usize) -> &[Vec<f64>] {
        self.above.get(note).map_or(&[], Vec::as_slice)
    }

    /// Least costs of whole paths through the candidates of a note, group by group.
    fn through(&self, note: usize) -> impl Iterator<Item = impl Iterator<Item = f64>> {
        let lists = self.up_to[note].iter().zip(&self.above[note]);
        lists.map(|(up_to, above)| up_to.iter().zip(above).map(|(up_to, above)| up_to + above))
    }

    /// The candidates through which a path may cost `bound` or less.
    pub(crate) fn kept(&self, notes: &[Candidates], bound: f64) -> Vec<Candidates> {
        let kept = notes.iter().enumerate().map(|(at, note)| {
            let groups = note.groups.iter().zip(self.through(at));
            let groups = groups.map(|(list, costs)| {
                list.iter().zip(costs).filter(|(_, cost)| *cost <= bound).map(|(c, _)| *c).collect()
            });
            Candidates::new(groups.collect())
        });
        kept.collect()
    }

    /// For each note the cost that `count` of its candidates do not exceed; infinite where it has no more.
    pub(crate) fn thresholds(&self, count: usize) -> Vec<f64> {
        let of = |at| {
            let mut costs: Vec<f64> = self.through(at).flatten().collect();
            if costs.len() <= count {
                return f64::INFINITY;
            }
            *costs.select_nth_unstable_by(count, f64::total_cmp).1
        };
        (0..self.up_to.len()).map(of).collect()
    }

    /// As [`Self::kept`], with a bound for each note, below which costs must be.
    pub(crate) fn below(&self, notes: &[Candidates], thresholds: &[f64]) -> Vec<Candidates> {
        let kept = notes.iter().enumerate().zip(thresholds).map(|((at, note), threshold)| {
            let groups = note.groups.iter().zip(self.through(at));
            let groups = groups.map(|(list, costs)| {
                list.iter().zip(costs).filter(|(_, cost)| cost < threshold).map(|(c, _)| *c).collect()
            });
            Candidates::new(groups.collect())
        });
        kept.collect()
    }
}

fn own(note: &Candidates) -> Vec<Vec<f64>> {
    note.groups.iter().map(|list| list.iter().map(|c| c.own).collect()).collect()
}

/// Range of ln(B·T) in a group.
#[derive(Debug, Clone, Copy)]
struct Range {
    middle: f64,
    half: f64,
}

fn ranges(note: &Candidates) -> Vec<Range> {
    let of = |list: &Vec<crate::bass::candidates::Candidate>| {
        let logs = list.iter().map(|c| c.log_inharmonicity + c.log_tension);
        let (low, high) =
            logs.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
        if low > high {
            return Range { middle: 0.0, half: 0.0 };
        }
        // What rounding alone spreads is none.
        let half = 0.5 * (high - low);
        Range { middle: 0.5 * (low + high), half: if half < 1e-12 { 0.0 } else { half } }
    };
    note.groups.iter().map(of).collect()
}

/// Candidates from which a step goes, with what it has cost up to them.
struct Side<'a> {
    note: &'a Candidates,
    ranges: &'a [Range],
    costs: &'a [Vec<f64>],
}

/// The step of the easier problem: (y + ε)² ≥ (1 − η)·y² − ((1 − η)/η)·E² for |ε| ≤ E, with y the step of ln B at the
/// middle of both ranges and η what is given up.
struct Eased {
    tension_step: f64,
    /// c_B·(1 − η).
    inharmonicity_step: f64,
    /// c_B·(1 − η)/η; 0 where η is 0 or 1.
    freedom: f64,
}

impl Eased {
    fn of(question: &BassQuestion<'_>, widest: f64) -> Self {
        let costs = &question.neighbour_costs;
        let c = costs.inharmonicity_step;
        let (inharmonicity_step, freedom) = if widest == 0.0 {
            (c, 0.0)
        } else if widest > WIDE {
            (0.0, 0.0)
        } else {
            (c * (1.0 - GIVEN_UP), c * (1.0 - GIVEN_UP) / GIVEN_UP)
        };
        Self { tension_step: costs.tension_step, inharmonicity_step, freedom }
    }

    /// Least costs of reaching each candidate `to`, its own cost not included.
    fn step(
        &self,
        from: &Side<'_>,
        to: &Candidates,
        to_ranges: &[Range],
        change: impl Fn(usize, usize) -> f64,
    ) -> Vec<Vec<f64>> {
        let gamma = self.tension_step + self.inharmonicity_step;
        // Share of the step of B in the parabola's place, and what is left of it in the parabola's height.
        let (place, height) = if gamma == 0.0 {
            (0.0, 0.0)
        } else {
            (self.inharmonicity_step / gamma, self.tension_step * self.inharmonicity_step / gamma)
        };
        let mut costs: Vec<Vec<f64>> = to.groups.iter().map(|list| vec![f64::INFINITY; list.len()]).collect();
        let mut envelope = Envelope::default();
        for (from_at, list) in from.note.groups.iter().enumerate().filter(|(_, list)| !list.is_empty()) {
            let parabolas = (0_u32..).zip(list).zip(&from.costs[from_at]);
            envelope.build(gamma, parabolas.map(|((id, c), &cost)| (c.log_tension, cost, id)));
            for (to_at, list) in to.groups.iter().enumerate() {
                // c_T·x² + c_B·(Δ − x)² = γ·(x − c_B·Δ/γ)² + (c_T·c_B/γ)·Δ², with Δ the step of ln(B·T).
                let delta = to_ranges[to_at].middle - from.ranges[from_at].middle;
                let free = to_ranges[to_at].half + from.ranges[from_at].half;
                let fixed = height * delta * delta - self.freedom * free * free + change(from_at, to_at);
                let mut reader = envelope.reader(gamma);
                for (candidate, cost) in list.iter().zip(&mut costs[to_at]) {
                    if let Some((least, _)) = reader.least(candidate.log_tension - place * delta) {
                        *cost = cost.min(least + fixed);
                    }
                }
            }
        }
        costs
    }
}
