//! Every assignment of pieces to coils that may be the best, by branch and bound.

use std::ops::Range;

use crate::model::Unison;
use crate::objective::Level;

use super::small::{Small, Value};

/// Coil of each piece; none is uncut.
pub(super) type Choice = Vec<Option<usize>>;

/// What a search may still cost, in nodes.
pub(super) struct Budget<'a> {
    pub(super) nodes: u32,
    pub(super) stop: &'a dyn Fn() -> bool,
}

impl Budget<'_> {
    /// Pays for a node; false if there is nothing left.
    pub(super) fn pay(&mut self) -> bool {
        if self.nodes > 0 && self.nodes.is_multiple_of(256) && (self.stop)() {
            self.nodes = 0;
        }
        self.nodes = self.nodes.saturating_sub(1);
        self.nodes > 0
    }
}

/// Given a full assignment and a value that no plan with it goes below; returns the value that later ones must be better
/// than, or `None` to give up.
pub(super) type Leaf<'l> = dyn FnMut(&Choice, Value, &mut Budget<'_>) -> Option<Value> + 'l;

/// Branch and bound over the blocks of some wires, with what is decided so far.
pub(super) struct Assign<'s, 'a> {
    small: &'s Small<'a>,
    /// For each wire, numbered as in [`Small::wires`], what the ones after it come to at least.
    after: Vec<Value>,
    /// Value to be better than.
    limit: Value,
    choice: Choice,
    /// What may still be cut from each coil.
    rooms: Vec<i64>,
    /// Blocks taken from each coil.
    uses: Vec<usize>,
}

impl<'s, 'a> Assign<'s, 'a> {
    /// A search for values below `limit`.
    pub(super) fn new(small: &'s Small<'a>, after: Vec<Value>, limit: Value) -> Self {
        let rooms = small
            .coils
            .iter()
            .map(|coil| coil.available - coil.margin - if coil.mounted { 0 } else { small.trim });
        Self {
            small,
            after,
            limit,
            choice: vec![None; small.pieces.len()],
            rooms: rooms.collect(),
            uses: vec![0; small.coils.len()],
        }
    }

    /// Looks at the wires of the range; returns whether it came to an end.
    pub(super) fn run(mut self, wires: Range<usize>, budget: &mut Budget<'_>, leaf: &mut Leaf<'_>) -> bool {
        let Some(first) = self.small.wires.get(wires.start) else { return true };
        let start = first.start;
        self.descend(wires.start, wires.end, start, usize::MAX, Value::default(), budget, leaf)
    }

    /// Decides about block `at` of wire `wire`. `before` is the candidate that the block before took.
    #[allow(clippy::too_many_arguments, reason = "the state of a recursion")]
    fn descend(
        &mut self,
        wire: usize,
        end: usize,
        at: usize,
        before: usize,
        cost: Value,
        budget: &mut Budget<'_>,
        leaf: &mut Leaf<'_>,
    ) -> bool {
        if !budget.pay() {
            return false;
        }
        let blocks = self.small.wires[wire].clone();
        let with_tails = cost.plus(self.tails(blocks.clone(), at));
        if with_tails.plus(self.after[wire]) >= self.limit {
            return true;
        }
        if at == blocks.end {
            if wire + 1 < end {
                return self.descend(wire + 1, end, at, usize::MAX, with_tails, budget, leaf);
            }
            return match self.is_in_order_of_receipt() {
                false => true,
                true => match leaf(&self.choice, with_tails, budget) {
                    Some(limit) => {
                        self.limit = limit;
                        true
                    }
                    None => false,
                },
            };
        }
        let from = if self.small.blocks[at].as_before && at > blocks.start { before } else { 0 };
        let uncut = self.small.coils.len();
        for coil in from.min(uncut)..uncut {
            if self.may_give(coil, at) {
                let more = self.take(coil, at);
                let done = self.descend(wire, end, at + 1, coil, cost.plus(more), budget, leaf);
                self.put_back(coil, at);
                if !done {
                    return false;
                }
            }
        }
        let block = &self.small.blocks[at];
        let more = self.small.uncut(block.serial, block.pieces.len());
        self.descend(wire, end, at + 1, uncut, cost.plus(more), budget, leaf)
    }

