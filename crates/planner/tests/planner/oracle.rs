//! Tiny problems with several wires, few reel positions and few trays, solved by trying every sequence of steps: the planner
//! must reach the best value on every level, the wanted order of pieces included, and say that it is proven.
//!
//! The oracle knows nothing of how the planner works. For each choice of pieces to cut, from the fewest uncut on, it walks
//! through all states of the station in order of their value, one step at a time.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use becket_planner::{
    BestPlanner, Coil, Effort, Level, LevelOrder, Piece, PieceOrder, Plan, Problem, SerialIndex, Station,
    Unison, WireIndex, check_plan, check_quality,
};
use proptest::prelude::*;

use crate::instances::{empty, mm, opened, piece};

/// Groups split, the four levels of the order, pieces out of order.
type Value = [i64; 6];

/// What has happened so far, as far as it matters for what may follow.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct State {
    /// Coil of each piece that was cut.
    cut_from: Vec<Option<usize>>,
    left: Vec<i64>,
    mounted: Vec<bool>,
    was_mounted: Vec<bool>,
    touched: Vec<bool>,
    finished: Vec<bool>,
    /// Last piece of each serial cut from each coil since it was mounted, and last piece of each serial.
    last_from: Vec<Vec<Option<usize>>>,
    last: Vec<Option<usize>>,
    mountings: usize,
}

struct Oracle<'a> {
    problem: &'a Problem,
    order: LevelOrder,
    wanted: Vec<bool>,
}

