//! Few lots per serial: blocks are moved and exchanged between coils as long as nothing before the lots becomes worse.

use std::collections::BTreeMap;

use crate::best::core::{Rules, Stock, add};
use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem, SerialIndex, Unison, WireIndex};

/// Blocks that are looked at, at most.
const MOST_BLOCKS: usize = 120;
/// Times that all pairs are looked at, at most.
const MOST_ROUNDS: usize = 12;

/// Pieces that stay together.
#[derive(Debug)]
struct Part {
    length: i64,
    serial: SerialIndex,
    /// Position among the coils in use; pieces of a group that is split stay where they are.
    on: usize,
    is_fixed: bool,
    pieces: Vec<PieceIndex>,
}

/// A coil in use.
#[derive(Debug)]
struct Used<'s> {
    stock: &'s Stock,
    lot: u32,
    waste: i64,
}

/// Moves blocks of one wire so that the serials get their wire from fewer lots. The pieces of each coil may change, the coils in
/// use only become fewer, and what these cost does not become worse.
pub(in crate::best) fn gather_lots(
    problem: &Problem,
    rules: &Rules,
    stocks: &[Stock],
    placed: Vec<(CoilIndex, PieceIndex)>,
) -> Vec<(CoilIndex, PieceIndex)> {
    let Some((mut used, mut parts)) = parts(problem, stocks, &placed) else { return placed };
    let is_one_lot = used.iter().all(|coil| coil.lot == used[0].lot);
    if is_one_lot || parts.len() > MOST_BLOCKS {
        return placed;
    }
    let mut counts: BTreeMap<(SerialIndex, u32), i64> = BTreeMap::new();
    for part in &parts {
        *counts.entry((part.serial, used[part.on].lot)).or_default() += 1;
    }
    for _ in 0..MOST_ROUNDS {
        let mut is_better = false;
        for a in 0..parts.len() {
            for to in 0..used.len() {
                is_better |= try_change(rules, &mut used, &mut parts, &mut counts, a, to, None);
            }
            for b in 0..a {
                let to = parts[b].on;
                is_better |= try_change(rules, &mut used, &mut parts, &mut counts, a, to, Some(b));
            }
        }
        if !is_better {
            break;
        }
    }
    let coil = |part: &Part| used[part.on].stock.coil;
    parts.iter().flat_map(|part| part.pieces.iter().map(move |piece| (coil(part), *piece))).collect()
}

/// The coils in use, and what is cut from them; `None` if nothing is, or from a coil that is not known.
fn parts<'s>(
    problem: &Problem,
    stocks: &'s [Stock],
    placed: &[(CoilIndex, PieceIndex)],
) -> Option<(Vec<Used<'s>>, Vec<Part>)> {
    let mut of_coil: BTreeMap<CoilIndex, usize> = BTreeMap::new();
    let mut used: Vec<Used<'s>> = Vec::new();
    let mut parts: BTreeMap<(usize, GroupIndex, PieceIndex), Part> = BTreeMap::new();
    let mut sources: BTreeMap<GroupIndex, (usize, bool)> = BTreeMap::new();
    for (coil, index) in placed {
        let piece = &problem.pieces[index.index()];
        let on = match of_coil.get(coil) {
            Some(on) => *on,
            None => {
                let stock = stocks.iter().find(|stock| stock.coil == *coil)?;
                used.push(Used { stock, lot: problem.coils[coil.index()].lot, waste: stock.room });
                of_coil.insert(*coil, used.len() - 1);
                used.len() - 1
            }
        };
        used[on].waste -= piece.length.get();
        let alone = problem.policy.unison == Unison::Off;
        if !alone {
            let source = sources.entry(piece.group).or_insert((on, false));
            source.1 |= source.0 != on;
        }
        let key = (on, piece.group, if alone { *index } else { PieceIndex(0) });
        let part = parts.entry(key).or_insert(Part {
            length: 0,
            serial: piece.serial,
            on,
            is_fixed: false,
            pieces: Vec::new(),
        });
        part.length += piece.length.get();
        part.pieces.push(*index);
    }
    let is_split = |group: &GroupIndex| sources.get(group).is_some_and(|(_, split)| *split);
    let parts = parts.into_iter().map(|((_, group, _), part)| Part { is_fixed: is_split(&group), ..part });
    (!used.is_empty()).then(|| (used, parts.collect()))
}

