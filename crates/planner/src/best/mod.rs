//! The best planner: a portfolio of methods under one common bound.

mod bits;
mod bound;
mod columns;
mod core;
mod dual;
mod exact;
mod fill;
mod generate;
mod improve;
mod pack;
mod quality;
mod random;
mod regroup;
mod scarce;
mod sequence;
mod single;
mod wire;

use rayon::prelude::*;

use crate::first::{FirstPlanner, Ledger};
use crate::model::{CoilIndex, PieceIndex, Problem, WireIndex};
use crate::objective::{LevelOrder, Quality, Score};
use crate::plan::{Plan, PlanError, Planner};
use crate::receipt::in_order_of_receipt;

use self::core::Stock;
pub(crate) use quality::assess_alone;
use sequence::{Arranger, Course, Kept, Phase, gather_lots};
use single::only_lasting;
use wire::{Known, Placed, Solved, WireTask};

/// Pieces times coils up to which the first planner's plan is among the candidates.
const MOST_FOR_FIRST: usize = 200_000_000;

/// Pieces up to which several plans are made phase by phase.
const MOST_FOR_VARIANTS: usize = 20_000;

/// How much work a plan may cost, in steps of the search and not in time: the same problem with the same effort gives the
/// same plan on every machine and any number of threads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Rounds of the search per coil in use, where the bound is not met before. 0 takes the best construction as it is.
    pub rounds_per_coil: u32,
}

impl Default for Effort {
    /// 200 rounds per coil.
    fn default() -> Self {
        Self { rounds_per_coil: 200 }
    }
}

/// A plan, and how good it is known to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BestPlan {
    /// Plan.
    pub plan: Plan,
    /// Value, bound and proof of every level.
    pub quality: Quality,
}

/// A planner that tries many methods and says how far the best plan can be from the optimum.
#[derive(Debug, Clone, Copy, Default)]
pub struct BestPlanner {
    /// How much work a plan may cost.
    pub effort: Effort,
    /// The shop's order of the levels of the objective.
    pub order: LevelOrder,
}

impl Planner for BestPlanner {
    fn plan(&self, problem: &Problem) -> Result<Plan, PlanError> {
        Ok(self.plan_until(problem, &|| false)?.plan)
    }
}

