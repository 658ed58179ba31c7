//! How good a plan is known to be, level by level.

use std::collections::BTreeMap;

use crate::model::{PieceIndex, Problem, SerialIndex, WireIndex};
use crate::objective::{Level, LevelOrder, LevelReport, Quality, Values};
use crate::plan::Plan;

use super::bound::{Limits, Supply, least_bins};
use super::core::{Demand, Rules, Stock};
use super::dual::PriceBound;
use super::sequence::{ChangeBound, least_lots};
use super::wire::Known;

/// What the bounds need to know of one wire.
struct Wire {
    supply: Supply,
    /// Length of the pieces that every plan which is as good on the first levels cuts.
    total: i64,
    /// Bound on the number of coils that these are cut from.
    bins: usize,
    /// Lots from which the serials among these need it, summed over the serials.
    lots: i64,
    /// What is known from prices.
    known: PriceBound,
    /// A serial and the least number of its pieces that stay uncut on this wire if the serials before are whole on it.
    uncut: Option<(SerialIndex, u32)>,
    rules: Rules,
    pieces: Vec<PieceIndex>,
}

/// Stocks of each wire as they are at the start.
pub(super) fn stocks_at_start(problem: &Problem) -> Vec<Vec<Stock>> {
    let mut stocks = vec![Vec::new(); problem.wires.len()];
    for (c, coil) in problem.indexed_coils() {
        let mounts = coil.mounted_at.is_none();
        let trim = if mounts { problem.policy.end_trim.get() } else { 0 };
        let margin = problem.margin_of(c);
        let room = coil.available.get() - trim - margin;
        if room > 0 {
            let sealed = !coil.opened && mounts;
            let rank = coil.received_rank;
            stocks[coil.wire.index()].push(Stock { coil: c, room, margin, mounts, sealed, rank });
        }
    }
    stocks
}

/// Reports every level of a plan. `known` says for each wire what its coils cost at least if everything is cut and no group is
/// split; it may be empty.
pub(super) fn assess(
    problem: &Problem,
    plan: &Plan,
    order: &LevelOrder,
    known: &[Known],
    stopped: bool,
) -> Quality {
    let values = Values::of(problem, plan);
    let mut wires = wires(problem, order);
    for (wire, known) in wires.iter_mut().zip(known) {
        wire.uncut = known.uncut;
    }
    let least = least_uncut(problem, &wires);
    // A plan that is no worse serial by serial cuts the same pieces whole, or at least the same first serials.
    let proven = least == values.uncut_of_serial;
    let mut may_lack = false;
    let whole: Vec<bool> = values
        .uncut_of_serial
        .iter()
        .map(|uncut| {
            may_lack |= *uncut > 0 && !proven;
            *uncut == 0 && !may_lack
        })
        .collect();
    let unsplit = values.at(Level::GroupsSplit) == 0;
    for (w, wire) in wires.iter_mut().enumerate() {
        let bound = known.get(w).map(|known| known.cost.clone()).filter(|_| unsplit).unwrap_or_default();
        wire.set_certain(problem, &whole, bound);
        let scrap = wire.known.at(wire.rules.scrap_slot(), &Limits::NONE.most);
        wire.bins = wire.bins.max(wire.supply.bins_for_scrap(scrap, wire.total, &wire.rules));
    }
    let mut limits = vec![Limits::NONE; wires.len()];
    let changes = ChangeBound::new(problem, &whole);
    let mut levels = Vec::new();
    for level in order.all() {
        let value = values.at(level);
        let bounds: Vec<i64> =
            wires.iter().zip(&limits).map(|(wire, limits)| wire_bound(wire, level, limits)).collect();
        let sum: i64 = bounds.iter().sum();
        let mountings = || -> Vec<i64> {
            let each = wires.iter().zip(&limits);
            each.map(|(wire, limits)| wire_bound(wire, Level::ReelChanges, limits)).collect()
        };
        let (lower_bound, proven) = match level {
            Level::SerialsNotWhole => {
                let bound = least_not_whole(problem, &wires);
                (bound, bound == value)
            }
            Level::PiecesUncut => (least_total(&least, &values.uncut_of_serial), proven),
            Level::Scrap => {
                // Every mounting costs a trim.
                let trims = changes.least(&mountings()).saturating_mul(problem.policy.end_trim.get());
                let bound = sum.max(trims);
                (bound, bound == value)
            }
            Level::ReelChanges => {
                let bound = changes.least(&bounds);
                (bound, bound == value)
            }
            _ => (sum, sum == value),
        };
        levels.push(LevelReport { level, value, lower_bound, proven });
        // What one wire may come to if the others do their best, without the whole being worse.
        for ((limits, bound), wire) in limits.iter_mut().zip(&bounds).zip(&wires) {
            limits.tighten(level, value - (sum - bound), &wire.rules);
        }
    }
    Quality { levels, stopped }
}

/// Reports every level of a plan of which nothing is known besides the problem.
pub(crate) fn assess_alone(problem: &Problem, plan: &Plan, order: &LevelOrder, stopped: bool) -> Quality {
    assess(problem, plan, order, &[], stopped)
}

