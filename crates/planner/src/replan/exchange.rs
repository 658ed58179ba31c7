//! Mending the tail of one coil by an exchange of at most two blocks with another.

use crate::model::CoilIndex;

use super::shelf::{BlockIndex, Shelf};

/// Blocks of the coil to mend that may leave it: the easiest to move.
const MOST_OUT: usize = 40;
/// Blocks of a partner that may leave it.
const MOST_IN: usize = 60;
/// Coils that are tried as partners: those with the longest rest, then others.
const MOST_PARTNERS: usize = 24;
/// Sums next to the wanted one that are tried.
const MOST_NEAR: usize = 8;
/// Moves that avoiding a short remnant is worth.
const SHORT_REMNANT_COST: i64 = 2;

/// Up to two blocks with the sum of their lengths.
#[derive(Debug, Clone, Copy, Default)]
struct Pair {
    sum: i64,
    blocks: [Option<BlockIndex>; 2],
}

/// What decides between exchanges: scrap beyond the tolerance, then moves, then mountings, then coils opened, then what is left.
type Cost = (i64, i64, bool, bool, i64);

/// An exchange between the coil to mend and a partner.
#[derive(Debug, Clone, Copy)]
struct Swap {
    partner: CoilIndex,
    out: Pair,
    into: Pair,
    cost: Cost,
}

