//! A small problem in compact form, and what a plan of it is worth.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::model::{CoilIndex, PieceIndex, Problem, Unison, WireIndex};
use crate::objective::{Level, LevelOrder, Values};
use crate::plan::Plan;

/// Most pieces that are looked at.
const MOST_PIECES: usize = 16;
/// Most coils that matter.
const MOST_COILS: usize = 40;
/// Bits for the number of uncut pieces of a serial.
const BITS: usize = 5;

/// Value of a plan or a part of one; values add up, and the smaller is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Value {
    /// Uncut pieces of each serial, the first serial in the highest bits.
    uncut: u128,
    /// Groups split, the four levels in the shop's order, pieces out of order.
    rest: [i64; 6],
}

impl Value {
    pub(super) const WORST: Self = Self { uncut: u128::MAX, rest: [i64::MAX; 6] };

    pub(super) fn plus(mut self, other: Self) -> Self {
        self.uncut += other.uncut;
        for (a, b) in self.rest.iter_mut().zip(other.rest) {
            *a += b;
        }
        self
    }

    /// Pieces cut out of the wanted order.
    pub(super) fn out_of_order(self) -> i64 {
        self.rest[5]
    }

    /// The value without the wanted order of pieces.
    pub(super) fn without_order(mut self) -> Self {
        self.rest[5] = 0;
        self
    }
}

/// A coil.
#[derive(Debug, Clone, Copy)]
pub(super) struct SmallCoil {
    pub(super) index: CoilIndex,
    pub(super) wire: WireIndex,
    pub(super) available: i64,
    pub(super) margin: i64,
    pub(super) keep_from: i64,
    pub(super) mounted: bool,
    pub(super) sealed: bool,
    pub(super) lot: u32,
    pub(super) rank: u32,
}

impl SmallCoil {
    /// Equal but for lot and receipt.
    pub(super) fn is_equal(&self, other: &Self) -> bool {
        let of = |c: &Self| (c.wire, c.available, c.margin, c.mounted, c.sealed);
        !self.mounted && of(self) == of(other)
    }

    /// Scrap of so long a tail, in µm.
    pub(super) fn tail_scrap(&self, tail: i64) -> i64 {
        if tail < self.keep_from { tail } else { 0 }
    }
}

/// A piece.
#[derive(Debug, Clone, Copy)]
pub(super) struct SmallPiece {
    pub(super) index: PieceIndex,
    pub(super) wire: WireIndex,
    /// Place of its serial among those that have pieces.
    pub(super) serial: usize,
    pub(super) length: i64,
    /// Place in the wanted order.
    pub(super) key: u8,
    /// The first piece of its group.
    pub(super) group: usize,
}

/// Pieces that are cut from one coil, or not at all.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) pieces: Vec<usize>,
    pub(super) length: i64,
    pub(super) serial: usize,
    /// Whether it can be exchanged for the block before it.
    pub(super) as_before: bool,
}

/// The problem.
#[derive(Debug)]
pub(super) struct Small<'a> {
    pub(super) problem: &'a Problem,
    pub(super) coils: Vec<SmallCoil>,
    pub(super) pieces: Vec<SmallPiece>,
    /// Blocks, wire by wire and serial by serial.
    pub(super) blocks: Vec<Block>,
    /// Blocks of each wire that has any.
    pub(super) wires: Vec<Range<usize>>,
    pub(super) trim: i64,
    pub(super) serials: usize,
    /// Where in [`Value::rest`] a level stands.
    slots: BTreeMap<Level, usize>,
}

impl<'a> Small<'a> {
    /// Takes the problem if it is small enough.
    pub(super) fn new(problem: &'a Problem, order: &LevelOrder) -> Option<Self> {
        if problem.pieces.len() > MOST_PIECES || problem.pieces.is_empty() {
            return None;
        }
        let pieces = pieces(problem);
        let coils = coils(problem);
        if coils.len() > MOST_COILS {
            return None;
        }
        let blocks = blocks(problem, &pieces);
        let mut wires: Vec<Range<usize>> = Vec::new();
        for of_wire in blocks.chunk_by(|a, b| pieces[a.pieces[0]].wire == pieces[b.pieces[0]].wire) {
            let start = wires.last().map_or(0, |range| range.end);
            wires.push(start..start + of_wire.len());
        }
        let slots = order.levels().into_iter().zip(1..).collect();
        let serials = pieces.iter().map(|piece| piece.serial + 1).max().unwrap_or(0);
        let trim = problem.policy.end_trim.get();
        Some(Self { problem, coils, pieces, blocks, wires, trim, serials, slots })
    }

    /// Value of so many uncut pieces of a serial.
    pub(super) fn uncut(&self, serial: usize, pieces: usize) -> Value {
        let unit = 1u128 << (BITS * (MOST_PIECES - 1 - serial));
        Value { uncut: unit * pieces as u128, ..Value::default() }
    }

