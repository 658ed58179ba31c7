//! Which builds come into question for each note.

use becket_acoustics::{
    CoveredSpan, DomainError, effective_density_g_m, inharmonicity, tension_stiffness_free_n,
};
use becket_scale::{PitchBasis, StringBody, StringModel};

use crate::bass::builds::{Build, Builds};
use crate::bass::question::{BareEnds, BassQuestion, WoundNote};
use crate::error::{DesignError, Unmet};
use crate::objective::{LogFigures, Neighbour, NeighbourCosts};

/// Builds of each note and core, for one layer and for two, that the quick pass looks at.
const QUICK: usize = 6;

/// Slack of the bound, relative and absolute, so that rounding never rules out an equal solution.
pub(crate) const SLACK: f64 = 1e-9;

/// What is the same for all builds of a note.
#[derive(Debug)]
pub(crate) struct NoteContext<'a> {
    pub(crate) note: &'a WoundNote,
    above: Option<Neighbour>,
    costs: NeighbourCosts,
    second_layer_cost: f64,
    /// Tension in N for each g/m.
    n_per_g_m: f64,
    /// Parts of the layers that act on the first partial.
    inner_share: f64,
    outer_share: f64,
    /// What the bare ends of the inner and of the outer layer add to B; `None` in the closed form, which leaves it out.
    ends: Option<[becket_acoustics::BareEnds; 2]>,
    pub(crate) cores: Vec<CoreContext>,
}

/// What is the same for all builds of a note on one core.
#[derive(Debug)]
pub(crate) struct CoreContext {
    core_g_m: f64,
    /// π²·E·I/L² in N: B is this over T.
    stiffness_n: f64,
    /// What of it the pitch basis takes off the tension.
    taken_off_n: f64,
    breaking_n: f64,
    min_n: f64,
    max_n: f64,
}

/// A string's figures.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Figures {
    pub(crate) linear_density_g_m: f64,
    pub(crate) tension_n: f64,
    pub(crate) load_share: f64,
    pub(crate) inharmonicity: f64,
}

impl<'a> NoteContext<'a> {
    /// `above` is given for the last note only: the step to it is a cost of that note alone.
    pub(crate) fn of(
        question: &BassQuestion<'_>,
        note: &'a WoundNote,
        above: Option<Neighbour>,
    ) -> Result<Self, DomainError> {
        let cores = question.cores.iter().map(|core| {
            // With a tension of 1 N, B is the stiffness in N.
            let (e, i) = (core.youngs_modulus_gpa(), core.second_moment_mm4());
            let stiffness_n = inharmonicity(note.speaking_mm, 1.0, e, i)?;
            let breaking_n = core.breaking_load_n().unwrap_or(0.0);
            Ok(CoreContext {
                core_g_m: core.linear_density_g_m(),
                stiffness_n,
                taken_off_n: match question.models.pitch_basis {
                    PitchBasis::StiffnessFree => 0.0,
                    PitchBasis::FirstPartial => stiffness_n,
                },
                breaking_n,
                min_n: question.limits.min_load_share * breaking_n,
                max_n: (question.limits.max_load_share * breaking_n).min(question.limits.max_tension_n),
            })
        });
        let outer = note.outer_bare_ends.unwrap_or(note.bare_ends);
        let ends = |bare: BareEnds| {
            let back_mm = bare.back_mm.max(0.0);
            let count = question.models.partial_count;
            becket_acoustics::BareEnds::new(note.speaking_mm, bare.front_mm, back_mm, count)
        };
        let ends = match question.models.string_model {
            StringModel::ClosedForm => None,
            StringModel::Stepped => Some([ends(note.bare_ends)?, ends(outer)?]),
        };
        Ok(Self {
            ends,
            note,
            above,
            costs: question.neighbour_costs,
            second_layer_cost: question.second_layer_cost,
            n_per_g_m: tension_stiffness_free_n(note.speaking_mm, 1.0, note.frequency_hz)?,
            inner_share: acting_share(note.speaking_mm, note.bare_ends)?,
            outer_share: acting_share(note.speaking_mm, outer)?,
            cores: cores.collect::<Result<Vec<_>, _>>()?,
        })
    }

    fn density_g_m(&self, core: &CoreContext, build: &Build) -> f64 {
        core.core_g_m + self.inner_share * build.inner_g_m + self.outer_share * build.outer_g_m
    }

    fn tension_n(&self, core: &CoreContext, build: &Build) -> f64 {
        self.n_per_g_m * self.density_g_m(core, build) - core.taken_off_n
    }

    /// B at a tension: of the uniform string and, in the stepped model, of the bare ends.
    fn inharmonicity(&self, core: &CoreContext, build: &Build, tension_n: f64) -> f64 {
        let uniform = core.stiffness_n / tension_n;
        let Some([inner, outer]) = &self.ends else { return uniform };
        let covered_g_m = core.core_g_m + build.inner_g_m + build.outer_g_m;
        let inner = inner.inharmonicity(build.inner_g_m / covered_g_m);
        let outer = build.outer.map_or(0.0, |_| outer.inharmonicity(build.outer_g_m / covered_g_m));
        uniform + inner + outer
    }