impl Shelf<'_> {
    /// Makes the best exchange that mends the coil, if there is one.
    pub(super) fn mend(&mut self, coil: CoilIndex) {
        if !self.is_bad(coil) {
            return;
        }
        if let Some(Swap { partner, out, into, .. }) = self.best_swap(coil) {
            for block in out.blocks.into_iter().flatten() {
                self.take(block, coil);
                self.put(block, partner);
            }
            for block in into.blocks.into_iter().flatten() {
                self.take(block, partner);
                self.put(block, coil);
            }
        }
    }

    fn best_swap(&self, coil: CoilIndex) -> Option<Swap> {
        let outs = self.pairs(coil, MOST_OUT);
        let now = self.free[coil.index()];
        let mut best: Option<Swap> = None;
        for partner in self.partners(coil) {
            let mut ins = self.pairs(partner, MOST_IN);
            ins.sort_unstable_by_key(|pair| (pair.sum, pair.blocks));
            for out in &outs {
                let room = now + out.sum;
                let end = ins.partition_point(|pair| pair.sum <= room);
                let near = ins[..end].iter().rev().take(MOST_NEAR).chain(ins.first());
                for into in near {
                    if let Some(swap) = self.judge(coil, partner, *out, *into)
                        && best.is_none_or(|best| swap.cost < best.cost)
                    {
                        best = Some(swap);
                    }
                }
            }
            // Nothing mends with less than one piece moved.
            if best.is_some_and(|best| best.cost.0 == 0 && best.cost.1 <= 1) {
                break;
            }
        }
        best
    }

    /// What an exchange costs; `None` if it does not go or is no better than leaving things as they are.
    fn judge(&self, coil: CoilIndex, partner: CoilIndex, out: Pair, into: Pair) -> Option<Swap> {
        let (before, other) = (self.free[coil.index()], self.free[partner.index()]);
        let after = before + out.sum - into.sum;
        let other_after = other - out.sum + into.sum;
        let barred =
            |pair: Pair, to| pair.blocks.into_iter().flatten().any(|b| self.barred.contains(&(b, to)));
        if after < 0 || other_after < 0 || (out.sum == 0 && into.sum == 0) {
            return None;
        }
        if !self.barred.is_empty() && (barred(out, partner) || barred(into, coil)) {
            return None;
        }
        let given = out.blocks.iter().flatten().count();
        let taken = into.blocks.iter().flatten().count();
        let idle = self.loads[coil.index()].len() + taken == given;
        let other_was_idle = self.loads[partner.index()].is_empty();
        let other_idle = self.loads[partner.index()].len() + given == taken;
        let beyond_of = |coil, free, idle: bool| if idle { 0 } else { self.beyond(coil, free) };
        let short_of = |coil, free, idle: bool| !idle && self.is_short(coil, free);
        let beyond = beyond_of(coil, after, idle) + beyond_of(partner, other_after, other_idle);
        let beyond_now = beyond_of(coil, before, false) + beyond_of(partner, other, other_was_idle);
        let shorts = i64::from(short_of(coil, after, idle))
            + i64::from(short_of(partner, other_after, other_idle))
            - i64::from(short_of(partner, other, other_was_idle));
        let moves = self.moves(out, coil, partner) + self.moves(into, partner, coil);
        let cost_of_moves = moves + SHORT_REMNANT_COST * shorts;
        let stay = (beyond_now, SHORT_REMNANT_COST * i64::from(short_of(coil, before, false)));
        if before >= 0 && (beyond, cost_of_moves) >= stay {
            return None;
        }
        let mounts = other_was_idle && !self.visited[partner.index()];
        let entry = self.coil(partner);
        let opens = other_was_idle && !entry.opened && entry.mounted_at.is_none();
        Some(Swap { partner, out, into, cost: (beyond, cost_of_moves, mounts, opens, after) })
    }

    /// Pieces that are away from their former coil after a move of these blocks, less those that are before.
    fn moves(&self, pair: Pair, at: CoilIndex, to: CoilIndex) -> i64 {
        let away = |block: BlockIndex| {
            let b = &self.blocks[block];
            let pieces = i64::try_from(b.pieces.len()).unwrap_or(i64::MAX);
            pieces * (i64::from(b.from == Some(at)) - i64::from(b.from == Some(to)))
        };
        pair.blocks.into_iter().flatten().map(away).sum()
    }

    /// Nothing, and all single blocks and pairs that may leave a coil; of blocks of equal length two are enough.
    fn pairs(&self, coil: CoilIndex, most: usize) -> Vec<Pair> {
        let load = self.loads[coil.index()].iter().copied();
        let mut movable: Vec<BlockIndex> = load.filter(|block| !self.is_anchored(*block, coil)).collect();
        // Blocks that are new here or have few pieces are easy to move; short ones fit in many places.
        movable.sort_by_key(|block| {
            let b = &self.blocks[*block];
            (b.from == Some(coil), b.pieces.len(), b.length, *block)
        });
        let mut seen: Vec<i64> = Vec::new();
        movable.retain(|block| {
            let length = self.blocks[*block].length;
            seen.push(length);
            seen.iter().filter(|other| **other == length).count() <= 2
        });
        movable.truncate(most);
        let length = |block: BlockIndex| self.blocks[block].length;
        let mut pairs = vec![Pair::default()];
        for (i, a) in movable.iter().copied().enumerate() {
            pairs.push(Pair { sum: length(a), blocks: [Some(a), None] });
            pairs.extend(
                movable[i + 1..]
                    .iter()
                    .map(|b| Pair { sum: length(a) + length(*b), blocks: [Some(a), Some(*b)] }),
            );
        }
        pairs
    }

    /// Coils of the same wire: those in use with the longest rest first, then those that are not in use.
    fn partners(&self, coil: CoilIndex) -> Vec<CoilIndex> {
        let wire = self.coil(coil).wire;
        let all = self.problem.indexed_coils().filter(|(c, entry)| *c != coil && entry.wire == wire);
        let mut partners: Vec<CoilIndex> =
            all.map(|(c, _)| c).filter(|c| self.free[c.index()] >= 0).collect();
        partners.sort_by_key(|c| {
            let idle = self.loads[c.index()].is_empty();
            (idle && !self.visited[c.index()], idle && !self.coil(*c).opened, -self.free[c.index()], *c)
        });
        partners.truncate(MOST_PARTNERS);
        partners
    }
}
