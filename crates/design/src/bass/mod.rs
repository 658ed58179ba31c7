//! Cores and windings for a whole wound bass.
//!
//! Every note has a great many combinations of core and winding wires, and what suits one note depends on its
//! neighbours. The objective is a sum of costs of notes and of steps between neighbours, so its least value is found by
//! dynamic programming over the notes (R. Bellman, Dynamic Programming, 1957). What makes it fast is that most
//! combinations are proved to be in no better solution first:
//!
//! - A quick pass over a few good combinations of each note gives a full solution, hence an upper bound. A combination
//!   whose own cost, with the least own costs of all other notes, is above it is left out ([`candidates`]).
//! - An easier problem, whose cost is never above the true one, tells for every combination left what a path through it
//!   costs at least ([`relaxed`]). A few of the best give a better upper bound; what cannot be below that is left out. That is
//!   repeated while it helps.
//! - What is left is searched pair by pair ([`search`]).
//!
//! So the answer is the optimum of the stated objective, to the rounding of `f64`. Only where too many combinations are left
//! (weights that hardly tell them apart) the search is cut short, and the gap to the optimum is reported ([`Search::gap`]).

mod builds;
mod candidates;
mod envelope;
mod narrowed;
mod question;
mod relaxed;
mod search;

pub use question::{
    BareEnds, BassLimits, BassQuestion, MAX_COMBINATIONS, MAX_CORES, MAX_WINDING_WIRES, WoundNote,
};

use becket_acoustics::DomainError;
use becket_wire::WireId;

use crate::error::DesignError;
use crate::objective::{LogFigures, ObjectiveTerms};
use builds::{Build, Builds};
use candidates::{Candidates, NoteContext};
use narrowed::{Narrowed, narrowed};
use search::Pick;

/// A bass as chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct BassDesign {
    /// One entry for each note of the question, in order.
    pub notes: Vec<WoundChoice>,
    /// The objective, term by term.
    pub terms: ObjectiveTerms,
    /// How much was searched.
    pub search: Search,
}

/// What is chosen for one note.
#[derive(Debug, Clone, PartialEq)]
pub struct WoundChoice {
    /// The note.
    pub note: i16,
    /// Core.
    pub core_id: WireId,
    /// Winding wires from the inside out, one or two.
    pub winding_ids: Vec<WireId>,
    /// Linear density in g/m as it acts on the first partial.
    pub linear_density_g_m: f64,
    /// Tension in N.
    pub tension_n: f64,
    /// Stress of the core in MPa.
    pub stress_mpa: f64,
    /// Share of the core's breaking load.
    pub load_share: f64,
    /// Inharmonicity coefficient B by the string model: of the uniform string with the core's stiffness, or of the exact
    /// partials.
    pub inharmonicity: f64,
    /// Outer diameter in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: f64,
    /// Cost of the deviation from the note's targets.
    pub target_cost: f64,
}

/// How much was searched, and how near the answer is to the optimum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Combinations of core and windings that were looked at, over all notes.
    pub combinations: u64,
    /// Of them, those that keep to the limits.
    pub within_limits: u64,
    /// Of them, those that the bounds could not rule out.
    pub kept: u64,
    /// By how much the optimum can be lower than the answer: 0 if it is proved to be the optimum.
    pub gap: f64,
    /// The objective as the search reckons it. In the closed form it is that of the answer; in the stepped model B has the
    /// correction for bare ends in the search, and is exact in the answer.
    pub objective: f64,
    /// Largest deviation of B in the search from B in the answer, as a share of the latter; 0 in the closed form.
    pub inharmonicity_error: f64,
}