impl Oracle<'_> {
    fn start(&self) -> State {
        let coils = &self.problem.coils;
        let serials = self.problem.serials as usize;
        State {
            cut_from: vec![None; self.problem.pieces.len()],
            left: coils.iter().map(|c| c.available.get()).collect(),
            mounted: coils.iter().map(|c| c.mounted_at.is_some()).collect(),
            was_mounted: vec![false; coils.len()],
            touched: vec![false; coils.len()],
            finished: vec![false; coils.len()],
            last_from: vec![vec![None; serials]; coils.len()],
            last: vec![None; serials],
            mountings: 0,
        }
    }

    fn add(&self, value: Value, level: Level, amount: i64) -> Value {
        let all = [Level::GroupsSplit].into_iter().chain(self.order.levels()).chain([Level::OutOfOrder]);
        let at = all.into_iter().position(|l| l == level).unwrap();
        let mut value = value;
        value[at] += amount;
        value
    }

    /// Value of the best way to cut the wanted pieces.
    fn best(&self) -> Option<Value> {
        let mut reached: BTreeMap<State, Value> = BTreeMap::new();
        let mut queue = BinaryHeap::new();
        queue.push(Reverse((Value::default(), self.start())));
        let mut best: Option<Value> = None;
        while let Some(Reverse((value, state))) = queue.pop() {
            if best.is_some_and(|best| best <= value) || reached.get(&state).is_some_and(|old| *old <= value)
            {
                continue;
            }
            if state.cut_from.iter().zip(&self.wanted).all(|(from, wanted)| from.is_some() == *wanted) {
                let end = (0..state.left.len()).filter(|c| state.mounted[*c] && state.touched[*c]);
                let end =
                    end.fold(value, |value, c| self.add(value, Level::Scrap, self.tail_scrap(&state, c)));
                best = Some(best.map_or(end, |best| best.min(end)));
            }
            for (more, next) in self.steps(value, &state) {
                queue.push(Reverse((more, next)));
            }
            reached.insert(state, value);
        }
        best
    }

    fn tail_scrap(&self, state: &State, c: usize) -> i64 {
        let keep = self.problem.wires[self.problem.coils[c].wire.index()].smallest_remnant.get();
        if state.left[c] < keep { state.left[c] } else { 0 }
    }

    fn steps(&self, value: Value, state: &State) -> Vec<(Value, State)> {
        let mut steps = Vec::new();
        for c in 0..self.problem.coils.len() {
            if state.mounted[c] {
                steps.push(self.unmount(value, state, c));
                let pieces = 0..self.problem.pieces.len();
                steps.extend(pieces.filter_map(|p| self.cut(value, state, c, p)));
            } else {
                steps.extend(self.mount(value, state, c));
            }
        }
        steps
    }

    fn unmount(&self, value: Value, state: &State, c: usize) -> (Value, State) {
        let scrap = self.tail_scrap(state, c);
        let mut next = state.clone();
        next.mounted[c] = false;
        next.last_from[c].fill(None);
        next.finished[c] |= state.left[c] == 0 || scrap > 0;
        (self.add(value, Level::Scrap, scrap), next)
    }

    fn mount(&self, value: Value, state: &State, c: usize) -> Option<(Value, State)> {
        let coil = &self.problem.coils[c];
        let on = state.mounted.iter().filter(|on| **on).count();
        let trim = self.problem.policy.end_trim.get();
        // Each mounting is for a cut, so there are no more of them than pieces.
        if on == self.problem.station.reel_positions as usize
            || state.finished[c]
            || state.left[c] < trim
            || state.mountings == self.problem.pieces.len()
        {
            return None;
        }
        let sealed = |c: &Coil| !c.opened && c.mounted_at.is_none();
        let is_passed_over = |o: usize| {
            let other = &self.problem.coils[o];
            let same =
                (coil.wire, coil.available, coil.margin) == (other.wire, other.available, other.margin);
            sealed(other) && same && other.received_rank < coil.received_rank && !state.was_mounted[o]
        };
        if self.problem.policy.fifo
            && sealed(coil)
            && !state.was_mounted[c]
            && (0..self.problem.coils.len()).any(is_passed_over)
        {
            return None;
        }
        let value = self.add(value, Level::Scrap, trim);
        let value = self.add(value, Level::ReelChanges, 1);
        let value = self.add(value, Level::CoilsOpened, i64::from(sealed(coil) && !state.was_mounted[c]));
        let mut next = state.clone();
        next.left[c] -= trim;
        next.mounted[c] = true;
        next.touched[c] = true;
        next.was_mounted[c] = true;
        next.last_from[c].fill(None);
        next.mountings += 1;
        Some((value, next))
    }

    fn cut(&self, value: Value, state: &State, c: usize, p: usize) -> Option<(Value, State)> {
        let (problem, piece, coil) = (self.problem, &self.problem.pieces[p], &self.problem.coils[c]);
        let left = state.left[c] - piece.length.get();
        let serial = piece.serial.index();
        if !self.wanted[p]
            || state.cut_from[p].is_some()
            || coil.wire != piece.wire
            || left < problem.policy.margin.get() + coil.margin.get()
            || state.last_from[c][serial].is_some_and(|last| self.is_wrong_way(last, p))
            || state.last[serial].is_none() && !self.may_begin(state, serial)
        {
            return None;
        }
        let others = || (0..problem.pieces.len()).filter(|q| state.cut_from[*q].is_some());
        let mut sources: Vec<usize> = others()
            .filter(|q| problem.pieces[*q].group == piece.group)
            .filter_map(|q| state.cut_from[q])
            .collect();
        sources.sort_unstable();
        sources.dedup();
        let splits = sources.len() == 1 && sources[0] != c;
        if problem.policy.unison == Unison::Hard && splits {
            return None;
        }
        let counts = problem.policy.unison != Unison::Off && splits;
        let value = self.add(value, Level::GroupsSplit, i64::from(counts));
        let has_lot = others().any(|q| {
            let other = &problem.pieces[q];
            let from = state.cut_from[q].map(|from| problem.coils[from].lot);
            other.serial == piece.serial && other.wire == piece.wire && from == Some(coil.lot)
        });
        let value = self.add(value, Level::Lots, i64::from(!has_lot));
        let back = state.last[serial].is_some_and(|last| self.is_wrong_way(last, p));
        let value = self.add(value, Level::OutOfOrder, i64::from(back));
        let mut next = state.clone();
        next.cut_from[p] = Some(c);
        next.left[c] = left;
        next.touched[c] = true;
        next.last_from[c][serial] = Some(p);
        next.last[serial] = Some(p);
        Some((value, next))
    }

    fn is_wrong_way(&self, before: usize, next: usize) -> bool {
        let (a, b) = (&self.problem.pieces[before], &self.problem.pieces[next]);
        match self.problem.policy.piece_order {
            PieceOrder::BySize => b.length > a.length,
            PieceOrder::UpTheScale => b.rank < a.rank,
            PieceOrder::DownTheScale => b.rank > a.rank,
        }
    }

    fn may_begin(&self, state: &State, serial: usize) -> bool {
        let wanted = |s: usize| {
            (0..self.wanted.len())
                .filter(move |p| self.wanted[*p] && self.problem.pieces[*p].serial.index() == s)
        };
        let is_done = |s: usize| wanted(s).all(|p| state.cut_from[p].is_some());
        let open = (0..state.last.len()).filter(|s| state.last[*s].is_some() && !is_done(*s)).count();
        let due: Vec<usize> = (0..serial).filter(|s| wanted(*s).next().is_some()).collect();
        let window = self.problem.policy.due_window.map_or(usize::MAX, |w| w as usize);
        let must_be_done = due.len().saturating_sub(window);
        open < self.problem.station.trays as usize && due[..must_be_done].iter().all(|s| is_done(*s))
    }
}