impl Wire {
    /// Notes which serials are cut whole by every plan that is as good on the first levels.
    fn set_certain(&mut self, problem: &Problem, whole: &[bool], known: PriceBound) {
        let pieces = self.pieces.iter().map(|p| &problem.pieces[p.index()]);
        let certain: Vec<_> = pieces.filter(|piece| whole[piece.serial.index()]).collect();
        self.known = if certain.len() == self.pieces.len() { known } else { PriceBound::default() };
        if let Some(piece) = certain.first() {
            let lengths = certain.iter().map(|piece| (piece.serial, piece.length.get()));
            self.lots = least_lots(problem, piece.wire, lengths);
        }
        let demand = Demand::new(certain.iter().map(|piece| piece.length.get()));
        self.total = demand.total();
        self.bins = least_bins(&demand, self.supply.longest());
    }
}

fn wires(problem: &Problem, order: &LevelOrder) -> Vec<Wire> {
    let mut pieces = vec![Vec::new(); problem.wires.len()];
    for (p, piece) in problem.indexed_pieces() {
        pieces[piece.wire.index()].push(p);
    }
    let stocks = stocks_at_start(problem);
    let wire = |(w, (pieces, stocks)): (u32, (_, Vec<Stock>))| Wire {
        supply: Supply::new(&stocks),
        total: 0,
        bins: 0,
        lots: 0,
        known: PriceBound::default(),
        uncut: None,
        rules: rules(problem, WireIndex(w), order),
        pieces,
    };
    (0u32..).zip(pieces.into_iter().zip(stocks)).map(wire).collect()
}

fn wire_bound(wire: &Wire, level: Level, limits: &Limits) -> i64 {
    let signed = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    let known = wire.rules.slot_of(level).map_or(0, |slot| wire.known.at(slot, &limits.most));
    let by_size = match level {
        Level::Scrap => wire.supply.scrap(wire.total, wire.bins, &wire.rules, limits),
        Level::CoilsOpened => signed(wire.supply.sealed(wire.total, wire.bins, limits)),
        Level::ReelChanges => signed(wire.supply.mounts(wire.total, wire.bins, limits)),
        Level::Lots => wire.lots,
        Level::SerialsNotWhole | Level::PiecesUncut | Level::GroupsSplit | Level::OutOfOrder => 0,
    };
    by_size.max(known)
}

pub(super) fn rules(problem: &Problem, wire: WireIndex, order: &LevelOrder) -> Rules {
    Rules {
        keep_from: problem.wires[wire.index()].smallest_remnant.get(),
        trim: problem.policy.end_trim.get(),
        order: *order,
    }
}

/// For each wire by itself: how many serials at its start can be whole by length and by number of coils.
fn whole_prefix(problem: &Problem, wire: &Wire) -> usize {
    let mut serials: Vec<Vec<i64>> = vec![Vec::new(); problem.serials as usize];
    for p in &wire.pieces {
        let piece = &problem.pieces[p.index()];
        serials[piece.serial.index()].push(piece.length.get());
    }
    let possible = |n: usize| {
        let demand = Demand::new(serials[..n].iter().flatten().copied());
        let longest = demand.lengths.first().copied().unwrap_or(0);
        demand.total() <= wire.supply.all()
            && longest <= wire.supply.longest()
            && least_bins(&demand, wire.supply.longest()) <= wire.supply.coils()
    };
    let (mut low, mut high) = (0, serials.len());
    while low < high {
        let middle = low + (high - low).div_ceil(2);
        if possible(middle) { low = middle } else { high = middle - 1 }
    }
    match wire.uncut {
        Some((serial, least)) if least > 0 => low.min(serial.index()),
        _ => low,
    }
}

fn least_not_whole(problem: &Problem, wires: &[Wire]) -> i64 {
    let whole =
        wires.iter().map(|wire| whole_prefix(problem, wire)).min().unwrap_or(problem.serials as usize);
    i64::try_from(problem.serials as usize - whole).unwrap_or(i64::MAX)
}

/// Least number of uncut pieces of each serial, given that the serials before are cut as well as by this bound.
///
/// On each wire, what the serials before must have used at least is known: a whole serial its length, one cut in part its
/// shortest pieces. Of the next serial no more pieces can be cut than the shortest that fit into the rest.
fn least_uncut(problem: &Problem, wires: &[Wire]) -> Vec<u32> {
    let mut least = vec![0u32; problem.serials as usize];
    for wire in wires {
        let mut room = wire.supply.all();
        let mut pieces: Vec<(SerialIndex, i64)> = wire
            .pieces
            .iter()
            .map(|p| (problem.pieces[p.index()].serial, problem.pieces[p.index()].length.get()))
            .collect();
        pieces.sort_unstable();
        let mut closed = None;
        let mut of_wire: BTreeMap<SerialIndex, u32> = BTreeMap::new();
        for (serial, length) in pieces {
            if closed == Some(serial) || length > room || length > wire.supply.longest() {
                closed = Some(serial);
                *of_wire.entry(serial).or_default() += 1;
            } else {
                room -= length;
            }
        }
        if let Some((serial, known)) = wire.uncut
            && of_wire.range(..serial).next().is_none()
        {
            let least = of_wire.entry(serial).or_default();
            *least = (*least).max(known);
        }
        for (serial, count) in of_wire {
            least[serial.index()] += count;
        }
    }
    least
}

/// Least number of uncut pieces among plans that are no worse serial by serial.
fn least_total(least: &[u32], actual: &[u32]) -> i64 {
    let mut sum = 0;
    for (least, actual) in least.iter().zip(actual) {
        sum += i64::from(*least.min(actual));
        if least != actual {
            break;
        }
    }
    sum
}