/// Chooses core and windings for every note of a bass.
///
/// # Units
/// As the fields of [`BassQuestion`] and [`BassDesign`] say.
///
/// # Formula
/// ```text
/// minimise  Σ cost of targets                                     see Targets::cost
///         + Σ c_T·(ln T_k − ln T_k+1)² + c_B·(ln B_k − ln B_k+1)²   over neighbours, and to the string above the last
///         + c_change for each change of core + c_thicker for each core that is thicker than the one below it
///         + c_winding·(ln w_k − ln w_k+1)² for each layer, where both have as many layers
///         + c_layers for each change between one layer and two + c_second for each note with two layers
/// T = μ·(2·L·f)², on the first-partial basis less π²·E·I/L²;  μ with bare ends by Rayleigh's quotient
/// B = π²·E·I/(T·L²), in the stepped model plus that of the bare ends, see becket_acoustics::BareEnds
/// ```
///
/// # Valid range and accuracy
/// The optimum of this objective over all combinations within the limits, to rounding, unless [`Search::gap`] says
/// otherwise. Windings are taken as tubes or helices as the models say. In the stepped model the strings of the answer are
/// solved exactly, and the objective's terms are those of the exact figures; how far B was off in the search is told.
///
/// # Errors
/// [`DesignError::Faults`] with every fault of the question; [`DesignError::NothingFits`] with every note for which the
/// stock has nothing within the limits; [`DesignError::Formula`] for what no formula takes.
///
/// # Source
/// Dynamic programming: R. Bellman (1957). Lower envelope: P. Felzenszwalb, D. Huttenlocher, Distance Transforms of
/// Sampled Functions, Theory of Computing 8 (2012) (from memory).
///
/// # Examples
/// ```
/// use becket_design::{
///     BareEnds, BassLimits, BassQuestion, NeighbourCosts, Target, Targets, WoundNote, design_bass,
/// };
/// use becket_scale::Models;
/// use becket_wire::{Material, SizeSeries, Wire, WireDraft, standard_wires};
///
/// let copper = |diameter_mm: f64| WireDraft {
///     wire_id: format!("cu-{diameter_mm}"),
///     material: Some(Material::Copper),
///     diameter_mm,
///     density_kg_m3: 8930.0,
///     youngs_modulus_gpa: 120.0,
///     ..WireDraft::default()
/// };
/// let cores: Vec<Wire> =
///     standard_wires(SizeSeries::Inch).into_iter().filter(|wire| wire.breaking_load_n().is_some()).collect();
/// let windings: Vec<Wire> = [0.6, 0.8, 1.0, 1.2].iter().filter_map(|&d| copper(d).validate().ok()).collect();
/// let note = |note: i16, frequency_hz: f64| WoundNote {
///     note,
///     speaking_mm: 1050.0,
///     frequency_hz,
///     bare_ends: BareEnds { front_mm: 18.0, back_mm: 14.0 },
///     outer_bare_ends: None,
///     targets: Targets { tension_n: Some(Target { value: 900.0, weight: 1.0 }), ..Targets::default() },
/// };
/// let notes = [note(15, 61.735), note(16, 65.406), note(17, 69.296)];
/// let question = BassQuestion {
///     notes: &notes,
///     cores: &cores,
///     windings: &windings,
///     above: None,
///     neighbour_costs: NeighbourCosts::default(),
///     second_layer_cost: 0.0,
///     limits: BassLimits::default(),
///     models: Models::default(),
/// };
/// let design = design_bass(&question)?;
/// assert!(design.notes.iter().all(|note| (note.tension_n / 900.0 - 1.0).abs() < 0.1));
/// assert!(design_bass(&BassQuestion { cores: &[], ..question }).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
pub fn design_bass(question: &BassQuestion<'_>) -> Result<BassDesign, DesignError> {
    design_bass_unless(question, &|| false)
}

/// As [`design_bass`], but looks at every note of each pass whether it should stop; that is some hundred times in all, some
/// milliseconds apart.
///
/// # Errors
/// [`DesignError::Stopped`] once `stop` says so; otherwise those of [`design_bass`].
pub fn design_bass_unless(
    question: &BassQuestion<'_>,
    stop: &dyn Fn() -> bool,
) -> Result<BassDesign, DesignError> {
    question.check()?;
    let first_note = question.notes.first().map_or(0, |note| note.note);
    let builds = Builds::of(question).map_err(|source| DesignError::Formula { note: first_note, source })?;
    question.check_size(&builds)?;
    let mut contexts = Vec::with_capacity(question.notes.len());
    for (at, note) in question.notes.iter().enumerate() {
        let above = if at + 1 == question.notes.len() { question.above } else { None };
        let context = NoteContext::of(question, note, above);
        contexts.push(context.map_err(|source| DesignError::Formula { note: note.note, source })?);
    }
    let (survey, quick) = candidates::survey(question, &builds, &contexts, stop)?;
    let upper = search::least(question, &quick, None, f64::INFINITY, stop)?
        .map_or(f64::INFINITY, |found| found.value);
    let kept = candidates::within(question, &builds, &contexts, &survey, upper, stop)?;
    let Narrowed { kept, bounds, upper, gap_above } = narrowed(question, kept, upper, stop)?;
    let found = search::least(question, &kept, Some(&bounds), upper, stop)?;
    let found = found.ok_or_else(|| DesignError::NothingFits(Vec::new()))?;
    let mut notes = Vec::with_capacity(contexts.len());
    let mut inharmonicity_error: f64 = 0.0;
    for (context, pick) in contexts.iter().zip(&found.picks) {
        let choice = choice(question, &builds, context, *pick);
        let choice = choice.map_err(|source| DesignError::Formula { note: context.note.note, source })?;
        let searched = context.figures(pick.core, &builds.of_core(pick.core)[pick.build]).inharmonicity;
        inharmonicity_error = inharmonicity_error.max((searched / choice.inharmonicity - 1.0).abs());
        notes.push(choice);
    }
    let terms = terms(question, &builds, &notes, &found.picks);
    let search = Search {
        combinations: survey.combinations,
        within_limits: survey.within_limits,
        kept: kept.iter().map(Candidates::len).sum(),
        gap: (found.value - gap_above).max(0.0),
        objective: found.value,
        inharmonicity_error,
    };
    Ok(BassDesign { notes, terms, search })
}

