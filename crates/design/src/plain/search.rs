//! The least path through the sizes of all notes.

use becket_acoustics::{inharmonicity, stress_mpa, tension_stiffness_free_n};
use becket_scale::PitchBasis;
use becket_wire::Wire;

use crate::error::{DesignError, Unmet};
use crate::objective::{LogFigures, ObjectiveTerms};
use crate::plain::question::{PlainNote, PlainQuestion};
use crate::plain::{PlainChoice, PlainDesign};

/// A size at a note, within the limits.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Size {
    /// Position in the stock.
    wire: usize,
    tension_n: f64,
    load_share: f64,
    inharmonicity: f64,
    log: LogFigures,
    own: f64,
}

/// Least cost of a path that ends in a state, and the state of the note below.
#[derive(Debug, Clone, Copy)]
struct End {
    value: f64,
    back: usize,
}

/// The sizes that come into question for each note.
pub(crate) fn figures(question: &PlainQuestion<'_>) -> Result<Vec<Vec<Size>>, DesignError> {
    let mut all = Vec::with_capacity(question.notes.len());
    let mut unmet = Vec::new();
    for note in question.notes {
        let mut refused = Unmet::new(note.note);
        let mut sizes = Vec::new();
        for (at, wire) in question.wires.iter().enumerate() {
            if note.fixed_wire_id.as_ref().is_some_and(|fixed| fixed != wire.wire_id()) {
                continue;
            }
            let size = size(question, note, at, wire, &mut refused)
                .map_err(|source| DesignError::Formula { note: note.note, source })?;
            sizes.extend(size);
        }
        if sizes.is_empty() {
            unmet.push(refused);
        }
        all.push(sizes);
    }
    if unmet.is_empty() { Ok(all) } else { Err(DesignError::NothingFits(unmet)) }
}

fn size(
    question: &PlainQuestion<'_>,
    note: &PlainNote,
    at: usize,
    wire: &Wire,
    refused: &mut Unmet,
) -> Result<Option<Size>, becket_acoustics::DomainError> {
    // With a tension of 1 N, B is the stiffness π²·E·I/L² in N.
    let stiffness_n =
        inharmonicity(note.speaking_mm, 1.0, wire.youngs_modulus_gpa(), wire.second_moment_mm4())?;
    let free_n = tension_stiffness_free_n(note.speaking_mm, wire.linear_density_g_m(), note.frequency_hz)?;
    let tension_n = match question.pitch_basis {
        PitchBasis::StiffnessFree => free_n,
        PitchBasis::FirstPartial => free_n - stiffness_n,
    };
    let load_share = tension_n / wire.breaking_load_n().unwrap_or(f64::MIN_POSITIVE);
    refused.tried += 1;
    refused.saw(load_share);
    if load_share > question.limits.max_load_share || tension_n > question.limits.max_tension_n {
        refused.too_high += 1;
        return Ok(None);
    }
    if tension_n <= 0.0 {
        refused.too_low += 1;
        return Ok(None);
    }
    let inharmonicity = stiffness_n / tension_n;
    let log = LogFigures { tension: tension_n.ln(), inharmonicity: inharmonicity.ln() };
    let own = note.targets.cost(tension_n, load_share, inharmonicity);
    Ok(Some(Size { wire: at, tension_n, load_share, inharmonicity, log, own }))
}

/// Finds the least path. A state is a size and how far its run has come, since a run must be long enough before it may
/// end; state `at` is of size `at / shortest` and has `at % shortest + 1` notes of its run, or more at the last of them.
pub(crate) fn least(question: &PlainQuestion<'_>, notes: &[Vec<Size>]) -> Result<PlainDesign, DesignError> {
    let across = question.pairs_across();
    let shortest = usize::from(question.min_run_notes);
    let mut all: Vec<Vec<End>> = Vec::with_capacity(notes.len());
    let mut below: Option<&Vec<Size>> = None;
    for ((sizes, &cuts), note) in notes.iter().zip(&across).zip(question.notes) {
        let mut ends = Vec::with_capacity(sizes.len() * shortest);
        for size in sizes {
            match (below, all.last()) {
                (Some(below), Some(before)) => {
                    ends.extend((0..shortest).map(|run| end(question, below, before, size, run, cuts)));
                }
                _ => ends.extend((0..shortest).map(|run| start(question, size, run))),
            }
        }
        if ends.iter().all(|end| end.value.is_infinite()) {
            return Err(DesignError::NoSequence { note: note.note });
        }
        all.push(ends);
        below = Some(sizes);
    }
    let last_note = question.notes.last().map_or(0, |note| note.note);
    let path = trace(&all, shortest).ok_or(DesignError::NoSequence { note: last_note })?;
    let sizes = notes.iter().zip(path).filter_map(|(sizes, at)| sizes.get(at / shortest));
    design(question, &sizes.collect::<Vec<_>>(), &across)
}

