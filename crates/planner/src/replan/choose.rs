//! Which of several new plans is the best.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{CoilIndex, GroupIndex, Unison, WireIndex};
use crate::objective::{LevelOrder, Quality, Score};
use crate::plan::{Plan, Step};

use super::{Calm, Disturbed, Method, Moves, ReplanPolicy, Replanned};

/// A plan with what it comes to.
#[derive(Debug)]
pub(super) struct Candidate {
    pub(super) replanned: Replanned,
    /// Pieces uncut of each serial in due order.
    pub(super) uncut: Vec<u32>,
    /// Notes torn between coils, and between lots.
    pub(super) torn: (u64, u64),
    scrap: i64,
    score: Score,
}

impl Candidate {
    pub(super) fn new(floor: &Disturbed<'_>, order: &LevelOrder, plan: Plan, method: Method) -> Self {
        let problem = floor.problem;
        let mut uncut = vec![0u32; problem.serials as usize];
        for piece in &plan.uncut {
            uncut[problem.pieces[piece.index()].serial.index()] += 1;
        }
        let scrap = plan.figures.scrap.get();
        let score = Score::of(problem, &plan, order);
        let moves = Moves::between(floor, &plan);
        let torn = torn(floor, &plan.steps);
        let torn = (torn.iter().map(|wire| wire.0).sum(), torn.iter().map(|wire| wire.1).sum());
        Self {
            uncut,
            torn,
            scrap,
            score,
            replanned: Replanned { plan, quality: Quality::default(), moves, method },
        }
    }
}

/// The best of several; `None` of none.
pub(super) fn choose(policy: &ReplanPolicy, candidates: Vec<Candidate>) -> Option<Replanned> {
    let first = |c: &Candidate| (c.uncut.clone(), c.torn);
    let best = candidates.iter().map(first).min()?;
    let level: Vec<Candidate> = candidates.into_iter().filter(|c| first(c) == best).collect();
    let least = level.iter().map(|c| c.scrap).min()?;
    let coils = level.iter().map(|c| c.replanned.plan.figures.coils_used).max()?;
    let tolerance = policy.scrap_tolerance.get().saturating_mul(i64::try_from(coils).unwrap_or(i64::MAX));
    let within = level.into_iter().filter(|c| c.scrap <= least.saturating_add(tolerance));
    let best = within.min_by(|a, b| {
        let moved = |c: &Candidate| c.replanned.moves.moved + c.replanned.moves.forced;
        let by_moves = moved(a).cmp(&moved(b));
        let by_score = a.score.cmp(&b.score);
        let order = match policy.calm {
            Calm::AfterScrap => by_moves.then(by_score),
            Calm::Last => by_score.then(by_moves),
        };
        order.then(a.replanned.moves.reordered.cmp(&b.replanned.moves.reordered))
    });
    best.map(|candidate| candidate.replanned)
}

/// A coil with its lot, where the problem has them.
type Source = (Option<CoilIndex>, Option<u32>);

/// For each wire, notes that come from more than one coil and from more than one lot, what is cut already included.
pub(super) fn torn(floor: &Disturbed<'_>, steps: &[Step]) -> Vec<(u64, u64)> {
    let problem = floor.problem;
    let mut torn = vec![(0, 0); problem.wires.len()];
    if problem.policy.unison == Unison::Off {
        return torn;
    }
    let mut sources: BTreeMap<(WireIndex, GroupIndex), BTreeSet<Source>> = BTreeMap::new();
    for step in steps {
        let Step::Cut { coil, piece, .. } = step else { continue };
        let (Some(entry), Some(lot)) =
            (problem.pieces.get(piece.index()), problem.coils.get(coil.index()).map(|coil| coil.lot))
        else {
            continue;
        };
        let sources = sources.entry((entry.wire, entry.group)).or_default();
        sources.insert((Some(*coil), Some(lot)));
        if let Some(kin) = floor.kin.get(piece.index()).copied().flatten() {
            sources.insert((kin.coil, kin.lot));
        }
    }
    for ((wire, _), sources) in sources {
        let lots: BTreeSet<Option<u32>> = sources.iter().map(|(_, lot)| *lot).collect();
        torn[wire.index()].0 += u64::from(sources.len() > 1);
        torn[wire.index()].1 += u64::from(lots.len() > 1);
    }
    torn
}
