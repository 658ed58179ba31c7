//! One wire of one batch: which piece comes from which coil.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem, SerialIndex, Unison};

use super::bound::Supply;
use super::core::{Block, Cost, Demand, Rules, Stock};
use super::dual::PriceBound;
use super::generate::{Generated, generate};
use super::improve::{Search, rounds_for};
use super::pack::{Packing, construct};
use super::regroup::Regroup;
use super::scarce::{Scarce, is_ruled_out};
use super::single::on_one_coil;

/// A piece and the coil that it is cut from.
pub(super) type Placed = (CoilIndex, PieceIndex);

/// Blocks of mean length that a coil of mean room holds, up to which column generation is tried.
const MOST_BLOCKS_A_COIL: i64 = 25;

/// Starts from which a search is made, at most.
const MOST_SEARCHES: usize = 3;

/// Rounds of a search from one start, of all packings of a problem together; and what each packing has at least.
const MOST_ROUNDS: u64 = 4_000_000;
const LEAST_ROUNDS: u64 = 1_500;

/// Steps of arithmetic that cutting coils anew may take for each round of effort.
const WORK: u64 = 10_000_000;

/// What a packing is wanted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Aim {
    /// To be cut.
    LeastCost,
    /// To know that there is one.
    AnyPacking,
}

/// What was placed, and what is known of it.
#[derive(Debug, Default)]
pub(super) struct Solved {
    pub(super) placed: Vec<Placed>,
    pub(super) known: Known,
}

/// What is known of every plan for these blocks and coils.
#[derive(Debug, Clone, Default)]
pub(super) struct Known {
    /// What cutting all blocks, whole, costs at least.
    pub(super) cost: PriceBound,
    /// A serial, and the least number of its pieces that stay uncut if all pieces of the serials before are cut.
    pub(super) uncut: Option<(SerialIndex, u32)>,
}

impl Solved {
    /// Whether all that was placed comes from one coil.
    pub(super) fn is_from_one_coil(&self) -> bool {
        self.placed.iter().all(|(coil, _)| Some(*coil) == self.placed.first().map(|(first, _)| *first))
    }
}

/// The packer of one wire.
pub(super) struct WireTask<'a> {
    pub(super) problem: &'a Problem,
    pub(super) rules: Rules,
    pub(super) stocks: Vec<Stock>,
    /// Length of the pieces of the wire that come later, in µm.
    pub(super) ahead: i64,
    pub(super) effort: u32,
    pub(super) seed: u64,
    pub(super) stop: &'a (dyn Fn() -> bool + Sync),
}