/// Uncut pieces of each serial, and the best value with so many.
fn optimum(problem: &Problem, order: LevelOrder) -> (Vec<usize>, Value) {
    let pieces = problem.pieces.len();
    let mut choices: Vec<(Vec<usize>, Vec<bool>)> = (0..1u32 << pieces)
        .map(|set| {
            let wanted: Vec<bool> = (0..pieces).map(|p| set & (1 << p) != 0).collect();
            let mut uncut = vec![0; problem.serials as usize];
            for (piece, _) in problem.pieces.iter().zip(&wanted).filter(|(_, wanted)| !**wanted) {
                uncut[piece.serial.index()] += 1;
            }
            (uncut, wanted)
        })
        .filter(|(_, wanted)| problem.policy.unison != Unison::Hard || keeps_groups(problem, wanted))
        .collect();
    choices.sort();
    let mut found: Option<(Vec<usize>, Value)> = None;
    for (uncut, wanted) in choices {
        if found.as_ref().is_some_and(|(best, _)| *best < uncut) {
            break;
        }
        if let Some(value) = (Oracle { problem, order, wanted }).best()
            && found.as_ref().is_none_or(|(_, best)| value < *best)
        {
            found = Some((uncut, value));
        }
    }
    found.unwrap()
}

fn keeps_groups(problem: &Problem, wanted: &[bool]) -> bool {
    let pieces = || problem.pieces.iter().zip(wanted);
    pieces().all(|(a, of_a)| pieces().all(|(b, of_b)| a.group != b.group || of_a == of_b))
}

