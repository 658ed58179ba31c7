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
mod sequence;
mod simplex;
mod wire;

use rayon::prelude::*;

use crate::first::{FirstPlanner, Forecast, Ledger, Sequencer};
use crate::model::{CoilIndex, PieceIndex, Problem, SerialIndex, WireIndex};
use crate::objective::{LevelOrder, Quality, Score};
use crate::plan::{Plan, PlanError, Planner};
use crate::receipt::in_order_of_receipt;

use self::core::Stock;
use wire::{Placed, Solved, WireTask};

/// Pieces times coils up to which the first planner's plan is among the candidates.
const MOST_FOR_FIRST: usize = 200_000_000;

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
        let (plan, scrap_bounds) = self.plan_by_batches(problem, stop);
        let mut candidates = vec![plan];
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
        let mut quality = quality::assess(problem, &plan, &self.order, &scrap_bounds, stop());
        if let Some(proof) = proof {
            proof.note(&mut quality);
        }
        Ok(BestPlan { plan, quality })
    }

    /// As many serials at a time as there are trays, in due order; with a bound on the scrap of each wire if one batch holds
    /// everything.
    fn plan_by_batches(&self, problem: &Problem, stop: &(dyn Fn() -> bool + Sync)) -> (Plan, Vec<i64>) {
        let mut scrap_bounds = Vec::new();
        let mut ledger = Ledger::new(problem);
        let mut sequencer = Sequencer::new(problem, Forecast::new(problem));
        let mut uncut = vec![true; problem.pieces.len()];
        let batches = batches(problem);
        let single = batches.len() == 1;
        for (batch, last) in batches {
            let solved = self.place(problem, &ledger, batch, stop);
            if single {
                scrap_bounds = solved.iter().map(|wire| wire.scrap_bound).collect();
            }
            let placed: Vec<Placed> = solved.into_iter().flat_map(|wire| wire.placed).collect();
            for (coil, piece) in &placed {
                ledger.take(*coil, problem.pieces[piece.index()].length.get());
                uncut[piece.index()] = false;
            }
            sequencer.cut_batch(&mut ledger, &placed, last);
            ledger.end_batch();
        }
        let uncut = (0u32..).map(PieceIndex).zip(uncut).filter(|(_, uncut)| *uncut).map(|(p, _)| p).collect();
        let mut plan = sequencer.finish(&mut ledger, uncut);
        in_order_of_receipt(problem, &mut plan);
        (plan, scrap_bounds)
    }

    /// Places the pieces of a batch, wire by wire.
    fn place(
        &self,
        problem: &Problem,
        ledger: &Ledger<'_>,
        batch: Vec<Vec<PieceIndex>>,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Vec<Solved> {
        let mut stocks: Vec<Vec<Stock>> = vec![Vec::new(); problem.wires.len()];
        for (c, coil) in problem.indexed_coils() {
            stocks[coil.wire.index()].extend(stock(problem, ledger, c));
        }
        let tasks: Vec<_> = (0u32..).map(WireIndex).zip(batch.into_iter().zip(stocks)).collect();
        tasks
            .into_par_iter()
            .map(|(wire, (pieces, stocks))| {
                let task = WireTask {
                    problem,
                    rules: quality::rules(problem, wire, &self.order),
                    stocks,
                    effort: self.effort.rounds_per_coil,
                    seed: u64::from(wire.0),
                    stop,
                };
                task.solve(&pieces)
            })
            .collect()
    }
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

/// Pieces by wire of as many serials at a time as there are trays, each with its last serial.
fn batches(problem: &Problem) -> Vec<(Vec<Vec<PieceIndex>>, SerialIndex)> {
    let mut has_pieces = vec![false; problem.serials as usize];
    for piece in &problem.pieces {
        has_pieces[piece.serial.index()] = true;
    }
    let mut batch_of = Vec::with_capacity(has_pieces.len());
    let mut batches: Vec<(Vec<Vec<PieceIndex>>, SerialIndex)> = Vec::new();
    let mut free = 0;
    for (serial, has_pieces) in (0u32..).map(SerialIndex).zip(has_pieces) {
        if has_pieces {
            if free == 0 {
                batches.push((vec![Vec::new(); problem.wires.len()], serial));
                free = problem.serials_at_a_time();
            }
            free -= 1;
            if let Some((_, last)) = batches.last_mut() {
                *last = serial;
            }
        }
        batch_of.push(batches.len().saturating_sub(1));
    }
    for (p, piece) in problem.indexed_pieces() {
        if let Some((pieces, _)) = batches.get_mut(batch_of[piece.serial.index()]) {
            pieces[piece.wire.index()].push(p);
        }
    }
    batches
}
