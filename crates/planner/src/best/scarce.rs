//! Too little wire: as much as can be cut of the first serial that cannot be whole, then of those after it.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::columns::{Dive, MOST_KINDS, Root, Way};
use super::core::{Block, Cost, Demand, Load, Rules, Stock, load_length};
use super::dual::uncut_bound;
use super::improve::Search;
use super::pack::Packing;
use super::regroup::Regroup;

/// Price of a block that must be cut, where nothing else costs anything and in mm of scrap.
const MUST: f64 = 1e4;
const MUST_MM: f64 = 1e7;
/// Price of a piece more that is cut, in mm of scrap, of the first serial that lacks one and of each after it.
const PIECE_MM: [f64; 3] = [1e4, 1e3, 5e2];
/// Dives, and what the first of them fixes at a time.
const DIVES: usize = 4;
const HASTE: usize = 10;
/// Searches by exact fills, at most, and the coils in use in all of them together.
const MOST_SEARCHES: usize = 8;
const COILS_OF_ALL_SEARCHES: usize = 240;
/// Rounds of a search for more pieces, for each round of a search for less scrap.
const ROUNDS_FOR_PIECES: u64 = 8;
/// Steps of arithmetic that cutting coils anew may take for each round of effort and each block that may stay uncut or whose
/// coil may be left with scrap, and blocks that count at most.
const WORK_A_BLOCK: u64 = 40_000;
const MOST_BLOCKS: u64 = 250;

/// How much of the next serial can be cut.
pub(super) struct MostOfNext {
    /// The blocks of the best packing found, each with the place of its coil in the list of stocks, those of earlier serials
    /// among them, and the cost of it; `None` if none was found.
    pub(super) placed: Option<(Vec<(usize, Block)>, Cost)>,
    /// Least number of its pieces that stay uncut in any packing that has all blocks of the serials before.
    pub(super) least_uncut: u32,
}

/// What is packed: serials that must be whole, then those that lack something.
pub(super) struct Scarce<'a> {
    pub(super) stocks: &'a [Stock],
    pub(super) rules: &'a Rules,
    /// Blocks that must be cut.
    pub(super) taken: &'a [Block],
    /// A packing of just these, by their lengths, if there are any.
    pub(super) packed: Option<&'a Packing>,
    /// Blocks of the serials after these, serial by serial in due order.
    pub(super) later: &'a [Vec<Block>],
    pub(super) effort: u32,
    pub(super) seed: u64,
    pub(super) stop: &'a (dyn Fn() -> bool + Sync),
}

/// One kind of block: longest first, those of earlier serials before others, then by number of pieces. Tier 0 must be cut.
type Kind = (Reverse<i64>, usize, usize);

/// Blocks by kind, with what they count.
struct Kinds<'b> {
    blocks: BTreeMap<Kind, Vec<&'b Block>>,
    demand: Demand,
}