/// Up to 5 pieces of 2 wires and 3 serials, up to 4 coils, 1 or 2 reel positions, 1 or 2 trays.
fn tiny() -> impl Strategy<Value = Problem> {
    let pieces = prop::collection::vec((10..30i64, 0..3u32, 0..2u32, 0..2u32, 0..3u32), 1..6);
    let coils = prop::collection::vec((10..110i64, 0..2u32, any::<bool>(), 0..2u32, 0..3u32), 1..5);
    let unison = prop_oneof![Just(Unison::Hard), Just(Unison::Preferred), Just(Unison::Off)];
    let wanted =
        prop_oneof![Just(PieceOrder::BySize), Just(PieceOrder::UpTheScale), Just(PieceOrder::DownTheScale)];
    let policy = (0..4i64, 0..3i64, 0..30i64, unison, wanted, prop::option::of(0..2u32), any::<bool>());
    (pieces, coils, policy, 1..3u32, 1..3u32).prop_map(|(pieces, coils, policy, reel_positions, trays)| {
        let (trim, margin, keep, unison, wanted, due_window, fifo) = policy;
        let mut problem = empty();
        problem.serials = 3;
        problem.wires = vec![problem.wires[0]; 2];
        problem.wires[0].smallest_remnant = mm(keep);
        problem.wires[1].smallest_remnant = mm(10);
        problem.station = Station { reel_positions, trays };
        problem.policy.unison = unison;
        problem.policy.end_trim = mm(trim);
        problem.policy.margin = mm(margin);
        problem.policy.piece_order = wanted;
        problem.policy.due_window = due_window;
        problem.policy.fifo = fifo;
        problem.pieces = pieces
            .into_iter()
            .map(|(length, serial, wire, group, rank)| Piece {
                serial: SerialIndex(serial),
                wire: WireIndex(wire),
                rank,
                ..piece(length, 100 * serial + 10 * wire + group)
            })
            .collect();
        let mut positions = 0..reel_positions;
        problem.coils = (0u32..)
            .zip(coils)
            .map(|(rank, (length, wire, is_opened, lot, state))| Coil {
                wire: WireIndex(wire),
                opened: is_opened,
                // Some coils of equal length, so that receipt matters.
                available: mm(length / 10 * 10 + 5),
                received_rank: 4 - rank,
                lot,
                mounted_at: if state == 0 { positions.next() } else { None },
                ..opened(length)
            })
            .collect();
        problem
    })
}

fn uncut_of(problem: &Problem, plan: &Plan) -> Vec<usize> {
    let mut uncut = vec![0; problem.serials as usize];
    for p in &plan.uncut {
        uncut[problem.pieces[p.index()].serial.index()] += 1;
    }
    uncut
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 250, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn every_level_of_tiny_problems_is_at_its_optimum(
        problem in tiny(),
        levels in Just([Level::Scrap, Level::CoilsOpened, Level::ReelChanges, Level::Lots]).prop_shuffle(),
    ) {
        let order = LevelOrder::new(levels).unwrap();
        let planner = BestPlanner { effort: Effort { rounds_per_coil: 3 }, order };
        let planned = planner.plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &planned.plan), Ok(()));
        prop_assert_eq!(check_quality(&problem, &planned.plan, &order, &planned.quality), Ok(()));
        let uncut = uncut_of(&problem, &planned.plan);
        let value: Vec<i64> = planned.quality.levels[2..].iter().map(|report| report.value).collect();
        let (best_uncut, best) = optimum(&problem, order);
        prop_assert_eq!((&uncut, value), (&best_uncut, best.to_vec()));
        prop_assert!(planned.quality.is_optimal(), "not proven: {:?}", planned.quality);

        // Without the exact method the bounds are those of larger problems. They hold as long as the levels before are as
        // good as can be.
        let planner = BestPlanner { effort: Effort { rounds_per_coil: 0 }, order };
        let plain = planner.plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &plain.plan), Ok(()));
        prop_assert_eq!(check_quality(&problem, &plain.plan, &order, &plain.quality), Ok(()));
        let whole = 3 - best_uncut.iter().take_while(|uncut| **uncut == 0).count();
        prop_assert!(plain.quality.levels[0].lower_bound <= i64::try_from(whole).unwrap());
        let lacks: usize = best_uncut.iter().sum();
        if plain.plan.uncut.len() == lacks && uncut_of(&problem, &plain.plan) == best_uncut {
            for (report, best) in plain.quality.levels[2..].iter().zip(best) {
                prop_assert!(report.lower_bound <= best, "{:?}, best {}", report, best);
                prop_assert!(report.value >= best, "{:?}, best {}", report, best);
                if report.value > best {
                    break;
                }
            }
        }
    }
}
