//! The answer.

use std::collections::BTreeMap;

use becket_planner::{BestPlan, Figures, GroupIndex, PieceIndex, Problem, Unison};

use super::pictures::pictures;
use super::steps::steps;
use super::{PlanQuestion, text};
use crate::convert::enums::Known as _;
use crate::cutting::{LevelReport, PlanCutsResponse, PlanFigures, UncutPieces, UncutReason};

/// Shows a plan for the question. `search_us` is how long it was searched for, in µs.
#[must_use]
pub fn plan_cuts_response(question: &PlanQuestion, best: &BestPlan, search_us: i64) -> PlanCutsResponse {
    let BestPlan { plan, quality } = best;
    PlanCutsResponse {
        steps: if question.with_steps { steps(question, plan) } else { Vec::new() },
        coils: if question.with_pictures { pictures(question, plan) } else { Vec::new() },
        figures: Some(figures(&plan.figures)),
        levels: quality.levels.iter().map(level_report).collect(),
        uncut: uncut(question, &plan.uncut),
        stopped: quality.stopped,
        policy: Some((&question.policy).into()),
        search_us,
    }
}

/// Shows what is known of one level.
#[must_use]
pub fn level_report(report: &becket_planner::LevelReport) -> LevelReport {
    let becket_planner::LevelReport { level, value, lower_bound, proven } = *report;
    LevelReport { level: level.number(), value, lower_bound, proven }
}

fn figures(figures: &Figures) -> PlanFigures {
    let Figures {
        pieces_cut,
        cut_length,
        scrap,
        remnant_length,
        coils_used,
        coils_opened,
        reel_changes,
        groups_split,
    } = *figures;
    // No problem has as many pieces or coils as would not fit.
    let count = |value: u64| i32::try_from(value).unwrap_or(i32::MAX);
    PlanFigures {
        pieces: count(pieces_cut),
        cut_um: cut_length.get(),
        scrap_um: scrap.get(),
        remnant_um: remnant_length.get(),
        coils_used: count(coils_used),
        coils_opened: count(coils_opened),
        reel_changes: count(reel_changes),
        unisons_split: count(groups_split),
    }
}

fn uncut(question: &PlanQuestion, uncut: &[PieceIndex]) -> Vec<UncutPieces> {
    let reasons = Reasons::new(&question.problem, uncut);
    let mut shown: Vec<UncutPieces> = Vec::new();
    let mut last = None;
    for index in uncut {
        let (Some((number, batch)), Some(piece)) =
            (question.names.batch_of(*index), question.problem.pieces.get(index.index()))
        else {
            continue;
        };
        if let (true, Some(before)) = (last == Some(number), shown.last_mut()) {
            before.count += 1;
            continue;
        }
        last = Some(number);
        shown.push(UncutPieces {
            serial_id: question.names.serial(batch.serial),
            piece_id: text(batch.piece_id.as_ref()),
            count: 1,
            length_um: piece.length.get(),
            reason: reasons.of(*index).into(),
        });
    }
    shown
}

/// What the coils can give at most, and what the groups of uncut pieces ask for.
struct Reasons<'a> {
    problem: &'a Problem,
    /// Longest stretch that a coil of each wire can give; `None` if there is no coil.
    longest: Vec<Option<i64>>,
    group_lengths: BTreeMap<GroupIndex, i64>,
}

impl<'a> Reasons<'a> {
    fn new(problem: &'a Problem, uncut: &[PieceIndex]) -> Self {
        let mut longest = vec![None; problem.wires.len()];
        for coil in &problem.coils {
            let trim = if coil.mounted_at.is_none() { problem.policy.end_trim.get() } else { 0 };
            let room = coil.available.get() - trim - problem.policy.margin.get() - coil.margin.get();
            if let Some(longest) = longest.get_mut(coil.wire.index()) {
                *longest = (*longest).max(Some(room));
            }
        }
        let mut group_lengths: BTreeMap<GroupIndex, i64> = BTreeMap::new();
        if problem.policy.unison == Unison::Hard {
            for piece in uncut.iter().filter_map(|index| problem.pieces.get(index.index())) {
                let sum = group_lengths.entry(piece.group).or_default();
                *sum = sum.saturating_add(piece.length.get());
            }
        }
        Self { problem, longest, group_lengths }
    }

    fn of(&self, index: PieceIndex) -> UncutReason {
        let Some(piece) = self.problem.pieces.get(index.index()) else { return UncutReason::Unspecified };
        let Some(longest) = self.longest.get(piece.wire.index()).copied().flatten() else {
            return UncutReason::NoCoil;
        };
        let group = self.group_lengths.get(&piece.group).copied().unwrap_or_default();
        if piece.length.get() > longest {
            UncutReason::LongerThanEveryCoil
        } else if group > longest {
            UncutReason::GroupLongerThanEveryCoil
        } else {
            UncutReason::StockShort
        }
    }
}