    /// Whether a coil has room for a block, and is not the double of an unused one that is looked at anyway.
    fn may_give(&self, coil: usize, at: usize) -> bool {
        let small = self.small;
        let block = &small.blocks[at];
        let own = &small.coils[coil];
        if own.wire != small.pieces[block.pieces[0]].wire || self.rooms[coil] < block.length {
            return false;
        }
        let is_double = |other: usize| {
            let twin = &small.coils[other];
            self.uses[other] == 0 && own.is_equal(twin) && own.lot == twin.lot
        };
        self.uses[coil] > 0 || !(0..coil).any(is_double)
    }

    /// Gives a block to a coil and tells what that adds.
    fn take(&mut self, coil: usize, at: usize) -> Value {
        let small = self.small;
        let own = &small.coils[coil];
        let block = &small.blocks[at];
        let mut more = Value::default();
        if self.uses[coil] == 0 && !own.mounted {
            more = more.plus(small.mounting(own, true));
        }
        self.uses[coil] += 1;
        self.rooms[coil] -= block.length;
        let piece = &small.pieces[block.pieces[0]];
        let earlier = small.pieces.iter().zip(&self.choice).filter_map(|(p, choice)| Some((p, (*choice)?)));
        let mut new_lot = true;
        let mut sources: Vec<usize> = Vec::new();
        for (other, from) in earlier {
            let together = other.serial == piece.serial && other.wire == piece.wire;
            new_lot &= !(together && small.coils[from].lot == own.lot);
            if other.group == piece.group && !sources.contains(&from) {
                sources.push(from);
            }
        }
        more = more.plus(small.at(Level::Lots, i64::from(new_lot)));
        if small.problem.policy.unison != Unison::Off && sources.len() == 1 && sources[0] != coil {
            more = more.plus(Small::split(1));
        }
        for p in &block.pieces {
            self.choice[*p] = Some(coil);
        }
        more
    }

    fn put_back(&mut self, coil: usize, at: usize) {
        let block = &self.small.blocks[at];
        self.uses[coil] -= 1;
        self.rooms[coil] += block.length;
        for p in &block.pieces {
            self.choice[*p] = None;
        }
    }

    /// Scrap at tails that are too short for any block from `at` on.
    fn tails(&self, blocks: Range<usize>, at: usize) -> Value {
        let small = self.small;
        let wire = small.pieces[small.blocks[blocks.start].pieces[0]].wire;
        let shortest = (at..blocks.end).map(|b| small.blocks[b].length).min().unwrap_or(i64::MAX);
        let ends = small.coils.iter().zip(self.rooms.iter().zip(&self.uses));
        let scrap = ends
            .filter(|(coil, (room, uses))| coil.wire == wire && **uses > 0 && **room < shortest)
            .map(|(coil, (room, _))| coil.tail_scrap(room + coil.margin))
            .sum();
        small.at(Level::Scrap, scrap)
    }

    /// Whether no sealed coil is used while an equal one of earlier receipt is not.
    fn is_in_order_of_receipt(&self) -> bool {
        let small = self.small;
        let used = |c: usize| self.uses[c] > 0;
        let is_passed_over = |c: usize, older: usize| {
            let (own, other) = (&small.coils[c], &small.coils[older]);
            own.sealed && own.is_equal(other) && other.rank < own.rank && !used(older)
        };
        !small.problem.policy.fifo
            || !(0..small.coils.len())
                .any(|c| used(c) && (0..small.coils.len()).any(|older| is_passed_over(c, older)))
    }
}
