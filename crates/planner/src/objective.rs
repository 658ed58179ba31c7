//! The objective: its levels, and what a plan comes to on each of them.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{Problem, Unison};
use crate::plan::{Plan, Step};

/// One level of the objective. On every level less is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Serials from the first in due order that lacks a piece to the last: all serials less those that are cut whole before
    /// any lacks one.
    SerialsNotWhole,
    /// Pieces left uncut.
    PiecesUncut,
    /// Groups cut from more than one coil; 0 by definition if groups do not matter.
    GroupsSplit,
    /// End trims and scrap tails, in µm.
    Scrap,
    /// Sealed coils that are mounted.
    CoilsOpened,
    /// Mountings.
    ReelChanges,
    /// Different lots of a wire in a serial, summed over wires and serials.
    Lots,
    /// Times that a piece is cut after one of its serial which the stringer wants later.
    OutOfOrder,
}

/// The order of the levels that the shop may order. [`Level::SerialsNotWhole`], [`Level::PiecesUncut`] and
/// [`Level::GroupsSplit`] always come first, [`Level::OutOfOrder`] always comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LevelOrder([Level; 4]);

impl Default for LevelOrder {
    /// Scrap, coils opened, reel changes, lots.
    fn default() -> Self {
        Self([Level::Scrap, Level::CoilsOpened, Level::ReelChanges, Level::Lots])
    }
}

impl LevelOrder {
    /// An order of the four levels; `None` if one is missing or does not belong there.
    #[must_use]
    pub fn new(levels: [Level; 4]) -> Option<Self> {
        let mut sorted = levels;
        sorted.sort_unstable();
        (sorted == Self::default().0).then_some(Self(levels))
    }

    /// The four levels, most important first.
    #[must_use]
    pub fn levels(&self) -> [Level; 4] {
        self.0
    }

    /// All levels, most important first.
    #[must_use]
    pub fn all(&self) -> [Level; 8] {
        let [a, b, c, d] = self.0;
        [Level::SerialsNotWhole, Level::PiecesUncut, Level::GroupsSplit, a, b, c, d, Level::OutOfOrder]
    }
}

/// What a plan comes to, for comparing plans of one problem: the smaller is better.
///
/// Pieces are compared serial by serial in due order: a plan that cuts more of the first serial is better whatever it does
/// for the others. The maximum of that order also cuts as many whole serials in due order as can be cut.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Score {
    uncut_of_serial: Vec<u32>,
    rest: [i64; 6],
}

impl Score {
    /// Measures a plan that passes [`check_plan`](crate::check_plan). Of any other plan it measures what it can.
    #[must_use]
    pub fn of(problem: &Problem, plan: &Plan, order: &LevelOrder) -> Self {
        let values = Values::of(problem, plan);
        let [a, b, c, d] = order.0.map(|level| values.at(level));
        Self {
            uncut_of_serial: values.uncut_of_serial.clone(),
            rest: [values.groups_split, a, b, c, d, values.out_of_order],
        }
    }
}

/// The values of all levels.
#[derive(Debug, Clone)]
pub(crate) struct Values {
    pub(crate) uncut_of_serial: Vec<u32>,
    groups_split: i64,
    scrap: i64,
    coils_opened: i64,
    reel_changes: i64,
    lots: i64,
    out_of_order: i64,
}

impl Values {
    /// Measures a plan.
    pub(crate) fn of(problem: &Problem, plan: &Plan) -> Self {
        let mut uncut_of_serial = vec![0u32; problem.serials as usize];
        for piece in plan.uncut.iter().filter_map(|p| problem.pieces.get(p.index())) {
            if let Some(uncut) = uncut_of_serial.get_mut(piece.serial.index()) {
                *uncut += 1;
            }
        }
        let (lots, out_of_order) = order_and_lots(problem, plan);
        let split = if problem.policy.unison == Unison::Off { 0 } else { plan.figures.groups_split };
        Self {
            uncut_of_serial,
            groups_split: signed(split),
            scrap: plan.figures.scrap.get(),
            coils_opened: signed(plan.figures.coils_opened),
            reel_changes: signed(plan.figures.reel_changes),
            lots,
            out_of_order,
        }
    }

    /// Value of one level.
    pub(crate) fn at(&self, level: Level) -> i64 {
        match level {
            Level::SerialsNotWhole => {
                let whole = self.uncut_of_serial.iter().take_while(|uncut| **uncut == 0).count();
                signed((self.uncut_of_serial.len() - whole) as u64)
            }
            Level::PiecesUncut => self.uncut_of_serial.iter().map(|uncut| i64::from(*uncut)).sum(),
            Level::GroupsSplit => self.groups_split,
            Level::Scrap => self.scrap,
            Level::CoilsOpened => self.coils_opened,
            Level::ReelChanges => self.reel_changes,
            Level::Lots => self.lots,
            Level::OutOfOrder => self.out_of_order,
        }
    }
}

fn order_and_lots(problem: &Problem, plan: &Plan) -> (i64, i64) {
    let mut lots = BTreeSet::new();
    let mut last = BTreeMap::new();
    let mut out_of_order = 0;
    for step in &plan.steps {
        let Step::Cut { coil, piece, .. } = step else { continue };
        let (Some(coil), Some(piece)) = (problem.coils.get(coil.index()), problem.pieces.get(piece.index()))
        else {
            continue;
        };
        lots.insert((piece.serial, piece.wire, coil.lot));
        let key = problem.policy.piece_order.key(piece);
        if last.insert(piece.serial, key).is_some_and(|before| before > key) {
            out_of_order += 1;
        }
    }
    (signed(lots.len() as u64), out_of_order)
}

fn signed(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// One level of the objective, as a plan reaches it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LevelReport {
    /// Level.
    pub level: Level,
    /// What the plan comes to.
    pub value: i64,
    /// No plan that is at least as good on all levels before this one comes to less.
    pub lower_bound: i64,
    /// Value and bound are equal.
    pub proven: bool,
}

/// How good a plan is known to be.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Quality {
    /// Levels, most important first.
    pub levels: Vec<LevelReport>,
    /// The caller stopped the work before it was done, so the plan is the best found till then.
    pub stopped: bool,
}

impl Quality {
    /// Whether no plan is better.
    #[must_use]
    pub fn is_optimal(&self) -> bool {
        self.levels.iter().all(|report| report.proven)
    }

    /// The first level that is not proven optimal, with the difference of its value and its bound; `None` if there is none.
    #[must_use]
    pub fn gap(&self) -> Option<(Level, i64)> {
        let open = self.levels.iter().find(|report| !report.proven)?;
        Some((open.level, open.value - open.lower_bound))
    }

    /// Report of one level.
    #[must_use]
    pub fn level(&self, level: Level) -> Option<&LevelReport> {
        self.levels.iter().find(|report| report.level == level)
    }
}