impl BestPlanner {
    /// Plans a problem, with a report of quality. `stop` is asked often, from several threads; once it says true, the best
    /// plan found till then is returned. It is how a caller that has a clock sets a time budget or cancels.
    ///
    /// # Errors
    ///
    /// [`PlanError::UnsoundProblem`] with all faults if the problem does not pass [`Problem::check`].
    pub fn plan_until(
        &self,
        problem: &Problem,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Result<BestPlan, PlanError> {
        problem.check().map_err(PlanError::UnsoundProblem)?;
        let course = Course::new(problem);
        let kept = course.kept(problem);
        let run = self.plan_by_phases(problem, &course, &kept, Taste::AsCosts, stop);
        let known = run.known;
        let mut candidates = vec![run.plan];
        if run.is_cheap && !stop() {
            candidates.push(self.plan_by_phases(problem, &course, &kept, Taste::Lasting, stop).plan);
            if !kept.is_empty() {
                let kept = Kept::new();
                candidates.push(self.plan_by_phases(problem, &course, &kept, Taste::AsCosts, stop).plan);
                candidates.push(self.plan_by_phases(problem, &course, &kept, Taste::Lasting, stop).plan);
            }
        }
        if problem.pieces.len().saturating_mul(problem.coils.len()) <= MOST_FOR_FIRST {
            candidates.push(FirstPlanner.plan(problem)?);
        }
        let best = candidates.into_iter().min_by_key(|plan| Score::of(problem, plan, &self.order));
        let mut plan = best.unwrap_or_default();
        let mut proof = None;
        if self.effort.rounds_per_coil > 0
            && let Some((better, proven)) = exact::solve(problem, &self.order, &plan, &|| stop())
        {
            plan = better.unwrap_or(plan);
            proof = Some(proven);
        }
        let mut quality = quality::assess(problem, &plan, &self.order, &known, stop());
        if let Some(proof) = proof {
            proof.note(&mut quality);
        }
        Ok(BestPlan { plan, quality })
    }

    /// Phase by phase in due order.
    fn plan_by_phases(
        &self,
        problem: &Problem,
        course: &Course,
        kept: &Kept,
        taste: Taste,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Run {
        let mut known: Vec<Option<Known>> = vec![None; problem.wires.len()];
        let mut ledger = Ledger::new(problem);
        let mut course = course.clone();
        let mut arranger = Arranger::new(problem, kept);
        let mut uncut = vec![true; problem.pieces.len()];
        let mut coils = vec![Vec::new(); problem.wires.len()];
        for (c, coil) in problem.indexed_coils() {
            coils[coil.wire.index()].push(c);
        }
        let (mut is_first, mut stops, mut from_one) = (true, 0, 0);
        while let Some(first) = course.first() {
            let usable = |c: CoilIndex| ledger.tail_after(c, 0).map_or(0, |tail| tail - problem.margin_of(c));
            let phase = course.take(problem, first, arranger.mounted().map(|c| (c, usable(c))));
            let mut placed: Vec<Placed> = Vec::new();
            let ahead: Vec<i64> = phase.iter().map(|(wire, _)| course.ahead(*wire)).collect();
            let tasks = self.tasks(problem, &ledger, &phase, &ahead, &coils, taste, stop);
            let solve = |(task, (_, pieces)): (&WireTask<'_>, &(WireIndex, Vec<PieceIndex>))| {
                let solved = task.solve(pieces);
                let placed = gather_lots(problem, &task.rules, &task.stocks, solved.placed);
                Solved { placed, ..solved }
            };
            let solved: Vec<Solved> = tasks.par_iter().zip(&phase).map(solve).collect();
            for ((wire, _), solved) in phase.iter().zip(solved) {
                stops += 1;
                from_one += usize::from(solved.is_from_one_coil());
                // Later on, a coil may have been taken off that was mounted at the start.
                let mut of_wire = coils[wire.index()].iter().map(|c| &problem.coils[c.index()]);
                let as_at_start = is_first || of_wire.all(|coil| coil.mounted_at.is_none());
                let bound = &mut known[wire.index()];
                let is_known = as_at_start && bound.is_none();
                *bound = Some(if is_known { solved.known } else { Known::default() });
                placed.extend(solved.placed);
            }
            for (coil, piece) in &placed {
                ledger.take(*coil, problem.pieces[piece.index()].length.get());
                uncut[piece.index()] = false;
            }
            arranger.cut_phase(&mut ledger, &course, first, &placed);
            ledger.end_batch();
            is_first = false;
        }
        let uncut = (0u32..).map(PieceIndex).zip(uncut).filter(|(_, uncut)| *uncut).map(|(p, _)| p).collect();
        let mut plan = arranger.finish(uncut);
        in_order_of_receipt(problem, &mut plan);
        Run {
            plan,
            known: known.into_iter().map(Option::unwrap_or_default).collect(),
            is_cheap: problem.pieces.len() <= MOST_FOR_VARIANTS && (stops - from_one) * 5 <= stops,
        }
    }

    /// What is to be packed in a phase, wire by wire; `ahead` says how much of each wire comes later.
    #[allow(clippy::too_many_arguments, reason = "the state of a run")]
    fn tasks<'t>(
        &self,
        problem: &'t Problem,
        ledger: &Ledger<'_>,
        phase: &Phase,
        ahead: &[i64],
        coils: &[Vec<CoilIndex>],
        taste: Taste,
        stop: &'t (dyn Fn() -> bool + Sync),
    ) -> Vec<WireTask<'t>> {
        let task = |((wire, pieces), ahead): (&(WireIndex, Vec<PieceIndex>), &i64)| {
            let stocks = coils[wire.index()].iter().filter_map(|c| stock(problem, ledger, *c)).collect();
            let total = pieces.iter().map(|p| problem.pieces[p.index()].length.get()).sum();
            WireTask {
                problem,
                rules: quality::rules(problem, *wire, &self.order),
                stocks: if taste == Taste::Lasting { only_lasting(stocks, total, *ahead) } else { stocks },
                // Without foresight, the longest.
                ahead: if taste == Taste::Lasting { *ahead } else { i64::MAX },
                effort: self.effort.rounds_per_coil,
                seed: u64::from(wire.0),
                stop,
            }
        };
        phase.iter().zip(ahead).map(task).collect()
    }
}

/// Which coils are preferred.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Taste {
    /// As the levels say, phase by phase.
    AsCosts,
    /// Coils that last for all that comes later, so that fewer must be mounted in all.
    Lasting,
}

/// A plan made phase by phase.
struct Run {
    plan: Plan,
    /// What is known of each wire that is cut in one phase; nothing of the others.
    known: Vec<Known>,
    /// Nearly all stops take one coil, so that the work can be done several times over.
    is_cheap: bool,
}

/// The coil as it is now, if it can give anything.
fn stock(problem: &Problem, ledger: &Ledger<'_>, coil: CoilIndex) -> Option<Stock> {
    let margin = problem.margin_of(coil);
    let room = ledger.tail_after(coil, 0)? - margin;
    (room > 0).then(|| Stock {
        coil,
        room,
        margin,
        mounts: ledger.needs_mounting(coil),
        sealed: !ledger.is_opened(coil),
        rank: problem.coils[coil.index()].received_rank,
    })
}