fn choice(
    question: &BassQuestion<'_>,
    builds: &Builds,
    context: &NoteContext<'_>,
    pick: Pick,
) -> Result<WoundChoice, DomainError> {
    let core = &question.cores[pick.core];
    let build = builds.of_core(pick.core)[pick.build];
    let strings = context.exact(question, pick.core, &build)?;
    let layers = std::iter::once(build.inner).chain(build.outer);
    let mut outer_diameter_mm = core.material().cross_section().girth_diameter_mm(core.diameter_mm())?;
    let mut winding_ids = Vec::with_capacity(2);
    for layer in layers {
        let wire = &question.windings[usize::from(layer)];
        outer_diameter_mm = becket_acoustics::outer_diameter_mm(outer_diameter_mm, wire.diameter_mm())?;
        winding_ids.push(wire.wire_id().clone());
    }
    Ok(WoundChoice {
        note: context.note.note,
        core_id: core.wire_id().clone(),
        winding_ids,
        linear_density_g_m: strings.linear_density_g_m,
        tension_n: strings.tension_n,
        stress_mpa: becket_acoustics::stress_mpa(strings.tension_n, core.area_mm2())?,
        load_share: strings.load_share,
        inharmonicity: strings.inharmonicity,
        outer_diameter_mm,
        target_cost: context.note.targets.cost(strings.tension_n, strings.load_share, strings.inharmonicity),
    })
}

/// The objective of a choice, computed from the strings and not from the search, so that each checks the other.
fn terms(
    question: &BassQuestion<'_>,
    builds: &Builds,
    notes: &[WoundChoice],
    picks: &[Pick],
) -> ObjectiveTerms {
    let costs = &question.neighbour_costs;
    let mut terms = ObjectiveTerms::default();
    let mut below: Option<(usize, &Build, LogFigures)> = None;
    for (figures, pick) in notes.iter().zip(picks) {
        let build = &builds.of_core(pick.core)[pick.build];
        terms.second_layers += if build.outer.is_some() { question.second_layer_cost } else { 0.0 };
        terms.targets += figures.target_cost;
        let log = LogFigures { tension: figures.tension_n.ln(), inharmonicity: figures.inharmonicity.ln() };
        if let Some((core_below, build_below, log_below)) = below {
            let (tension, inharmonicity) = costs.steps(log_below, log);
            terms.tension_steps += tension;
            terms.inharmonicity_steps += inharmonicity;
            if build_below.outer.is_some() == build.outer.is_some() {
                let inner = (build.log_inner - build_below.log_inner).powi(2);
                let outer = (build.log_outer - build_below.log_outer).powi(2);
                terms.winding_steps += costs.winding_step * (inner + outer);
            } else {
                terms.layer_changes += costs.layer_change;
            }
            if core_below != pick.core {
                terms.wire_changes += costs.wire_change;
                if question.cores[core_below].area_mm2() < question.cores[pick.core].area_mm2() {
                    terms.thicker_above += costs.thicker_above;
                }
            }
        }
        below = Some((pick.core, build, log));
    }
    if let (Some(above), Some((_, log_below))) = (question.above, below.map(|(core, _, log)| (core, log))) {
        let (tension, inharmonicity) = costs.steps(log_below, above.log());
        terms.tension_steps += tension;
        terms.inharmonicity_steps += inharmonicity;
    }
    terms
}

#[cfg(test)]
mod tests {
    use becket_scale::{Models, StringModel};
    use becket_wire::{Material, SizeSeries, Wire, WireDraft, standard_wires};

    use super::*;
    use crate::bass::relaxed::Bounds;
    use crate::{NeighbourCosts, Target, Targets};

    fn copper(diameter_mm: f64) -> Wire {
        let draft = WireDraft {
            wire_id: format!("cu-{diameter_mm:.2}"),
            material: Some(Material::Copper),
            diameter_mm,
            density_kg_m3: 8930.0,
            youngs_modulus_gpa: 120.0,
            ..WireDraft::default()
        };
        draft.validate().unwrap()
    }