/// A run that begins with the first note.
fn start(question: &PlainQuestion<'_>, size: &Size, run: usize) -> End {
    let value = if run == 0 { size.own + first_step(question, size) } else { f64::INFINITY };
    End { value, back: 0 }
}

/// The least path that ends in a size whose run has come to `run`.
fn end(
    question: &PlainQuestion<'_>,
    below: &[Size],
    before: &[End],
    size: &Size,
    run: usize,
    cuts: bool,
) -> End {
    let full = usize::from(question.min_run_notes) - 1;
    let mut best = End { value: f64::INFINITY, back: 0 };
    for (at, from) in below.iter().enumerate() {
        // A run goes on, and stays full when it is; or a new one begins after a full one.
        let (same, first) = (from.wire == size.wire, run == 0);
        let goes_on = [run.checked_sub(1), (run == full).then_some(full)].map(|from| from.filter(|_| same));
        let begins = (!same && first).then_some(full);
        let more = step(question, from, size, cuts).total() + size.own;
        for from_run in goes_on.into_iter().chain([begins]).flatten() {
            let back = at * (full + 1) + from_run;
            let value = before.get(back).map_or(f64::INFINITY, |end| end.value) + more;
            if value < best.value {
                best = End { value, back };
            }
        }
    }
    best
}

fn first_step(question: &PlainQuestion<'_>, size: &Size) -> f64 {
    question.below.map_or(0.0, |below| {
        let (tension, b) = question.neighbour_costs.steps(below.log(), size.log);
        tension + b
    })
}

/// Cost of going from a size to that of the next note; infinite where the change is not allowed.
fn step(question: &PlainQuestion<'_>, from: &Size, to: &Size, cuts: bool) -> ObjectiveTerms {
    let costs = &question.neighbour_costs;
    let (tension_steps, inharmonicity_steps) = costs.steps(from.log, to.log);
    let mut terms = ObjectiveTerms { tension_steps, inharmonicity_steps, ..ObjectiveTerms::default() };
    if from.wire != to.wire {
        terms.wire_changes = costs.wire_change;
        if question.wires[from.wire].area_mm2() < question.wires[to.wire].area_mm2() {
            terms.thicker_above = costs.thicker_above;
        }
        if cuts {
            // Both strings of the pair are tied.
            terms.tied_strings = question.tied_string_cost.map_or(f64::INFINITY, |cost| 2.0 * cost);
        }
    }
    terms
}

/// States of the least path that ends with a full run, one for each note; `None` if there is none.
fn trace(all: &[Vec<End>], shortest: usize) -> Option<Vec<usize>> {
    let full = |at: &usize| at % shortest == shortest - 1;
    let mut best: Option<(f64, usize)> = None;
    for (at, end) in all.last()?.iter().enumerate().filter(|(at, _)| full(at)) {
        if end.value.is_finite() && best.is_none_or(|(least, _)| end.value < least) {
            best = Some((end.value, at));
        }
    }
    let (_, mut at) = best?;
    let mut path = Vec::with_capacity(all.len());
    for ends in all.iter().rev() {
        path.push(at);
        at = ends.get(at)?.back;
    }
    path.reverse();
    Some(path)
}

/// Puts the answer together; the objective is summed up anew, term by term.
fn design(
    question: &PlainQuestion<'_>,
    chosen: &[&Size],
    across: &[bool],
) -> Result<PlainDesign, DesignError> {
    let mut design = PlainDesign {
        notes: Vec::with_capacity(chosen.len()),
        terms: ObjectiveTerms::default(),
        tied_at_changes: 0,
    };
    let mut below: Option<&Size> = None;
    for ((size, &cuts), note) in chosen.iter().zip(across).zip(question.notes) {
        let terms = &mut design.terms;
        let mut pair_cut_below = false;
        if let Some(from) = below {
            let more = step(question, from, size, cuts);
            terms.tension_steps += more.tension_steps;
            terms.inharmonicity_steps += more.inharmonicity_steps;
            terms.wire_changes += more.wire_changes;
            terms.thicker_above += more.thicker_above;
            terms.tied_strings += more.tied_strings;
            pair_cut_below = cuts && from.wire != size.wire;
        } else if let Some(neighbour) = question.below {
            let (tension, b) = question.neighbour_costs.steps(neighbour.log(), size.log);
            terms.tension_steps += tension;
            terms.inharmonicity_steps += b;
        }
        terms.targets += size.own;
        design.tied_at_changes += 2 * u32::from(pair_cut_below);
        let wire = &question.wires[size.wire];
        design.notes.push(PlainChoice {
            note: note.note,
            wire_id: wire.wire_id().clone(),
            tension_n: size.tension_n,
            stress_mpa: stress_mpa(size.tension_n, wire.area_mm2())
                .map_err(|source| DesignError::Formula { note: note.note, source })?,
            load_share: size.load_share,
            inharmonicity: size.inharmonicity,
            target_cost: size.own,
            pair_cut_below,
        });
        below = Some(size);
    }
    Ok(design)
}
