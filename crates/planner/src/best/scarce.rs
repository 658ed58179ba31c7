//! Too little wire: as much as can be cut of the first serial that cannot be whole.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::columns::{Dive, MOST_KINDS, Root, Way};
use super::core::{Block, Demand, Rules, Stock};
use super::dual::uncut_bound;
use super::pack::Packing;

/// Price of a block that must be cut, where nothing else costs anything and in mm of scrap.
const MUST: f64 = 1e4;
const MUST_MM: f64 = 1e7;
/// Price of a piece more that is cut, in mm of scrap.
const PIECE_MM: f64 = 1e4;
/// Dives, and what the first of them fixes at a time.
const DIVES: usize = 4;
const HASTE: usize = 10;

/// How much of the next serial can be cut.
pub(super) struct MostOfNext {
    /// The blocks of the best packing found, each with the place of its coil in the list of stocks, those of earlier serials
    /// among them; `None` if none was found.
    pub(super) placed: Option<Vec<(usize, Block)>>,
    /// Least number of its pieces that stay uncut in any packing that has all blocks of the serials before.
    pub(super) least_uncut: u32,
}

/// One kind of block: longest first, those that must be cut before the others, then by number of pieces.
type Kind = (Reverse<i64>, bool, usize);

/// Finds by column generation how many pieces of `next` can be cut besides all of `taken`; `None` if there are too many
/// different lengths.
pub(super) fn most_of_next(
    stocks: &[Stock],
    rules: &Rules,
    taken: &[Block],
    next: &[Block],
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<MostOfNext> {
    let mut kinds: BTreeMap<Kind, Vec<&Block>> = BTreeMap::new();
    for block in taken {
        kinds.entry((Reverse(block.length), false, 0)).or_default().push(block);
    }
    for block in next {
        kinds.entry((Reverse(block.length), true, block.pieces.len())).or_default().push(block);
    }
    if kinds.len() > MOST_KINDS {
        return None;
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let demand = Demand {
        lengths: kinds.keys().map(|(Reverse(length), _, _)| *length).collect(),
        counts: kinds.values().map(|blocks| count(blocks.len())).collect(),
    };
    let pieces: Vec<Option<u32>> =
        kinds.keys().map(|(_, is_next, pieces)| is_next.then(|| count(*pieces))).collect();
    let priced = |must: f64, piece: f64| -> Vec<f64> {
        pieces.iter().map(|pieces| pieces.map_or(must, |pieces| piece * f64::from(pieces))).collect()
    };
    let stop = || stop();
    let bare = Dive::new(stocks, &demand, rules, &[]).leaving(priced(MUST, 1.0), true).root(&stop);
    let least_uncut = uncut_bound(stocks, &demand, &bare.prices, &pieces);
    let mut dive = Dive::new(stocks, &demand, rules, &[]).leaving(priced(MUST_MM, PIECE_MM), false);
    let root = dive.root(&stop);
    let best = best_dive(&mut dive, &root, &pieces, least_uncut, &stop);
    let placed = best.map(|packing| {
        let mut queues: Vec<Vec<&Block>> = kinds.into_values().collect();
        let mut placed = Vec::new();
        for (stock, load) in packing.loads.iter().enumerate() {
            for (kind, count) in load {
                let from = queues[*kind].len().saturating_sub(*count as usize);
                placed.extend(queues[*kind].drain(from..).map(|block| (stock, block.clone())));
            }
        }
        placed
    });
    Some(MostOfNext { placed, least_uncut })
}

/// Whether it is proven that not all blocks can be cut.
pub(super) fn is_ruled_out(
    stocks: &[Stock],
    rules: &Rules,
    demand: &Demand,
    stop: &(dyn Fn() -> bool + Sync),
) -> bool {
    if demand.lengths.len() > MOST_KINDS {
        return false;
    }
    let ones = vec![1.0; demand.lengths.len()];
    let root = Dive::new(stocks, demand, rules, &[]).leaving(ones, true).root(&|| stop());
    uncut_bound(stocks, demand, &root.prices, &vec![Some(1); demand.lengths.len()]) > 0
}

/// The dive that leaves least; `None` if all leave blocks that must be cut.
fn best_dive(
    dive: &mut Dive<'_>,
    root: &Root,
    pieces: &[Option<u32>],
    least: u32,
    stop: &dyn Fn() -> bool,
) -> Option<Packing> {
    let mut best: Option<(u32, Packing)> = None;
    for n in 0..DIVES {
        let way = Way { haste: HASTE, skip: n.checked_sub(1) };
        if stop() || best.as_ref().is_some_and(|(left, _)| *left <= least) {
            break;
        }
        let Some(packing) = dive.descend(root, way, f64::MAX, stop) else { continue };
        let lacks = packing.left.iter().zip(pieces).any(|(left, pieces)| *left > 0 && pieces.is_none());
        let left: u32 =
            packing.left.iter().zip(pieces).map(|(left, pieces)| left * pieces.unwrap_or(0)).sum();
        if !lacks && best.as_ref().is_none_or(|(fewest, other)| (left, packing.cost) < (*fewest, other.cost))
        {
            best = Some((left, packing));
        }
    }
    best.map(|(_, packing)| packing)
}
