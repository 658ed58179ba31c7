//! Which coil gives which pieces, without an order in time.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{Coil, CoilIndex, GroupIndex, PieceIndex, Problem, SerialIndex, Unison};
use crate::plan::{Step, Tail};

use super::{Disturbed, Kin, ReplanPolicy};

/// Position of a block in [`Shelf::blocks`].
pub(super) type BlockIndex = usize;

/// Pieces that are moved together: those of a group that come from one coil, or one piece where groups do not matter.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) pieces: Vec<PieceIndex>,
    pub(super) length: i64,
    pub(super) serial: SerialIndex,
    /// Coil in the former plan.
    pub(super) from: Option<CoilIndex>,
    /// Where the rest of its note comes from.
    pub(super) kin: Option<Kin>,
}

/// An assignment of blocks to coils, which may still overdraw a coil.
#[derive(Debug, Clone)]
pub(super) struct Shelf<'a> {
    pub(super) problem: &'a Problem,
    pub(super) policy: &'a ReplanPolicy,
    pub(super) blocks: Vec<Block>,
    /// Blocks of each coil.
    pub(super) loads: Vec<Vec<BlockIndex>>,
    /// Room of each coil that nothing takes, in µm, trims and margin left out; negative if the coil is overdrawn.
    pub(super) free: Vec<i64>,
    /// Whether the coil is on a reel now, or will be by the former plan.
    pub(super) visited: Vec<bool>,
    /// Scrap beyond the tolerance, and whether a short remnant is left, as the former plan had it.
    pub(super) accepted: Vec<(i64, bool)>,
    /// Blocks that have no coil.
    pub(super) pool: Vec<BlockIndex>,
    /// Coils that are on no reel when a block could be cut from them.
    pub(super) barred: BTreeSet<(BlockIndex, CoilIndex)>,
}

impl<'a> Shelf<'a> {
    /// The former plan as it meets the floor.
    pub(super) fn of_former(floor: &Disturbed<'a>, policy: &'a ReplanPolicy) -> Self {
        let problem = floor.problem;
        let from = former_coils(floor);
        let (rooms, visited) = rooms(floor);
        let mut shelf = Self {
            problem,
            policy,
            blocks: blocks(floor, &from),
            loads: vec![Vec::new(); problem.coils.len()],
            free: rooms,
            visited,
            accepted: vec![(0, false); problem.coils.len()],
            pool: Vec::new(),
            barred: BTreeSet::new(),
        };
        shelf.accept_tails(floor.former);
        for block in 0..shelf.blocks.len() {
            match shelf.blocks[block].from {
                Some(coil) => shelf.put(block, coil),
                None => shelf.pool.push(block),
            }
        }
        shelf
    }

    /// Puts a block that has no coil on one.
    pub(super) fn put(&mut self, block: BlockIndex, coil: CoilIndex) {
        self.free[coil.index()] -= self.blocks[block].length;
        self.loads[coil.index()].push(block);
    }

    /// Takes a block off its coil.
    pub(super) fn take(&mut self, block: BlockIndex, coil: CoilIndex) {
        self.free[coil.index()] += self.blocks[block].length;
        self.loads[coil.index()].retain(|other| *other != block);
    }

    /// Coil of each piece.
    pub(super) fn coil_of_pieces(&self) -> Vec<Option<CoilIndex>> {
        let mut coil_of = vec![None; self.problem.pieces.len()];
        for (coil, load) in (0u32..).map(CoilIndex).zip(&self.loads) {
            for piece in load.iter().flat_map(|block| &self.blocks[*block].pieces) {
                coil_of[piece.index()] = Some(coil);
            }
        }
        coil_of
    }

    /// Scrap beyond the tolerance if `free` µm of a coil's room stay unused.
    pub(super) fn beyond(&self, coil: CoilIndex, free: i64) -> i64 {
        let tail = free + self.problem.margin_of(coil);
        if tail < self.keep_from(coil) { (free - self.policy.scrap_tolerance.get()).max(0) } else { 0 }
    }

    /// Whether that leaves a remnant which is of little use.
    pub(super) fn is_short(&self, coil: CoilIndex, free: i64) -> bool {
        let tail = free + self.problem.margin_of(coil);
        tail >= self.keep_from(coil).max(self.policy.scrap_tolerance.get() + 1)
            && tail < self.policy.short_remnant.get()
    }

    /// Whether the coil of a block is that of the rest of its note: it is not to be moved then.
    pub(super) fn is_anchored(&self, block: BlockIndex, coil: CoilIndex) -> bool {
        self.blocks[block].kin.is_some_and(|kin| kin.coil == Some(coil))
    }

    /// What a tail says of a coil, worse than what the former plan left on purpose.
    pub(super) fn is_bad(&self, coil: CoilIndex) -> bool {
        let free = self.free[coil.index()];
        let (beyond, short) = self.accepted[coil.index()];
        let used = !self.loads[coil.index()].is_empty();
        free < 0 && used || used && (self.beyond(coil, free) > beyond || self.is_short(coil, free) && !short)
    }

    /// Whether it is overdrawn or its tail is scrap.
    pub(super) fn is_faulty(&self, coil: CoilIndex) -> bool {
        let free = self.free[coil.index()];
        let used = !self.loads[coil.index()].is_empty();
        used && (free < 0 || self.beyond(coil, free) > self.accepted[coil.index()].0)
    }

