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

/// Least cost of a path that ends in a size, and the size before, by position in the list of the note below.
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

/// Finds the least path. A few sizes for each note: every pair of neighbours is looked at.
pub(crate) fn least(question: &PlainQuestion<'_>, notes: &[Vec<Size>]) -> Result<PlainDesign, DesignError> {
    let across = question.pairs_across();
    let mut all: Vec<Vec<End>> = Vec::with_capacity(notes.len());
    let mut below: Option<&Vec<Size>> = None;
    for ((sizes, &cuts), note) in notes.iter().zip(&across).zip(question.notes) {
        let ends: Vec<End> = match (below, all.last()) {
            (Some(below), Some(before)) => {
                sizes.iter().map(|size| end(question, below, before, size, cuts)).collect()
            }
            _ => sizes
                .iter()
                .map(|size| End { value: size.own + first_step(question, size), back: 0 })
                .collect(),
        };
        if ends.iter().all(|end| end.value.is_infinite()) {
            return Err(DesignError::NoSequence { note: note.note });
        }
        all.push(ends);
        below = Some(sizes);
    }
    let path = trace(&all);
    let chosen: Vec<&Size> = notes.iter().zip(path).filter_map(|(sizes, at)| sizes.get(at)).collect();
    design(question, &chosen, &across)
}

fn end(question: &PlainQuestion<'_>, below: &[Size], before: &[End], size: &Size, cuts: bool) -> End {
    let mut best = End { value: f64::INFINITY, back: 0 };
    for (back, (from, end)) in below.iter().zip(before).enumerate() {
        let value = end.value + step(question, from, size, cuts).total() + size.own;
        if value < best.value {
            best = End { value, back };
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

/// Positions of the least path, one for each note.
fn trace(all: &[Vec<End>]) -> Vec<usize> {
    let mut at = 0;
    let mut least = f64::INFINITY;
    for (position, end) in all.last().into_iter().flatten().enumerate() {
        if end.value < least {
            (at, least) = (position, end.value);
        }
    }
    let mut path = Vec::with_capacity(all.len());
    for ends in all.iter().rev() {
        path.push(at);
        at = ends.get(at).map_or(0, |end| end.back);
    }
    path.reverse();
    path
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