    /// The figures of a build; the core is one of the question's.
    pub(crate) fn figures(&self, core: usize, build: &Build) -> Figures {
        let core = &self.cores[core];
        let tension_n = self.tension_n(core, build);
        Figures {
            linear_density_g_m: self.density_g_m(core, build),
            tension_n,
            load_share: tension_n / core.breaking_n,
            inharmonicity: self.inharmonicity(core, build, tension_n),
        }
    }

    /// The figures of a build by the models of the question: exact ones in the stepped model.
    pub(crate) fn exact(
        &self,
        question: &BassQuestion<'_>,
        core: usize,
        build: &Build,
    ) -> Result<Figures, DomainError> {
        let searched = self.figures(core, build);
        if question.models.string_model == StringModel::ClosedForm {
            return Ok(searched);
        }
        let (wire, note) = (&question.cores[core], self.note);
        let span = |density_g_m, bare: BareEnds| CoveredSpan {
            density_g_m,
            start_mm: bare.front_mm,
            end_mm: note.speaking_mm - bare.back_mm,
        };
        let outer = note.outer_bare_ends.unwrap_or(note.bare_ends);
        let body = StringBody {
            speaking_mm: note.speaking_mm,
            core_g_m: wire.linear_density_g_m(),
            youngs_modulus_gpa: wire.youngs_modulus_gpa(),
            second_moment_mm4: wire.second_moment_mm4(),
            spans: Some([span(build.inner_g_m, note.bare_ends), span(build.outer_g_m, outer)]),
        };
        let at = body.at(note.frequency_hz, &question.models, false)?;
        if at.inharmonicity <= 0.0 {
            return Err(DomainError {
                argument: "inharmonicity",
                value: at.inharmonicity,
                allowed: "above 0: a string that is mostly covered; shorten the bare ends",
            });
        }
        Ok(Figures {
            linear_density_g_m: at.linear_density_g_m,
            tension_n: at.tension_n,
            load_share: at.tension_n / self.cores[core].breaking_n,
            inharmonicity: at.inharmonicity,
        })
    }

    /// Cost of the targets and, for the last note, of the step to the string above.
    fn own_cost(&self, core: &CoreContext, tension_n: f64, b: f64) -> f64 {
        let own = self.note.targets.cost(tension_n, tension_n / core.breaking_n, b);
        let Some(above) = self.above else { return own };
        let log = LogFigures { tension: tension_n.ln(), inharmonicity: b.ln() };
        let (tension, inharmonicity) = self.costs.steps(log, above.log());
        own + tension + inharmonicity
    }
}

/// Part of a layer that acts on the first partial: Rayleigh's quotient is linear in the layer's density.
fn acting_share(speaking_mm: f64, bare: BareEnds) -> Result<f64, DomainError> {
    let span = CoveredSpan { density_g_m: 1.0, start_mm: bare.front_mm, end_mm: speaking_mm - bare.back_mm };
    Ok(effective_density_g_m(speaking_mm, 1.0, &[span])? - 1.0)
}

/// A build that comes into question.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) log_tension: f64,
    pub(crate) log_inharmonicity: f64,
    /// Natural logarithms of the winding wires' diameters; of the outer one 0 where there is one layer.
    pub(crate) log_inner: f64,
    pub(crate) log_outer: f64,
    pub(crate) own: f64,
    pub(crate) build: u32,
}

/// Number of a group: candidates of one core with one layer, or with two.
pub(crate) const fn group(core: usize, two_layers: bool) -> usize {
    2 * core + two_layers as usize
}

/// Core and number of layers of a group.
pub(crate) const fn of_group(group: usize) -> (usize, bool) {
    (group / 2, group % 2 == 1)
}

/// Candidates of one note by group, each list by rising tension.
#[derive(Debug, Clone)]
pub(crate) struct Candidates {
    pub(crate) groups: Vec<Vec<Candidate>>,
    /// Least own cost.
    pub(crate) least: f64,
}

impl Candidates {
    pub(crate) fn len(&self) -> u64 {
        self.groups.iter().map(|list| list.len() as u64).sum()
    }

    pub(crate) fn new(mut groups: Vec<Vec<Candidate>>) -> Self {
        for list in &mut groups {
            // Of builds with the same tension the first of the stock comes first and wins.
            list.sort_unstable_by(|a, b| a.log_tension.total_cmp(&b.log_tension).then(a.build.cmp(&b.build)));
        }
        let least = groups.iter().flatten().map(|c| c.own).fold(f64::INFINITY, f64::min);
        Self { groups, least }
    }
}

/// What a first look at all builds shows.
#[derive(Debug)]
pub(crate) struct Survey {
    pub(crate) combinations: u64,
    pub(crate) within_limits: u64,
    /// Least own cost of each note.
    least: Vec<f64>,
}