    /// Value of an amount on a level that can be ordered.
    pub(super) fn at(&self, level: Level, amount: i64) -> Value {
        let mut value = Value::default();
        if let Some(slot) = self.slots.get(&level) {
            value.rest[*slot] = amount;
        }
        value
    }

    pub(super) fn split(amount: i64) -> Value {
        Value { rest: [amount, 0, 0, 0, 0, 0], ..Value::default() }
    }

    pub(super) fn order(amount: i64) -> Value {
        Value { rest: [0, 0, 0, 0, 0, amount], ..Value::default() }
    }

    /// Value of putting a coil on.
    pub(super) fn mounting(&self, coil: &SmallCoil, first: bool) -> Value {
        self.at(Level::Scrap, self.trim)
            .plus(self.at(Level::ReelChanges, 1))
            .plus(self.at(Level::CoilsOpened, i64::from(first && coil.sealed)))
    }

    /// Value of a plan.
    pub(super) fn value(&self, plan: &Plan) -> Value {
        let values = Values::of(self.problem, plan);
        let mut value =
            Self::split(values.at(Level::GroupsSplit)).plus(Self::order(values.at(Level::OutOfOrder)));
        for level in self.slots.keys() {
            value = value.plus(self.at(*level, values.at(*level)));
        }
        for index in &plan.uncut {
            let piece = self.pieces.iter().find(|piece| piece.index == *index);
            value = value.plus(piece.map_or(Value::default(), |piece| self.uncut(piece.serial, 1)));
        }
        value
    }
}

fn pieces(problem: &Problem) -> Vec<SmallPiece> {
    let place_in = |sorted: &[i64], of: i64| sorted.partition_point(|other| *other < of);
    let distinct = |mut all: Vec<i64>| {
        all.sort_unstable();
        all.dedup();
        all
    };
    let key = |p: &crate::model::Piece| problem.policy.piece_order.key(p);
    let keys = {
        let mut keys: Vec<_> = problem.pieces.iter().map(key).collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    };
    let serials = distinct(problem.pieces.iter().map(|p| i64::from(p.serial.0)).collect());
    problem
        .indexed_pieces()
        .map(|(index, piece)| SmallPiece {
            index,
            wire: piece.wire,
            serial: place_in(&serials, i64::from(piece.serial.0)),
            length: piece.length.get(),
            key: u8::try_from(keys.partition_point(|other| *other < key(piece))).unwrap_or(u8::MAX),
            group: problem.pieces.iter().position(|p| p.group == piece.group).unwrap_or_default(),
        })
        .collect()
}

/// Coils that can give a piece, and those that are in the way; the ones that are tried first come first.
fn coils(problem: &Problem) -> Vec<SmallCoil> {
    let trim = problem.policy.end_trim.get();
    let mut coils: Vec<SmallCoil> = problem
        .indexed_coils()
        .map(|(index, coil)| SmallCoil {
            index,
            wire: coil.wire,
            available: coil.available.get(),
            margin: problem.margin_of(index),
            keep_from: problem.wires[coil.wire.index()].smallest_remnant.get(),
            mounted: coil.mounted_at.is_some(),
            sealed: !coil.opened && coil.mounted_at.is_none(),
            lot: coil.lot,
            rank: coil.received_rank,
        })
        .filter(|coil| {
            let room = coil.available - coil.margin - if coil.mounted { 0 } else { trim };
            coil.mounted || problem.pieces.iter().any(|p| p.wire == coil.wire && p.length.get() <= room)
        })
        .collect();
    coils.sort_by_key(|coil| (!coil.mounted, coil.sealed, coil.rank, coil.index));
    coils
}

fn blocks(problem: &Problem, pieces: &[SmallPiece]) -> Vec<Block> {
    let mut of_group: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (p, piece) in pieces.iter().enumerate() {
        let group = if problem.policy.unison == Unison::Hard { piece.group } else { p };
        of_group.entry(group).or_default().push(p);
    }
    let mut blocks: Vec<Block> = of_group
        .into_values()
        .map(|members| Block {
            length: members.iter().map(|p| pieces[*p].length).sum(),
            serial: pieces[members[0]].serial,
            pieces: members,
            as_before: false,
        })
        .collect();
    let first = |block: &Block| pieces[block.pieces[0]];
    blocks.sort_by_key(|block| {
        let piece = first(block);
        (piece.wire, piece.serial, -block.length, piece.key, piece.group, piece.index)
    });
    let alone = |p: &SmallPiece| {
        problem.policy.unison == Unison::Off || pieces.iter().filter(|o| o.group == p.group).count() == 1
    };
    let what = |p: SmallPiece| (p.wire, p.serial, p.length, p.key);
    for at in 1..blocks.len() {
        let (a, b) = (first(&blocks[at - 1]), first(&blocks[at]));
        let singles = blocks[at - 1].pieces.len() == 1 && blocks[at].pieces.len() == 1;
        let same_group = a.group == b.group || alone(&a) && alone(&b);
        blocks[at].as_before = singles && same_group && what(a) == what(b);
    }
    blocks
}
