//! Repairing an assignment: overdrawn coils are relieved, blocks without a coil get one, tails that became scrap are mended.

use std::cmp::Reverse;

use crate::model::{CoilIndex, PieceIndex, Unison};

use super::Kin;
use super::shelf::{BlockIndex, Shelf, block};

/// Rounds of mending tails; one nearly always does.
const ROUNDS: usize = 3;

impl Shelf<'_> {
    /// Repairs the assignment. Blocks that stay in the pool are uncut.
    pub(super) fn repair(&mut self) {
        self.return_to_kin();
        for _ in 0..ROUNDS {
            let bad: Vec<CoilIndex> = self.coils().filter(|coil| self.is_bad(*coil)).collect();
            for coil in &bad {
                self.mend(*coil);
                self.evict(*coil);
            }
            let waited = self.pool.len();
            self.place_pool();
            if bad.is_empty() && waited == 0 {
                break;
            }
        }
    }

    /// Gives other coils to blocks of pieces that cannot be cut from this one in any order that keeps the former one.
    pub(super) fn bar(&mut self, coil: CoilIndex, pieces: &[PieceIndex]) {
        let mut load = self.loads[coil.index()].clone();
        load.retain(|block| self.blocks[*block].pieces.iter().any(|piece| pieces.contains(piece)));
        for block in load {
            self.barred.insert((block, coil));
            self.take(block, coil);
            self.pool.push(block);
        }
        self.repair();
    }

    fn coils(&self) -> impl Iterator<Item = CoilIndex> + use<> {
        (0u32..).map(CoilIndex).take(self.problem.coils.len())
    }

    /// Puts lost pieces on the coil of their note even if something else must make way.
    fn return_to_kin(&mut self) {
        for block in std::mem::take(&mut self.pool) {
            let coil = self.blocks[block].kin.and_then(|kin| kin.coil);
            match coil
                .filter(|coil| !self.barred.contains(&(block, *coil)) && self.can_make_way(*coil, block))
            {
                Some(coil) => self.put(block, coil),
                None => self.pool.push(block),
            }
        }
    }

    /// Whether the coil holds the block if all that may be moved is moved.
    fn can_make_way(&self, coil: CoilIndex, block: BlockIndex) -> bool {
        let movable = self.loads[coil.index()].iter().filter(|other| !self.is_anchored(**other, coil));
        let most: i64 = movable.map(|other| self.blocks[*other].length).sum();
        let wire = self.blocks[block].pieces.first().map(|piece| self.problem.pieces[piece.index()].wire);
        wire == Some(self.coil(coil).wire) && self.free[coil.index()] + most >= self.blocks[block].length
    }

    /// Takes off what an overdrawn coil cannot give: one block that is enough and as easy to move as can be, else the
    /// longest first. A coil that can give nothing loses all.
    fn evict(&mut self, coil: CoilIndex) {
        while self.free[coil.index()] < 0 && !self.loads[coil.index()].is_empty() {
            let lack = -self.free[coil.index()];
            let load = &self.loads[coil.index()];
            let victim = load.iter().min_by_key(|block| {
                let b = &self.blocks[**block];
                let enough = b.length >= lack;
                let length = if enough { b.length } else { -b.length };
                let new = b.from != Some(coil);
                (self.is_anchored(**block, coil), !enough, !new, b.pieces.len(), Reverse(b.serial), length)
            });
            let Some(victim) = victim.copied() else { break };
            self.take(victim, coil);
            self.pool.push(victim);
        }
    }

    /// Gives blocks without a coil one, in due order, longest first.
    pub(super) fn place_pool(&mut self) {
        let mut pool = std::mem::take(&mut self.pool);
        pool.sort_by_key(|block| (self.blocks[*block].serial, Reverse(self.blocks[*block].length), *block));
        for block in pool {
            match self.best_coil(block) {
                Some(coil) => self.put(block, coil),
                None if self.problem.policy.unison == Unison::Preferred => self.place_parts(block),
                None => self.pool.push(block),
            }
        }
    }

    /// Places the pieces of a block one by one, each beside the others if that goes.
    fn place_parts(&mut self, whole: BlockIndex) {
        let parent = self.blocks[whole].clone();
        if parent.pieces.len() == 1 {
            self.pool.push(whole);
            return;
        }
        self.blocks[whole].pieces.clear();
        self.blocks[whole].length = 0;
        let mut kin = parent.kin;
        for piece in parent.pieces {
            let Some(part) = block(self.problem, vec![piece], parent.from, kin) else { continue };
            self.blocks.push(part);
            let part = self.blocks.len() - 1;
            match self.best_coil(part) {
                Some(coil) => {
                    self.put(part, coil);
                    kin = kin.or(Some(Kin { coil: Some(coil), lot: Some(self.coil(coil).lot) }));
                }
                None => self.pool.push(part),
            }
        }
    }

    /// The coil that takes a block best: that of its note, else its lot; where no scrap comes of it; without a mounting more;
    /// opened; filled to its end, else with the longest rest.
    fn best_coil(&self, block: BlockIndex) -> Option<CoilIndex> {
        let b = &self.blocks[block];
        let wire = self.problem.pieces[b.pieces.first()?.index()].wire;
        let fits = self.coils().filter(|coil| {
            self.coil(*coil).wire == wire
                && self.free[coil.index()] >= b.length
                && !self.barred.contains(&(block, *coil))
        });
        fits.min_by_key(|coil| {
            let entry = self.coil(*coil);
            let left = self.free[coil.index()] - b.length;
            let torn = b.kin.is_some_and(|kin| kin.coil != Some(*coil));
            let other_lot = b.kin.is_some_and(|kin| kin.lot != Some(entry.lot));
            let beyond = self.beyond(*coil, left);
            let idle = self.loads[coil.index()].is_empty();
            let mounts = !self.visited[coil.index()] && idle;
            let sealed = !entry.opened && entry.mounted_at.is_none() && idle;
            let rest = if left <= self.policy.scrap_tolerance.get() { i64::MIN } else { -left };
            let moved = b.from != Some(*coil);
            (
                torn,
                other_lot,
                beyond,
                mounts,
                sealed,
                self.is_short(*coil, left),
                moved,
                rest,
                entry.received_rank,
            )
        })
    }
}