/// Looks at all builds of all notes: the least own costs, and a few good candidates for the quick pass.
pub(crate) fn survey(
    question: &BassQuestion<'_>,
    builds: &Builds,
    contexts: &[NoteContext<'_>],
    stop: &dyn Fn() -> bool,
) -> Result<(Survey, Vec<Candidates>), DesignError> {
    let mut survey = Survey { combinations: 0, within_limits: 0, least: Vec::with_capacity(contexts.len()) };
    let mut quick = Vec::with_capacity(contexts.len());
    let mut unmet = Vec::new();
    for context in contexts {
        go_on(stop)?;
        let mut refused = Unmet::new(context.note.note);
        let mut groups = vec![Vec::new(); 2 * question.cores.len()];
        for (at, core) in context.cores.iter().enumerate() {
            let (mut single, mut double) = (Vec::new(), Vec::new());
            for_each_within(context, core, builds, at, &mut refused, |found| {
                if found.layers.outer.is_some() { double.push(found) } else { single.push(found) }
            });
            for (mut list, two_layers) in [(single, false), (double, true)] {
                survey.within_limits += list.len() as u64;
                if list.len() > QUICK {
                    list.select_nth_unstable_by(QUICK, |a, b| {
                        a.own.total_cmp(&b.own).then(a.build.cmp(&b.build))
                    });
                    list.truncate(QUICK);
                }
                // The logarithms are left to those that stay.
                groups[group(at, two_layers)] = list.iter().map(Within::candidate).collect();
            }
        }
        survey.combinations += refused.tried;
        if groups.iter().all(Vec::is_empty) {
            unmet.push(refused);
        }
        let candidates = Candidates::new(groups);
        survey.least.push(candidates.least);
        quick.push(candidates);
    }
    if unmet.is_empty() { Ok((survey, quick)) } else { Err(DesignError::NothingFits(unmet)) }
}

/// All candidates that a solution not above `upper` can hold. Steps cost 0 or more, so a solution costs at least the
/// own cost of any one of its candidates and the least own costs of all other notes.
pub(crate) fn within(
    question: &BassQuestion<'_>,
    builds: &Builds,
    contexts: &[NoteContext<'_>],
    survey: &Survey,
    upper: f64,
    stop: &dyn Fn() -> bool,
) -> Result<Vec<Candidates>, DesignError> {
    let sum: f64 = survey.least.iter().sum();
    let mut all = Vec::with_capacity(contexts.len());
    for (context, least) in contexts.iter().zip(&survey.least) {
        go_on(stop)?;
        let bound = upper - (sum - least) + SLACK * (1.0 + upper + sum);
        let mut groups = vec![Vec::new(); 2 * question.cores.len()];
        for (at, core) in context.cores.iter().enumerate() {
            let mut ignored = Unmet::new(context.note.note);
            for_each_within(context, core, builds, at, &mut ignored, |found| {
                if found.own <= bound {
                    groups[group(at, found.layers.outer.is_some())].push(found.candidate());
                }
            });
        }
        all.push(Candidates::new(groups));
    }
    Ok(all)
}

/// Passes unless the work is to stop.
pub(crate) fn go_on(stop: &dyn Fn() -> bool) -> Result<(), DesignError> {
    if stop() { Err(DesignError::Stopped) } else { Ok(()) }
}

/// A build within the limits.
#[derive(Clone, Copy)]
struct Within<'a> {
    tension_n: f64,
    inharmonicity: f64,
    own: f64,
    layers: &'a Build,
    build: u32,
}

impl Within<'_> {
    fn candidate(&self) -> Candidate {
        Candidate {
            log_tension: self.tension_n.ln(),
            log_inharmonicity: self.inharmonicity.ln(),
            log_inner: self.layers.log_inner,
            log_outer: self.layers.log_outer,
            own: self.own,
            build: self.build,
        }
    }
}

/// Calls `take` with every build within the limits.
fn for_each_within<'a>(
    context: &NoteContext<'_>,
    core: &CoreContext,
    builds: &'a Builds,
    at: usize,
    refused: &mut Unmet,
    mut take: impl FnMut(Within<'a>),
) {
    let allowed = builds.allowed(at, context.note.outer_bare_ends.is_some());
    let (mut low_n, mut high_n) = (f64::INFINITY, f64::NEG_INFINITY);
    for (build, layers) in (0_u32..).zip(allowed) {
        let tension_n = context.tension_n(core, layers);
        low_n = low_n.min(tension_n);
        high_n = high_n.max(tension_n);
        if tension_n > core.max_n {
            refused.too_high += 1;
        } else if tension_n > 0.0 && tension_n >= core.min_n {
            let layer_cost = if layers.outer.is_some() { context.second_layer_cost } else { 0.0 };
            let inharmonicity = context.inharmonicity(core, layers, tension_n);
            let own = context.own_cost(core, tension_n, inharmonicity) + layer_cost;
            take(Within { tension_n, inharmonicity, own, layers, build });
        } else {
            refused.too_low += 1;
        }
    }
    refused.tried += allowed.len() as u64;
    if low_n <= high_n {
        refused.saw(low_n / core.breaking_n);
        refused.saw(high_n / core.breaking_n);
    }
}
