//! Cores and windings for a whole wound bass.
//!
//! Every note has a great many combinations of core and winding wires, and what suits one note depends on its
//! neighbours. The objective is a sum of costs of notes and of steps between neighbours, so its least value is found by
//! dynamic programming over the notes (R. Bellman, Dynamic Programming, 1957). What makes it fast:
//!
//! - For a given core, B = k/T, so a note's own cost and all steps depend on the core and on ln T alone. A step between
//!   two cores is a parabola in ln T, and the least of many parabolas over a sorted row is a lower envelope, found in
//!   linear time ([`envelope`]).
//! - A quick pass over a few good combinations of each note gives a full solution, hence an upper bound. A combination
//!   whose own cost, with the least own costs of all other notes, is above that bound cannot be part of a better
//!   solution, since all steps cost 0 or more; it is left out ([`candidates`]). Nothing else is left out, so the answer
//!   is the optimum of the stated objective, to the rounding of `f64`.

mod builds;
mod candidates;
mod envelope;
mod question;
mod search;

pub use question::{
    BareEnds, BassLimits, BassQuestion, MAX_COMBINATIONS, MAX_CORES, MAX_WINDING_WIRES, WoundNote,
};

use becket_acoustics::DomainError;
use becket_wire::WireId;

use crate::error::DesignError;
use crate::objective::{LogFigures, ObjectiveTerms};
use builds::Builds;
use candidates::{Candidates, NoteContext};
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
    /// Inharmonicity coefficient B of the uniform string with the core's stiffness.
    pub inharmonicity: f64,
    /// Outer diameter in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: f64,
    /// Cost of the deviation from the note's targets.
    pub target_cost: f64,
}

/// How much was searched. The answer is optimal whatever these figures are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Search {
    /// Combinations of core and windings that were looked at, over all notes.
    pub combinations: u64,
    /// Of them, those that keep to the limits.
    pub within_limits: u64,
    /// Of them, those that the upper bound could not rule out.
    pub kept: u64,
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
///         + c_second for each note with two layers
/// T = μ·(2·L·f)², on the first-partial basis less π²·E·I/L²;  B = π²·E·I/(T·L²);  μ with bare ends by Rayleigh's quotient
/// ```
///
/// # Valid range and accuracy
/// The optimum of this objective over all combinations within the limits, to rounding. Of equal ones, the first in the
/// order of the stock, one layer before two. Windings are taken as tubes, as in [`becket_scale::compute`].
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
/// use becket_scale::PitchBasis;
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
///     pitch_basis: PitchBasis::StiffnessFree,
/// };
/// let design = design_bass(&question)?;
/// assert!(design.notes.iter().all(|note| (note.tension_n / 900.0 - 1.0).abs() < 0.1));
/// assert!(design_bass(&BassQuestion { cores: &[], ..question }).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
pub fn design_bass(question: &BassQuestion<'_>) -> Result<BassDesign, DesignError> {
    design_bass_unless(question, &|| false)
}

/// As [`design_bass`], but looks at every note of each pass whether it should stop; that is some hundred times in all, a
/// few milliseconds apart.
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
    let upper =
        search::least(question, &quick, f64::INFINITY, stop)?.map_or(f64::INFINITY, |found| found.value);
    let kept = candidates::within(question, &builds, &contexts, &survey, upper, stop)?;
    let kept_count = kept.iter().map(Candidates::len).sum();
    // The quick solution lies among the kept combinations, so there is always one.
    let found = search::least(question, &kept, upper, stop)?;
    let found = found.ok_or_else(|| DesignError::NothingFits(Vec::new()))?;
    let mut notes = Vec::with_capacity(contexts.len());
    for (context, pick) in contexts.iter().zip(&found.picks) {
        let choice = choice(question, &builds, context, *pick);
        notes.push(choice.map_err(|source| DesignError::Formula { note: context.note.note, source })?);
    }
    let terms = terms(question, &builds, &contexts, &found.picks);
    let search =
        Search { combinations: survey.combinations, within_limits: survey.within_limits, kept: kept_count };
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
    let strings = context.figures(pick.core, &build);
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
    contexts: &[NoteContext<'_>],
    picks: &[Pick],
) -> ObjectiveTerms {
    let costs = &question.neighbour_costs;
    let mut terms = ObjectiveTerms::default();
    let mut below: Option<(usize, LogFigures)> = None;
    for (context, pick) in contexts.iter().zip(picks) {
        let build = &builds.of_core(pick.core)[pick.build];
        let figures = context.figures(pick.core, build);
        terms.second_layers += if build.outer.is_some() { question.second_layer_cost } else { 0.0 };
        terms.targets +=
            context.note.targets.cost(figures.tension_n, figures.load_share, figures.inharmonicity);
        let log = LogFigures { tension: figures.tension_n.ln(), inharmonicity: figures.inharmonicity.ln() };
        if let Some((core_below, log_below)) = below {
            let (tension, inharmonicity) = costs.steps(log_below, log);
            terms.tension_steps += tension;
            terms.inharmonicity_steps += inharmonicity;
            if core_below != pick.core {
                terms.wire_changes += costs.wire_change;
                if question.cores[core_below].area_mm2() < question.cores[pick.core].area_mm2() {
                    terms.thicker_above += costs.thicker_above;
                }
            }
        }
        below = Some((pick.core, log));
    }
    if let (Some(above), Some((_, log_below))) = (question.above, below) {
        let (tension, inharmonicity) = costs.steps(log_below, above.log());
        terms.tension_steps += tension;
        terms.inharmonicity_steps += inharmonicity;
    }
    terms
}

#[cfg(test)]
mod tests {
    use becket_scale::PitchBasis;
    use becket_wire::{Material, SizeSeries, Wire, WireDraft, standard_wires};

    use super::*;
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
            pitch_basis: PitchBasis::StiffnessFree,
        }
    }

    #[test]
    fn what_is_ruled_out_would_not_have_been_chosen() {
        let steel =
            standard_wires(SizeSeries::Inch).into_iter().filter(|wire| wire.breaking_load_n().is_some());
        let cores: Vec<Wire> = steel.step_by(2).collect();
        let windings: Vec<Wire> = (3..32).map(|k| copper(f64::from(k) * 0.07)).collect();
        let notes: Vec<WoundNote> = (1..=20).map(note).collect();
        for scale in [0.01, 1.0, 30.0] {
            let question = question(scale, &notes, &cores, &windings);
            let design = design_bass(&question).unwrap();
            assert!(design.search.kept < design.search.within_limits);
            let builds = Builds::of(&question).unwrap();
            let context = |note| NoteContext::of(&question, note, None).unwrap();
            let contexts: Vec<_> = notes.iter().map(context).collect();
            let (survey, _) = candidates::survey(&question, &builds, &contexts, &|| false).unwrap();
            let all = candidates::within(&question, &builds, &contexts, &survey, f64::INFINITY, &|| false);
            let all = all.unwrap();
            assert_eq!(all.iter().map(Candidates::len).sum::<u64>(), survey.within_limits);
            let found = search::least(&question, &all, f64::INFINITY, &|| false).unwrap().unwrap();
            assert!((found.value - design.terms.total()).abs() < 1e-9, "{scale}");
            assert!((terms(&question, &builds, &contexts, &found.picks).total() - found.value).abs() < 1e-9);
        }
    }
}