/// Moves part `a` to coil `to`, and part `b` of that coil back, if that is for the better.
fn try_change(
    rules: &Rules,
    used: &mut [Used<'_>],
    parts: &mut [Part],
    counts: &mut BTreeMap<(SerialIndex, u32), i64>,
    a: usize,
    to: usize,
    b: Option<usize>,
) -> bool {
    let from = parts[a].on;
    let (here, there) = (used[from].lot, used[to].lot);
    let is_vain = |b: usize| parts[b].is_fixed || parts[b].serial == parts[a].serial;
    if here == there || parts[a].is_fixed || b.is_some_and(is_vain) {
        return false;
    }
    let more = parts[a].length - b.map_or(0, |b| parts[b].length);
    let (waste_from, waste_to) = (used[from].waste + more, used[to].waste - more);
    if waste_from < 0 || waste_to < 0 {
        return false;
    }
    let mut shifts = vec![(parts[a].serial, here, -1), (parts[a].serial, there, 1)];
    if let Some(b) = b {
        shifts.extend([(parts[b].serial, there, -1), (parts[b].serial, here, 1)]);
    }
    let (mut lots, mut gathered) = (0, 0);
    for (serial, lot, by) in &shifts {
        let count = counts.entry((*serial, *lot)).or_default();
        let before = *count;
        *count += by;
        lots += i64::from(*count > 0) - i64::from(before > 0);
        gathered += *count * *count - before * before;
    }
    let cost = |i: usize, waste: i64| {
        if waste == used[i].stock.room { [0; 3] } else { rules.cost(used[i].stock, waste) }
    };
    let is_better = (lots, -gathered) < (0, 0)
        && add(cost(from, waste_from), cost(to, waste_to))
            <= add(cost(from, used[from].waste), cost(to, used[to].waste));
    if !is_better {
        for (serial, lot, by) in shifts {
            *counts.entry((serial, lot)).or_default() -= by;
        }
        return false;
    }
    (used[from].waste, used[to].waste) = (waste_from, waste_to);
    parts[a].on = to;
    if let Some(b) = b {
        parts[b].on = from;
    }
    true
}

/// Least number of lots of a wire that some serials need together: for each as many of the lots with the most wire as hold what
/// it needs. `pieces` are serials and lengths in µm.
pub(in crate::best) fn least_lots(
    problem: &Problem,
    wire: WireIndex,
    pieces: impl Iterator<Item = (SerialIndex, i64)>,
) -> i64 {
    let mut of_lot: BTreeMap<u32, i64> = BTreeMap::new();
    for (c, coil) in problem.indexed_coils().filter(|(_, coil)| coil.wire == wire) {
        *of_lot.entry(coil.lot).or_default() += (coil.available.get() - problem.margin_of(c)).max(0);
    }
    let mut lots: Vec<i64> = of_lot.into_values().collect();
    lots.sort_unstable_by(|a, b| b.cmp(a));
    let mut needs: BTreeMap<SerialIndex, i64> = BTreeMap::new();
    for (serial, length) in pieces {
        *needs.entry(serial).or_default() += length;
    }
    let least = |need: &i64| {
        let mut sum = 0;
        let enough = lots.iter().position(|room| {
            sum += room;
            sum >= *need
        });
        i64::try_from(enough.map_or(lots.len(), |last| last + 1)).unwrap_or(i64::MAX)
    };
    needs.values().map(least).sum()
}