impl Scarce<'_> {
    /// Finds how many pieces of the first serial that lacks some can be cut besides all that must be, and a packing that has as
    /// many as can be of it and then of those after it; `None` if there are too many different lengths.
    pub(super) fn most_of_next(&self) -> Option<MostOfNext> {
        let stop = || (self.stop)();
        let next = self.kinds(1)?;
        let pieces = next.pieces_of_tier(1);
        let priced: Vec<f64> = pieces.iter().map(|pieces| pieces.map_or(MUST, f64::from)).collect();
        let bare = Dive::new(self.stocks, &next.demand, self.rules, &[]).leaving(priced, true).root(&stop);
        let least_uncut = uncut_bound(self.stocks, &next.demand, &bare.prices, &pieces);
        let kinds = self.kinds(PIECE_MM.len()).unwrap_or(next);
        let goal = kinds.worth_of_piece(1).saturating_mul(i64::from(least_uncut));
        let prices = kinds.prices();
        let mut dive = Dive::new(self.stocks, &kinds.demand, self.rules, &[]).leaving(prices.clone(), false);
        let root = dive.root(&stop);
        // Dives leave blocks that must be cut where nearly all wire is needed; a packing of these is the better start.
        let start = match self.packed {
            Some(packed) => Some(self.filled_up(&kinds, packed)),
            None => best_dive(&mut dive, &root, goal, &stop),
        };
        let best = start
            .map(|packing| self.improved(&packing, &kinds, root.prices, goal))
            .filter(|packing| kinds.has_all_of_tier_0(packing));
        let placed = best.map(|packing| (kinds.hand_out(&packing.loads), packing.cost));
        Some(MostOfNext { placed, least_uncut })
    }

    /// The packing of what must be cut with the other blocks added in their order, each to the coil that it fits best.
    fn filled_up(&self, kinds: &Kinds<'_>, packed: &Packing) -> Packing {
        let demand = &kinds.demand;
        let mut left = demand.counts.clone();
        let mut loads = vec![Load::new(); self.stocks.len()];
        let must: Vec<usize> = kinds.of_tier(0);
        for (load, of_must) in loads.iter_mut().zip(&packed.loads) {
            for (kind, count) in of_must.iter().filter_map(|(at, count)| Some((must.get(*at)?, count))) {
                left[*kind] = left[*kind].saturating_sub(*count);
                load.push((*kind, *count));
            }
        }
        let rooms = self
            .stocks
            .iter()
            .zip(&loads)
            .map(|(stock, load)| stock.room - load_length(&demand.lengths, load));
        let mut by_room: BTreeSet<(i64, usize)> = rooms.enumerate().map(|(i, room)| (room, i)).collect();
        for tier in 0..=PIECE_MM.len() {
            for kind in kinds.of_tier(tier).into_iter().rev() {
                let length = demand.lengths[kind];
                while left[kind] > 0 {
                    let Some((room, i)) = by_room.range((length, 0)..).next().copied() else { break };
                    by_room.remove(&(room, i));
                    by_room.insert((room - length, i));
                    left[kind] -= 1;
                    match loads[i].iter_mut().find(|(other, _)| *other == kind) {
                        Some((_, count)) => *count += 1,
                        None => loads[i].push((kind, 1)),
                    }
                }
            }
        }
        Packing::new(self.stocks, self.rules, demand, loads, left)
    }

    /// Cuts a few coils anew, again and again: by exact fills from several seeds, then by columns.
    fn improved(&self, start: &Packing, kinds: &Kinds<'_>, prices: Vec<f64>, goal: i64) -> Packing {
        let stop = || (self.stop)();
        let demand = &kinds.demand;
        let used = start.loads.iter().filter(|load| !load.is_empty()).count();
        let blocks: u64 = demand.counts.iter().map(|count| u64::from(*count)).sum();
        let rounds = u64::from(self.effort) * used as u64;
        let seeds = (COILS_OF_ALL_SEARCHES / used.max(1)).clamp(1, MOST_SEARCHES) as u64;
        // Unused wire gathers on few coils until another piece can be cut there; only then does scrap matter.
        let roomy = Rules { keep_from: 0, ..self.rules.clone() };
        let mut best = start.clone();
        for seed in (0..seeds).map(|n| self.seed.wrapping_add(n)) {
            let mut packing = start.clone();
            for (rules, rounds) in [(&roomy, ROUNDS_FOR_PIECES * rounds), (self.rules, rounds)] {
                let Packing { loads, left, .. } = packing;
                let again = Packing::new(self.stocks, rules, demand, loads, left);
                packing = Search::new(self.stocks, demand, rules, again, seed).run(rounds, [0; 3], &stop);
            }
            if packing.key() < best.key() {
                best = packing;
            }
        }
        let work = WORK_A_BLOCK * u64::from(self.effort) * blocks.min(MOST_BLOCKS);
        let regroup = Regroup::new(self.stocks, demand, self.rules, &prices, best, self.seed);
        regroup.leaving(kinds.prices()).run(work, (goal, [0; 3]), &stop)
    }

    /// Blocks by kind, of so many serials that lack something; `None` if there are too many kinds.
    fn kinds(&self, serials: usize) -> Option<Kinds<'_>> {
        let mut blocks: BTreeMap<Kind, Vec<&Block>> = BTreeMap::new();
        for block in self.taken {
            blocks.entry((Reverse(block.length), 0, 0)).or_default().push(block);
        }
        let mut tiers = 1;
        let mut pieces = vec![0i64];
        for serial in self.later.iter().take(serials) {
            let mut all = 0;
            for block in serial {
                let count = block.pieces.len();
                blocks.entry((Reverse(block.length), tiers, count)).or_default().push(block);
                all += i64::try_from(count).unwrap_or(i64::MAX);
            }
            pieces.push(all);
            tiers += 1;
        }
        if blocks.len() > MOST_KINDS {
            return None;
        }
        // A piece counts more than all pieces of the serials after it.
        let mut worths = vec![1i64; tiers];
        for tier in (0..tiers - 1).rev() {
            worths[tier] = worths[tier + 1].saturating_mul(pieces[tier + 1].saturating_add(1));
        }
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let weight = |pieces: usize| i64::try_from(pieces.max(1)).unwrap_or(i64::MAX);
        let demand = Demand {
            lengths: blocks.keys().map(|(Reverse(length), _, _)| *length).collect(),
            counts: blocks.values().map(|blocks| count(blocks.len())).collect(),
            worths: blocks
                .keys()
                .map(|(_, tier, pieces)| worths[*tier].saturating_mul(weight(*pieces)))
                .collect(),
        };
        Some(Kinds { blocks, demand })
    }
}

