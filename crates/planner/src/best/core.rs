//! The heart of the problem: blocks of one wire, coils of one wire, no order in time.

use crate::model::{CoilIndex, PieceIndex, SerialIndex};
use crate::objective::{Level, LevelOrder};

/// One coil that can give something.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stock {
    pub(super) coil: CoilIndex,
    /// What may be cut from it, in µm: what is on it, less margin and the end trim if it must be mounted.
    pub(super) room: i64,
    /// What stays on it besides, in µm, if it is cut.
    pub(super) margin: i64,
    /// Must be mounted, and pays the end trim.
    pub(super) mounts: bool,
    /// Becomes opened by this.
    pub(super) sealed: bool,
    /// Order of receipt.
    pub(super) rank: u32,
}

/// Pieces that are cut from one coil together.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) length: i64,
    pub(super) serial: SerialIndex,
    pub(super) pieces: Vec<PieceIndex>,
}

/// What decides the cost of a cut coil.
#[derive(Debug, Clone)]
pub(super) struct Rules {
    /// Shortest tail that is not scrap, in µm.
    pub(super) keep_from: i64,
    pub(super) trim: i64,
    pub(super) order: LevelOrder,
}

/// Cost on the levels that depend on coils alone, in the order of the shop. Costs of coils add up.
pub(super) type Cost = [i64; 3];

impl Rules {
    /// Scrap at the tail if `waste` µm of the room stay unused and the margin besides.
    pub(super) fn tail_scrap(&self, margin: i64, waste: i64) -> i64 {
        let tail = waste + margin;
        if tail < self.keep_from { tail } else { 0 }
    }

    /// The most that may be cut of `room` such that the tail is worth keeping; negative if none is.
    pub(super) fn keeping(&self, margin: i64, room: i64) -> i64 {
        room + margin - self.keep_from
    }

    /// Which entry of a cost a level is, if it is one.
    pub(super) fn slot_of(&self, level: Level) -> Option<usize> {
        self.order.levels().into_iter().filter(|of_cost| *of_cost != Level::Lots).position(|l| l == level)
    }

    /// Which entry of a cost is the scrap.
    pub(super) fn scrap_slot(&self) -> usize {
        self.slot_of(Level::Scrap).unwrap_or(0)
    }

    /// Cost of cutting from a coil such that `waste` µm of its room stay unused.
    pub(super) fn cost(&self, stock: &Stock, waste: i64) -> Cost {
        let trim = if stock.mounts { self.trim } else { 0 };
        let mut cost = [0; 3];
        let levels = self.order.levels().into_iter().filter(|level| *level != Level::Lots);
        for (slot, level) in cost.iter_mut().zip(levels) {
            *slot = match level {
                Level::Scrap => trim + self.tail_scrap(stock.margin, waste),
                Level::CoilsOpened => i64::from(stock.sealed),
                _ => i64::from(stock.mounts),
            };
        }
        cost
    }
}

/// Sum of two costs.
pub(super) fn add(a: Cost, b: Cost) -> Cost {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// Blocks of one length, as numbers: the packer does not care which is which.
#[derive(Debug, Clone)]
pub(super) struct Demand {
    /// Different lengths, longest first.
    pub(super) lengths: Vec<i64>,
    /// How many of each.
    pub(super) counts: Vec<u32>,
    /// What a block that stays uncut counts: its length, unless something else matters more.
    pub(super) worths: Vec<i64>,
}

impl Demand {
    /// Counts lengths.
    pub(super) fn new(lengths: impl IntoIterator<Item = i64>) -> Self {
        let mut sorted: Vec<i64> = lengths.into_iter().collect();
        sorted.sort_unstable_by(|a, b| b.cmp(a));
        let mut demand = Self { lengths: Vec::new(), counts: Vec::new(), worths: Vec::new() };
        for length in sorted {
            match (demand.lengths.last(), demand.counts.last_mut()) {
                (Some(last), Some(count)) if *last == length => *count += 1,
                _ => {
                    demand.lengths.push(length);
                    demand.counts.push(1);
                    demand.worths.push(length);
                }
            }
        }
        demand
    }

    /// Length of everything.
    pub(super) fn total(&self) -> i64 {
        total(&self.lengths, &self.counts)
    }

    /// What so many blocks of each kind count if they stay uncut.
    pub(super) fn lack(&self, left: &[u32]) -> i64 {
        total(&self.worths, left)
    }
}

/// Length of so many blocks of these lengths.
pub(super) fn total(lengths: &[i64], counts: &[u32]) -> i64 {
    lengths.iter().zip(counts).map(|(length, count)| length * i64::from(*count)).sum()
}

/// What one coil gives: how many blocks of which length (by position in [`Demand::lengths`]).
pub(super) type Load = Vec<(usize, u32)>;

/// Length of a load.
pub(super) fn load_length(lengths: &[i64], load: &Load) -> i64 {
    load.iter().map(|(kind, count)| lengths[*kind] * i64::from(*count)).sum()
}
