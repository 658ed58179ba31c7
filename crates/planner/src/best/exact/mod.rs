//! An exact method for small problems: every assignment and every sequence that may be the best.
//!
//! Branch and bound over assignments, wire by wire; the wires by themselves first, whose optima together bound the whole from
//! below. For an assignment that may be better than the best plan so far, branch and bound over sequences of cuts, in which
//! a coil is mounted just before a cut from it and taken off only when its position is needed: any plan can be brought to
//! that form without becoming worse. The work is bounded in nodes.

mod assign;
mod order;
mod small;

use crate::model::{PieceIndex, Problem, Unison};
use crate::objective::{Level, LevelOrder, Quality};
use crate::plan::Plan;

use super::sequence::Writer;
use assign::{Assign, Budget, Choice};
use order::{Move, Sequence};
use small::{Small, Value};

/// Nodes of each of the two searches.
const MOST_NODES: u32 = 400_000;

/// How much was proven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Proof {
    /// All levels but the wanted order of pieces.
    AllButOrder,
    /// All levels.
    All,
}

impl Proof {
    /// Raises the bounds of a report to what is proven.
    pub(super) fn note(self, quality: &mut Quality) {
        for report in &mut quality.levels {
            if self == Self::All || report.level != Level::OutOfOrder {
                report.lower_bound = report.value;
                report.proven = true;
            }
        }
    }
}

/// The best plan of a small problem with what is proven of it; `None` if the problem is too large, or the search too long, to
/// prove anything. `plan` is the best so far.
pub(super) fn solve(
    problem: &Problem,
    order: &LevelOrder,
    plan: &Plan,
    stop: &dyn Fn() -> bool,
) -> Option<(Option<Plan>, Proof)> {
    let small = Small::new(problem, order)?;
    let mut budget = Budget { nodes: MOST_NODES, stop };
    let mut best = Best { small: &small, value: small.value(plan), found: None };
    let (after, union, least) = by_wires(&small, &mut budget)?;
    if best.value.without_order() > least {
        best.try_sequence(&union, fixed(&small, &union), false, &mut budget)?;
    }
    if best.value.without_order() > least && !best.search(&after, true, &mut budget) {
        return None;
    }
    let mut budget = Budget { nodes: MOST_NODES, stop };
    let whole = best.value.out_of_order() == 0 || best.search(&after, false, &mut budget);
    let found = best.found.map(|(choice, moves)| write(&small, &choice, &moves));
    Some((found, if whole { Proof::All } else { Proof::AllButOrder }))
}

/// The best assignment of each wire by itself: for each wire what the ones after it come to at least, the assignments
/// together, and their value.
fn by_wires(small: &Small<'_>, budget: &mut Budget<'_>) -> Option<(Vec<Value>, Choice, Value)> {
    let wires = small.wires.len();
    let mut after = vec![Value::default(); wires];
    let mut union: Choice = vec![None; small.pieces.len()];
    let mut sum = Value::default();
    for wire in (0..wires).rev() {
        after[wire] = sum;
        let mut least = None;
        let alone = Assign::new(small, vec![Value::default(); wires], Value::WORST);
        let done = alone.run(wire..wire + 1, budget, &mut |choice, value, _| {
            least = Some((choice.clone(), value));
            Some(value)
        });
        let (choice, value) = least.filter(|_| done)?;
        for (of_piece, found) in union.iter_mut().zip(choice) {
            *of_piece = of_piece.or(found);
        }
        sum = sum.plus(value);
    }
    Some((after, union, sum))
}

/// What an assignment costs whatever the sequence: uncut pieces, groups split and lots.
fn fixed(small: &Small<'_>, choice: &Choice) -> Value {
    let mut value = Value::default();
    let mut lots = std::collections::BTreeSet::new();
    let mut sources = std::collections::BTreeSet::new();
    for (piece, from) in small.pieces.iter().zip(choice) {
        match from {
            None => value = value.plus(small.uncut(piece.serial, 1)),
            Some(coil) => {
                lots.insert((piece.serial, piece.wire, small.coils[*coil].lot));
                sources.insert((piece.group, *coil));
            }
        }
    }
    let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    if small.problem.policy.unison != Unison::Off {
        let groups: Vec<_> = sources.into_iter().collect();
        let split = groups.chunk_by(|a, b| a.0 == b.0).filter(|coils| coils.len() > 1).count();
        value = value.plus(Small::split(count(split)));
    }
    value.plus(small.at(Level::Lots, count(lots.len())))
}

/// The best plan so far.
struct Best<'s, 'a> {
    small: &'s Small<'a>,
    value: Value,
    /// Assignment and moves, if better than the plan that the search began with.
    found: Option<(Choice, Vec<Move>)>,
}

impl Best<'_, '_> {
    /// Searches assignments and sequences for a better plan; returns whether it came to its end.
    fn search(&mut self, after: &[Value], without_order: bool, budget: &mut Budget<'_>) -> bool {
        let small = self.small;
        let limit = |value: Value| if without_order { value.without_order() } else { value };
        let assign = Assign::new(small, after.to_vec(), limit(self.value));
        assign.run(0..small.wires.len(), budget, &mut |choice, _, budget| {
            self.try_sequence(choice, fixed(small, choice), without_order, budget)?;
            Some(limit(self.value))
        })
    }

    /// Looks for a better sequence of an assignment; `None` if the search was cut short.
    fn try_sequence(
        &mut self,
        choice: &Choice,
        fixed: Value,
        without_order: bool,
        budget: &mut Budget<'_>,
    ) -> Option<()> {
        let limit = if without_order { self.value.without_order() } else { self.value };
        let (done, found) = Sequence::new(self.small, choice, limit, without_order).run(fixed, budget);
        if let Some((value, moves)) = found {
            self.value = value;
            self.found = Some((choice.clone(), moves));
            if without_order {
                // Its order of pieces is not known yet: measure it.
                let plan = write(self.small, choice, &self.found.as_ref()?.1);
                self.value = self.small.value(&plan);
            }
        }
        done.then_some(())
    }
}

/// Writes the moves as a plan.
fn write(small: &Small<'_>, choice: &Choice, moves: &[Move]) -> Plan {
    let mut writer = Writer::new(small.problem);
    for step in moves {
        match step {
            Move::Unmount(coil) => {
                writer.unmount(small.coils[*coil].index);
            }
            Move::Mount(coil) => writer.mount(small.coils[*coil].index),
            Move::Cut(piece) => {
                if let Some(coil) = choice[*piece] {
                    writer.cut(small.coils[coil].index, small.pieces[*piece].index);
                }
            }
        }
    }
    let uncut = small.pieces.iter().zip(choice).filter(|(_, from)| from.is_none());
    let mut uncut: Vec<PieceIndex> = uncut.map(|(piece, _)| piece.index).collect();
    uncut.sort_unstable();
    writer.finish(uncut)
}