impl<'b> Kinds<'b> {
    /// Number of pieces of each kind of a tier; `None` for other kinds.
    fn pieces_of_tier(&self, tier: usize) -> Vec<Option<u32>> {
        let keys = self.blocks.keys();
        keys.map(|(_, t, pieces)| (*t == tier).then(|| u32::try_from(*pieces).unwrap_or(u32::MAX))).collect()
    }

    /// Kinds of a tier, longest first.
    fn of_tier(&self, tier: usize) -> Vec<usize> {
        self.blocks.keys().enumerate().filter(|(_, (_, t, _))| *t == tier).map(|(kind, _)| kind).collect()
    }

    /// What a piece of a tier counts.
    fn worth_of_piece(&self, tier: usize) -> i64 {
        let of = |((_, t, pieces), worth): (&Kind, &i64)| {
            (*t == tier).then(|| worth / i64::try_from(*pieces).unwrap_or(1).max(1))
        };
        self.blocks.keys().zip(&self.demand.worths).find_map(of).unwrap_or(0)
    }

    /// Price of a block of each kind that stays uncut, in mm of scrap.
    fn prices(&self) -> Vec<f64> {
        let of = |(_, tier, pieces): &Kind| {
            let pieces = u32::try_from(*pieces).map_or(f64::MAX, f64::from);
            tier.checked_sub(1).map_or(MUST_MM, |after| PIECE_MM[after.min(PIECE_MM.len() - 1)] * pieces)
        };
        self.blocks.keys().map(of).collect()
    }

    fn has_all_of_tier_0(&self, packing: &Packing) -> bool {
        self.blocks.keys().zip(&packing.left).all(|((_, tier, _), left)| *tier > 0 || *left == 0)
    }

    /// The blocks of each load, with its place.
    fn hand_out(self, loads: &[Load]) -> Vec<(usize, Block)> {
        let mut queues: Vec<Vec<&'b Block>> = self.blocks.into_values().collect();
        let mut placed = Vec::new();
        for (stock, load) in loads.iter().enumerate() {
            for (kind, count) in load {
                let from = queues[*kind].len().saturating_sub(*count as usize);
                placed.extend(queues[*kind].drain(from..).map(|block| (stock, block.clone())));
            }
        }
        placed
    }
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

/// The dive that leaves least.
fn best_dive(dive: &mut Dive<'_>, root: &Root, goal: i64, stop: &dyn Fn() -> bool) -> Option<Packing> {
    let mut best: Option<Packing> = None;
    for n in 0..DIVES {
        if stop() || best.as_ref().is_some_and(|packing| packing.lack <= goal) {
            break;
        }
        let way = Way { haste: HASTE, skip: n.checked_sub(1) };
        let Some(packing) = dive.descend(root, way, f64::MAX, stop) else { continue };
        if best.as_ref().is_none_or(|other| packing.key() < other.key()) {
            best = Some(packing);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{CoilIndex, PieceIndex, SerialIndex};
    use crate::objective::LevelOrder;

    #[test]
    fn a_piece_of_an_earlier_serial_counts_more_than_all_later_ones() {
        let stock = |coil, room| Stock {
            coil: CoilIndex(coil),
            room,
            margin: 0,
            mounts: true,
            sealed: false,
            rank: 0,
        };
        let mut next = 0;
        let mut blocks = |serial, lengths: &[i64]| -> Vec<Block> {
            let block = |length: &i64| {
                next += 1;
                Block { length: *length, serial: SerialIndex(serial), pieces: vec![PieceIndex(next)] }
            };
            lengths.iter().map(block).collect()
        };
        let taken = blocks(0, &[600]);
        let later = [blocks(1, &[500, 400]), blocks(2, &[300, 300, 100])];
        let rules = Rules { keep_from: 50, trim: 0, order: LevelOrder::default() };
        // 600 + 400 and 500 + 300 + 100 is the most; without the second serial three of the third would fit.
        let stocks = [stock(0, 1000), stock(1, 900)];
        let scarce = Scarce {
            stocks: &stocks,
            rules: &rules,
            taken: &taken,
            packed: None,
            later: &later,
            effort: 10,
            seed: 1,
            stop: &|| false,
        };
        let most = scarce.most_of_next().expect("so few kinds are never too many");
        assert_eq!(most.least_uncut, 0);
        let (placed, cost) = most.placed.expect("there is room for the first serial");
        let of = |serial| placed.iter().filter(|(_, block)| block.serial == SerialIndex(serial)).count();
        assert_eq!((of(0), of(1), of(2)), (1, 2, 2));
        assert_eq!(cost, [0, 0, 2]);
    }
}