    pub(super) fn coil(&self, coil: CoilIndex) -> &Coil {
        &self.problem.coils[coil.index()]
    }

    fn keep_from(&self, coil: CoilIndex) -> i64 {
        self.problem.wires[self.coil(coil).wire.index()].smallest_remnant.get()
    }

    fn accept_tails(&mut self, former: &[Step]) {
        for step in former {
            let Step::Unmount { coil, tail, .. } = step else { continue };
            if coil.index() >= self.accepted.len() {
                continue;
            }
            let left = match tail {
                Tail::Empty => 0,
                Tail::Scrap(length) | Tail::Remnant(length) => length.get(),
            };
            let free = left - self.problem.margin_of(*coil);
            self.accepted[coil.index()] = (self.beyond(*coil, free), self.is_short(*coil, free));
        }
    }
}

/// Coil of each piece in the former plan, where it is a coil of the piece's wire.
pub(super) fn former_coils(floor: &Disturbed<'_>) -> Vec<Option<CoilIndex>> {
    let problem = floor.problem;
    let mut from = vec![None; problem.pieces.len()];
    for step in floor.former {
        let Step::Cut { coil, piece, .. } = step else { continue };
        let wire = problem.coils.get(coil.index()).map(|coil| coil.wire);
        if let Some(slot) = from.get_mut(piece.index())
            && wire == problem.pieces.get(piece.index()).map(|piece| piece.wire)
        {
            *slot = Some(*coil);
        }
    }
    from
}

/// What may be cut from each coil if it is mounted as often as in the former plan, and whether it is visited at all.
pub(super) fn rooms(floor: &Disturbed<'_>) -> (Vec<i64>, Vec<bool>) {
    let problem = floor.problem;
    let mut mountings = vec![0i64; problem.coils.len()];
    for step in floor.former {
        if let Step::Mount { coil, .. } = step
            && let Some(count) = mountings.get_mut(coil.index())
        {
            *count += 1;
        }
    }
    let trim = problem.policy.end_trim.get();
    problem
        .indexed_coils()
        .map(|(c, coil)| {
            let here = coil.mounted_at.is_some();
            let planned = mountings[c.index()];
            let trims = trim.saturating_mul(planned.max(i64::from(!here)));
            (coil.available.get() - problem.margin_of(c) - trims, here || planned > 0)
        })
        .unzip()
}

/// Pieces by group and former coil, or each alone if groups do not matter.
fn blocks(floor: &Disturbed<'_>, from: &[Option<CoilIndex>]) -> Vec<Block> {
    let problem = floor.problem;
    let grouped = problem.policy.unison != Unison::Off;
    let mut sets: BTreeMap<(GroupIndex, Option<CoilIndex>), Vec<PieceIndex>> = BTreeMap::new();
    let mut blocks = Vec::new();
    for (p, piece) in problem.indexed_pieces() {
        let from = from[p.index()];
        if grouped {
            sets.entry((piece.group, from)).or_default().push(p);
        } else {
            blocks.extend(block(problem, vec![p], from, None));
        }
    }
    join_strays(floor, &mut sets);
    for ((_, from), pieces) in sets {
        let kin = pieces.first().and_then(|p| floor.kin.get(p.index()).copied().flatten());
        blocks.extend(block(problem, pieces, from, kin));
    }
    blocks
}

/// Pieces that come back to their note join those of it that are still to be cut, unless more of the note is cut already. Under
/// [`Unison::Hard`] what is still to be cut of a note stays in one piece in any case: were the recut to follow the cut pieces
/// and the others to stay, the rule would be broken among those that nothing forces apart.
fn join_strays(floor: &Disturbed<'_>, sets: &mut BTreeMap<(GroupIndex, Option<CoilIndex>), Vec<PieceIndex>>) {
    let hard = floor.problem.policy.unison == Unison::Hard;
    let apart: Vec<GroupIndex> = if hard {
        let groups: Vec<GroupIndex> = sets.keys().map(|(group, _)| *group).collect();
        groups.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[0]).collect()
    } else {
        sets.keys().filter(|(_, from)| from.is_none()).map(|(group, _)| *group).collect()
    };
    for group in apart {
        let parts = || sets.range((group, None)..).take_while(|((g, _), _)| *g == group);
        let placed = parts().filter(|((_, from), _)| from.is_some());
        let Some(home) = placed.max_by_key(|(_, pieces)| pieces.len()).map(|(key, _)| *key) else {
            continue;
        };
        let first = sets.get(&home).and_then(|pieces| pieces.first().copied());
        let kin = first.and_then(|p| floor.kin.get(p.index()).copied().flatten());
        let joined: Vec<(GroupIndex, Option<CoilIndex>)> = parts()
            .map(|(key, _)| *key)
            .filter(|key| {
                *key != home && (hard || key.1.is_none() && kin.is_none_or(|kin| kin.coil == home.1))
            })
            .collect();
        for key in joined {
            if let Some(stray) = sets.remove(&key) {
                sets.entry(home).or_default().extend(stray);
            }
        }
    }
}

/// A block of these pieces.
pub(super) fn block(
    problem: &Problem,
    pieces: Vec<PieceIndex>,
    from: Option<CoilIndex>,
    kin: Option<Kin>,
) -> Option<Block> {
    let serial = problem.pieces[pieces.first()?.index()].serial;
    let length = pieces.iter().map(|piece| problem.pieces[piece.index()].length.get()).sum();
    Some(Block { pieces, length, serial, from, kin })
}