    fn note(note: i16) -> WoundNote {
        WoundNote {
            note,
            speaking_mm: 1150.0 - 8.0 * f64::from(note),
            frequency_hz: becket_acoustics::equal_tempered_hz(note.into(), 440.0, 0.0).unwrap(),
            bare_ends: BareEnds { front_mm: 18.0, back_mm: 14.0 },
            outer_bare_ends: (note < 9).then_some(BareEnds { front_mm: 25.0, back_mm: 20.0 }),
            targets: Targets {
                tension_n: Some(Target { value: 1200.0 - 15.0 * f64::from(note), weight: 1.0 }),
                ..Targets::default()
            },
        }
    }

    fn question<'a>(
        scale: f64,
        notes: &'a [WoundNote],
        cores: &'a [Wire],
        windings: &'a [Wire],
    ) -> BassQuestion<'a> {
        let costs = NeighbourCosts::default();
        BassQuestion {
            notes,
            cores,
            windings,
            above: None,
            neighbour_costs: NeighbourCosts {
                tension_step: scale * costs.tension_step,
                inharmonicity_step: scale * costs.inharmonicity_step,
                ..costs
            },
            second_layer_cost: 0.0001,
            limits: BassLimits::default(),
            models: Models::default(),
        }
    }

    #[test]
    fn what_is_ruled_out_would_not_have_been_chosen() {
        let steel =
            standard_wires(SizeSeries::Inch).into_iter().filter(|wire| wire.breaking_load_n().is_some());
        let cores: Vec<Wire> = steel.step_by(2).collect();
        let windings: Vec<Wire> = (3..32).map(|k| copper(f64::from(k) * 0.07)).collect();
        let notes: Vec<WoundNote> = (1..=20).map(note).collect();
        for (scale, string_model) in [
            (0.01, StringModel::ClosedForm),
            (1.0, StringModel::ClosedForm),
            (30.0, StringModel::ClosedForm),
            (1.0, StringModel::Stepped),
            (30.0, StringModel::Stepped),
        ] {
            let models = Models { string_model, ..Models::default() };
            let question = BassQuestion { models, ..question(scale, &notes, &cores, &windings) };
            let design = design_bass(&question).unwrap();
            assert!(design.search.kept < design.search.within_limits);
            assert_eq!(design.search.gap, 0.0);
            let builds = Builds::of(&question).unwrap();
            let context = |note| NoteContext::of(&question, note, None).unwrap();
            let contexts: Vec<_> = notes.iter().map(context).collect();
            let (survey, _) = candidates::survey(&question, &builds, &contexts, &|| false).unwrap();
            let all = candidates::within(&question, &builds, &contexts, &survey, f64::INFINITY, &|| false);
            let all = all.unwrap();
            assert_eq!(all.iter().map(Candidates::len).sum::<u64>(), survey.within_limits);
            let found = search::least(&question, &all, None, f64::INFINITY, &|| false).unwrap().unwrap();
            assert!((found.value - design.search.objective).abs() < 1e-9, "{scale}");
            if string_model == StringModel::ClosedForm {
                assert!((design.terms.total() - found.value).abs() < 1e-9);
                assert_eq!(design.search.inharmonicity_error, 0.0);
            }
        }
    }

    #[test]
    fn what_is_cut_short_tells_a_gap_that_holds() {
        let cores: Vec<Wire> = standard_wires(SizeSeries::Inch)
            .into_iter()
            .filter(|wire| wire.breaking_load_n().is_some())
            .step_by(3)
            .collect();
        let windings: Vec<Wire> = (3..20).map(|k| copper(f64::from(k) * 0.1)).collect();
        let notes: Vec<WoundNote> = (1..=12).map(note).collect();
        let question = question(1.0, &notes, &cores, &windings);
        let builds = Builds::of(&question).unwrap();
        let contexts: Vec<_> =
            notes.iter().map(|note| NoteContext::of(&question, note, None).unwrap()).collect();
        let (survey, _) = candidates::survey(&question, &builds, &contexts, &|| false).unwrap();
        let all =
            candidates::within(&question, &builds, &contexts, &survey, f64::INFINITY, &|| false).unwrap();
        let bounds = Bounds::of(&question, &all, &|| false).unwrap();
        let best = design_bass(&question).unwrap().search.objective;
        for few in [2, 10, 40] {
            let thresholds = bounds.thresholds(few);
            let above = thresholds.iter().copied().fold(f64::INFINITY, f64::min);
            let kept = bounds.below(&all, &thresholds);
            let Some(found) = search::least(&question, &kept, None, f64::INFINITY, &|| false).unwrap() else {
                continue;
            };
            let gap = (found.value - above).max(0.0);
            assert!(best <= found.value + 1e-12 && best >= found.value - gap - 1e-12, "{few}: {gap}");
        }
    }
}