impl WireTask<'_> {
    /// Places the pieces as well as it can; those that are not in the answer are uncut.
    pub(super) fn solve(&self, pieces: &[PieceIndex]) -> Solved {
        let blocks = self.blocks(pieces);
        if let Some((packing, bound)) = self.pack(&blocks, self.effort, Aim::LeastCost) {
            let known = Known { cost: bound, uncut: None };
            return Solved { placed: self.hand_out(&blocks, &packing), known };
        }
        if self.problem.policy.unison == Unison::Preferred {
            if let Some(placed) = self.split_some(&blocks) {
                return Solved { placed, known: Known::default() };
            }
            return self.place_in_due_order(singles(self.problem, pieces));
        }
        self.place_in_due_order(blocks)
    }

    /// Pieces by group, or each alone if groups do not matter.
    fn blocks(&self, pieces: &[PieceIndex]) -> Vec<Block> {
        if self.problem.policy.unison == Unison::Off {
            return singles(self.problem, pieces);
        }
        let mut groups: BTreeMap<GroupIndex, Vec<PieceIndex>> = BTreeMap::new();
        for piece in pieces {
            groups.entry(self.problem.pieces[piece.index()].group).or_default().push(*piece);
        }
        groups.into_values().filter_map(|pieces| block(self.problem, pieces)).collect()
    }

    /// Everything, or nothing.
    fn place_all(&self, blocks: &[Block], effort: u32) -> Option<Vec<Placed>> {
        let (packing, _) = self.pack(blocks, effort, Aim::LeastCost)?;
        Some(self.hand_out(blocks, &packing))
    }

    /// A packing of all blocks, and what any such packing costs at least.
    fn pack(&self, blocks: &[Block], effort: u32, aim: Aim) -> Option<(Packing, PriceBound)> {
        let supply = Supply::new(&self.stocks);
        let demand = Demand::new(blocks.iter().map(|block| block.length));
        let longest = demand.lengths.first().copied().unwrap_or_default();
        if demand.total() > supply.all() || longest > supply.longest() {
            return None;
        }
        let mut bound = PriceBound::default();
        let mut target: Cost = supply.least_cost(&demand, &self.rules, &bound);
        if let Some(packing) = on_one_coil(&self.stocks, &demand, &self.rules, target, self.ahead) {
            return Some((packing, bound));
        }
        let mut starts = construct(&self.stocks, &demand, &self.rules, self.seed);
        let mut best = starts.first()?.clone();
        if best.lack == 0 && (best.cost <= target || aim == Aim::AnyPacking) {
            return Some((best, bound));
        }
        if effort > 0
            && self.is_worth_generating(&demand, &supply)
            && let Some(generated) =
                generate(&self.stocks, &demand, &self.rules, &starts, aim == Aim::AnyPacking, self.stop)
        {
            if generated.is_impossible {
                return None;
            }
            bound = generated.bound.clone();
            target = supply.least_cost(&demand, &self.rules, &bound);
            let packing = self.regrouped(generated, &demand, effort, target, aim);
            if packing.key() < best.key() {
                best = packing.clone();
            }
            if best.lack == 0 {
                return Some((best, bound));
            }
            starts.push(packing);
        }
        if aim == Aim::AnyPacking {
            if best.lack == 0 {
                return Some((best, bound));
            }
            target = [i64::MAX; 3];
        }
        starts.sort_by_cached_key(|start| (start.hope(&self.stocks, &self.rules), start.key()));
        for start in starts.into_iter().take(MOST_SEARCHES) {
            let (lacks, hope) = start.hope(&self.stocks, &self.rules);
            if (self.stop)() || best.lack == 0 && (lacks || best.cost <= hope) {
                break;
            }
            let used = start.loads.iter().filter(|load| !load.is_empty()).count();
            // Many small packings must not cost more than few large ones.
            let pieces = self.problem.pieces.len().max(1) as u64;
            let share = (MOST_ROUNDS * blocks.len() as u64 / pieces).max(LEAST_ROUNDS);
            let rounds = rounds_for(effort, used, blocks.len()).min(share);
            let search = Search::new(&self.stocks, &demand, &self.rules, start, self.seed);
            let packing = search.run(rounds, target, &|| (self.stop)());
            if packing.key() < best.key() {
                best = packing;
            }
        }
        (best.lack == 0).then_some((best, bound))
    }

    /// Cuts coils anew where that may still win something.
    fn regrouped(
        &self,
        generated: Generated,
        demand: &Demand,
        effort: u32,
        target: Cost,
        aim: Aim,
    ) -> Packing {
        let Generated { packing, prices, .. } = generated;
        if packing.lack == 0 && (aim == Aim::AnyPacking || packing.cost <= target) {
            return packing;
        }
        let enough = if aim == Aim::AnyPacking { [i64::MAX; 3] } else { target };
        let regroup = Regroup::new(&self.stocks, demand, &self.rules, &prices, packing, self.seed);
        regroup.run(WORK * u64::from(effort), (0, enough), &|| (self.stop)())
    }

    /// Whether column generation can win anything: not on a handful of coils, nor on coils that hold so many blocks that exact
    /// filling leaves nothing.
    fn is_worth_generating(&self, demand: &Demand, supply: &Supply) -> bool {
        let blocks: i64 = demand.counts.iter().map(|count| i64::from(*count)).sum();
        let mean_length = demand.total() / blocks.max(1);
        let coils = i64::try_from(self.stocks.len()).unwrap_or(i64::MAX);
        let mean_room = supply.all() / coils.max(1);
        demand.total() > 4 * supply.longest() && mean_room <= MOST_BLOCKS_A_COIL * mean_length
    }

    /// Splits the longest groups, as few as must be, until everything finds a place.
    fn split_some(&self, blocks: &[Block]) -> Option<Vec<Placed>> {
        let mut by_length: Vec<&Block> = blocks.iter().collect();
        by_length.sort_by_key(|block| (Reverse(block.length), block.pieces.first().copied()));
        let splittable = by_length.iter().filter(|block| block.pieces.len() > 1).count();
        let longest_room = Supply::new(&self.stocks).longest();
        let mut split = by_length.iter().filter(|block| block.length > longest_room).count().max(1);
        if splittable == 0 {
            return None;
        }
        split = split.min(splittable);
        let mut fails = split - 1;
        let mut best = loop {
            match self.place_all(&self.split_first(&by_length, split), self.effort / 4) {
                Some(placed) => break placed,
                None if split == splittable => return None,
                None => {
                    fails = split;
                    split = (2 * split).min(splittable);
                }
            }
        };
        while fails + 1 < split {
            let middle = fails.midpoint(split);
            match self.place_all(&self.split_first(&by_length, middle), self.effort / 4) {
                Some(placed) => {
                    best = placed;
                    split = middle;
                }
                None => fails = middle,
            }
        }
        Some(best)
    }

    /// The blocks with the first `split` of those that have several pieces cut up.
    fn split_first(&self, blocks: &[&Block], mut split: usize) -> Vec<Block> {
        let mut parts = Vec::new();
        for block in blocks {
            if block.pieces.len() > 1 && split > 0 {
                split -= 1;
                parts.extend(singles(self.problem, &block.pieces));
            } else {
                parts.push((*block).clone());
            }
        }
        parts
    }

    /// Too little wire: serials in due order, each whole if that goes, else as many of its pieces as go.
    fn place_in_due_order(&self, blocks: Vec<Block>) -> Solved {
        let mut by_serial: BTreeMap<SerialIndex, Vec<Block>> = BTreeMap::new();
        for block in blocks {
            by_serial.entry(block.serial).or_default().push(block);
        }
        for blocks in by_serial.values_mut() {
            // Many pieces of little length first.
            blocks.sort_by_key(|b| {
                let pieces = i64::try_from(b.pieces.len()).unwrap_or(i64::MAX);
                (b.length / pieces.max(1), b.length, b.pieces.first().copied())
            });
        }
        let serials: Vec<Vec<Block>> = by_serial.into_values().collect();
        let prefix = |n: usize| Demand::new(serials[..n].iter().flatten().map(|block| block.length));
        let supply = Supply::new(&self.stocks);
        let possible = largest(serials.len(), |n| {
            let demand = prefix(n);
            demand.total() <= supply.all()
                && !(self.effort > 0
                    && self.is_worth_generating(&demand, &supply)
                    && is_ruled_out(&self.stocks, &self.rules, &demand, self.stop))
        });
        let mut packed = None;
        let whole = largest(possible, |n| {
            let blocks: Vec<Block> = serials[..n].iter().flatten().cloned().collect();
            let found = self.pack(&blocks, self.effort / 8, Aim::AnyPacking);
            let fits = found.is_some();
            packed = found.map(|(packing, _)| packing).or(packed.take());
            fits
        });
        let mut taken: Vec<Block> = serials[..whole].iter().flatten().cloned().collect();
        let demand = prefix(serials.len().min(whole + 1));
        let scarce = Scarce {
            stocks: &self.stocks,
            rules: &self.rules,
            taken: &taken,
            packed: packed.as_ref(),
            later: &serials[whole..],
            effort: self.effort,
            seed: self.seed,
            stop: self.stop,
        };
        if let Some(next) = serials.get(whole)
            && self.effort > 0
            && self.is_worth_generating(&demand, &supply)
            && let Some(most) = scarce.most_of_next()
        {
            let serial = next.first().map(|block| block.serial);
            let known =
                Known { cost: PriceBound::default(), uncut: serial.map(|serial| (serial, most.least_uncut)) };
            if let Some((placed, cost)) = most.placed {
                let later: Vec<Block> = serials[whole..].iter().flatten().cloned().collect();
                return Solved { placed: self.fill_up(self.packed_again(placed, cost), later), known };
            }
        }
        for blocks in &serials[whole..] {
            self.take_greedily(&mut taken, blocks);
        }
        Solved { placed: self.place_all(&taken, self.effort).unwrap_or_default(), known: Known::default() }
    }

    /// Coils of the blocks of a packing that costs so much, after a look whether the same blocks can be had for less.
    fn packed_again(&self, packed: Vec<(usize, Block)>, cost: Cost) -> Vec<Placed> {
        let blocks: Vec<Block> = packed.iter().map(|(_, block)| block.clone()).collect();
        if let Some((packing, _)) = self.pack(&blocks, self.effort / 4, Aim::LeastCost)
            && packing.cost < cost
        {
            return self.hand_out(&blocks, &packing);
        }
        let pieces = packed.iter().flat_map(|(i, block)| block.pieces.iter().map(|piece| (*i, *piece)));
        pieces.map(|(i, piece)| (self.stocks[i].coil, piece)).collect()
    }

    /// Puts blocks that are not placed yet, in their order, each into what is left of the coil that it fits best.
    fn fill_up(&self, mut placed: Vec<Placed>, later: Vec<Block>) -> Vec<Placed> {
        let mut rooms: BTreeMap<CoilIndex, i64> =
            self.stocks.iter().map(|stock| (stock.coil, stock.room)).collect();
        let mut done = BTreeSet::new();
        for (coil, piece) in &placed {
            if let Some(room) = rooms.get_mut(coil) {
                *room -= self.problem.pieces[piece.index()].length.get();
            }
            done.insert(*piece);
        }
        let mut by_room: BTreeSet<(i64, CoilIndex)> =
            rooms.into_iter().map(|(coil, room)| (room, coil)).collect();
        for block in later {
            if block.pieces.first().is_some_and(|first| done.contains(first)) {
                continue;
            }
            if let Some((room, coil)) = by_room.range((block.length, CoilIndex(0))..).next().copied() {
                by_room.remove(&(room, coil));
                by_room.insert((room - block.length, coil));
                placed.extend(block.pieces.iter().map(|piece| (coil, *piece)));
            }
        }
        placed
    }

    /// As many blocks of the list as go, from its beginning.
    fn take_greedily(&self, taken: &mut Vec<Block>, blocks: &[Block]) {
        let some = largest(blocks.len(), |n| self.fits(taken.iter().chain(&blocks[..n])));
        taken.extend(blocks[..some].iter().cloned());
        // Groups do not follow one another by length: a later one may still fit.
        for block in blocks[some..].iter().take(8).filter(|_| self.problem.policy.unison == Unison::Hard) {
            if self.fits(taken.iter().chain([block])) {
                taken.push(block.clone());
            }
        }
    }

    fn fits<'b>(&self, blocks: impl Iterator<Item = &'b Block>) -> bool {
        let blocks: Vec<Block> = blocks.cloned().collect();
        self.pack(&blocks, self.effort / 8, Aim::AnyPacking).is_some()
    }

    /// Gives names to the numbers: coils in order of receipt, and to each the blocks of the earliest serials.
    fn hand_out(&self, blocks: &[Block], packing: &Packing) -> Vec<Placed> {
        let mut by_length: BTreeMap<Reverse<i64>, Vec<&Block>> = BTreeMap::new();
        for block in blocks {
            by_length.entry(Reverse(block.length)).or_default().push(block);
        }
        let mut queues: Vec<Vec<&Block>> = by_length.into_values().collect();
        for queue in &mut queues {
            queue.sort_by_key(|block| Reverse((block.serial, block.pieces.first().copied())));
        }
        let mut coils: Vec<usize> = (0..self.stocks.len()).collect();
        coils.sort_by_key(|i| {
            let s = &self.stocks[*i];
            (s.mounts, self.problem.coils[s.coil.index()].lot, s.rank, s.coil)
        });
        let mut placed = Vec::new();
        for i in coils {
            for (kind, count) in packing.loads.get(i).into_iter().flatten() {
                for _ in 0..*count {
                    let block = queues.get_mut(*kind).and_then(Vec::pop);
                    let pieces = block.into_iter().flat_map(|block| &block.pieces);
                    placed.extend(pieces.map(|piece| (self.stocks[i].coil, *piece)));
                }
            }
        }
        placed
    }
}

/// Largest n from 0 to `most` for which `holds` holds, if it holds up to there; 0 always holds.
fn largest(most: usize, mut holds: impl FnMut(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = low + (high - low).div_ceil(2);
        if holds(middle) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    low
}

fn singles(problem: &Problem, pieces: &[PieceIndex]) -> Vec<Block> {
    pieces.iter().filter_map(|piece| block(problem, vec![*piece])).collect()
}

fn block(problem: &Problem, pieces: Vec<PieceIndex>) -> Option<Block> {
    let serial = problem.pieces[pieces.first()?.index()].serial;
    let length = pieces.iter().map(|piece| problem.pieces[piece.index()].length.get()).sum();
    Some(Block { length, serial, pieces })
}
