//! The best sequence of cuts for a given assignment, by branch and bound over the states of the station.

use std::collections::HashMap;

use crate::objective::Level;

use super::assign::{Budget, Choice};
use super::small::{Small, SmallCoil, SmallPiece, Value};

/// One thing that is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Move {
    /// Take a coil off.
    Unmount(usize),
    /// Put a coil on.
    Mount(usize),
    /// Cut a piece from its coil.
    Cut(usize),
}

/// No piece of a serial was cut yet.
const NONE: u8 = u8::MAX;

/// The station after some moves.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct State {
    cut: u32,
    mounted: u64,
    /// How often each coil was mounted.
    mountings: Vec<u8>,
    /// Key of the last piece cut for each serial, and from each mounted coil for each serial.
    last: Vec<u8>,
    last_of_coil: Vec<u8>,
}

/// The search.
pub(super) struct Sequence<'s, 'a> {
    small: &'s Small<'a>,
    choice: &'s Choice,
    /// Pieces that are cut.
    wanted: u32,
    positions: u32,
    /// Whether the order of pieces is left out of the account.
    without_order: bool,
    best: Value,
    best_moves: Option<Vec<Move>>,
    moves: Vec<Move>,
    /// Best value with which each state was reached.
    seen: HashMap<State, Value>,
}

impl<'s, 'a> Sequence<'s, 'a> {
    /// A search for a sequence that is better than `limit`.
    pub(super) fn new(small: &'s Small<'a>, choice: &'s Choice, limit: Value, without_order: bool) -> Self {
        let wanted = choice.iter().enumerate().filter(|(_, c)| c.is_some()).map(|(p, _)| 1 << p).sum();
        Self {
            small,
            choice,
            wanted,
            positions: small.problem.station.reel_positions,
            without_order,
            best: limit,
            best_moves: None,
            moves: Vec::new(),
            seen: HashMap::new(),
        }
    }

    /// Looks for the best sequence; `fixed` is what the assignment costs whatever the sequence. Says whether the search came
    /// to its end, and what it found.
    pub(super) fn run(mut self, fixed: Value, budget: &mut Budget<'_>) -> (bool, Option<(Value, Vec<Move>)>) {
        let coils = self.small.coils.len();
        let mounted = self.small.coils.iter().enumerate().filter(|(_, coil)| coil.mounted);
        let start = State {
            cut: 0,
            mounted: mounted.map(|(c, _)| 1 << c).sum(),
            mountings: vec![0; coils],
            last: vec![NONE; self.small.serials],
            last_of_coil: vec![NONE; coils * self.small.serials],
        };
        let done = self.descend(&start, fixed, budget);
        let best = self.best;
        (done, self.best_moves.map(|moves| (best, moves)))
    }

    fn left(&self, state: &State, c: usize) -> i64 {
        let given = self
            .choice
            .iter()
            .enumerate()
            .filter(|(p, choice)| **choice == Some(c) && state.cut & (1 << p) != 0);
        let given: i64 = given.map(|(p, _)| self.small.pieces[p].length).sum();
        self.small.coils[c].available - self.small.trim * i64::from(state.mountings[c]) - given
    }

    /// Length that is still to be cut from a coil; 0 if nothing is.
    fn due(&self, state: &State, c: usize) -> i64 {
        let due = self
            .choice
            .iter()
            .enumerate()
            .filter(|(p, choice)| **choice == Some(c) && state.cut & (1 << p) == 0);
        due.map(|(p, _)| self.small.pieces[p].length).sum()
    }

    /// What the moves to come add at least.
    fn at_least(&self, state: &State) -> Value {
        let mut sum = Value::default();
        for (c, coil) in self.small.coils.iter().enumerate() {
            let due = self.due(state, c);
            if due == 0 {
                continue;
            }
            let mut left = self.left(state, c) - due;
            if state.mounted & (1 << c) == 0 {
                sum = sum.plus(self.small.mounting(coil, state.mountings[c] == 0));
                left -= self.small.trim;
            }
            sum = sum.plus(self.small.at(Level::Scrap, coil.tail_scrap(left)));
        }
        sum
    }

    fn descend(&mut self, state: &State, cost: Value, budget: &mut Budget<'_>) -> bool {
        if !budget.pay() {
            return false;
        }
        if cost.plus(self.at_least(state)) >= self.best {
            return true;
        }
        if state.cut == self.wanted {
            self.best = cost;
            self.best_moves = Some(self.moves.clone());
            return true;
        }
        match self.seen.get(state) {
            Some(seen) if *seen <= cost => return true,
            _ => drop(self.seen.insert(state.clone(), cost)),
        }
        let mut candidates: Vec<usize> =
            (0..self.choice.len()).filter(|p| self.may_be_cut(state, *p)).collect();
        let off = |p: &usize| self.choice[*p].is_some_and(|c| state.mounted & (1 << c) == 0);
        candidates.sort_by_key(|p| (off(p), self.small.pieces[*p].key));
        for p in candidates {
            let Some(c) = self.choice[p] else { continue };
            let done = if state.mounted & (1 << c) != 0 {
                self.cut(state, p, c, cost, budget)
            } else {
                self.mount_and_cut(state, p, c, cost, budget)
            };
            if !done {
                return false;
            }
        }
        true
    }

    /// Whether a piece may be cut next, its coil being mounted if need be.
    fn may_be_cut(&self, state: &State, p: usize) -> bool {
        let Some(c) = self.choice[p] else { return false };
        if state.cut & (1 << p) != 0 {
            return false;
        }
        let small = self.small;
        let piece = &small.pieces[p];
        let same = |q: usize| {
            let other = &small.pieces[q];
            let what = |p: &SmallPiece| (p.serial, p.length, p.key);
            self.choice[q] == Some(c) && what(other) == what(piece) && state.cut & (1 << q) == 0
        };
        if (0..p).any(same) {
            return false;
        }
        let last = state.last_of_coil[c * small.serials + piece.serial];
        if state.mounted & (1 << c) != 0 && last != NONE && last > piece.key {
            return false;
        }
        state.last[piece.serial] != NONE || self.may_begin(state, piece.serial)
    }

    /// Whether a tray is free for a serial and its turn has come.
    fn may_begin(&self, state: &State, serial: usize) -> bool {
        let station = &self.small.problem.station;
        let is_of = |s: usize| move |p: &usize| self.small.pieces[*p].serial == s;
        let wanted =
            |s: usize| (0..self.choice.len()).filter(|p| self.wanted & (1 << p) != 0).filter(is_of(s));
        let is_done = |s: usize| wanted(s).all(|p| state.cut & (1 << p) != 0);
        let open = (0..self.small.serials).filter(|s| state.last[*s] != NONE && !is_done(*s)).count();
        if open as u64 >= u64::from(station.trays) {
            return false;
        }
        let Some(window) = self.small.problem.policy.due_window else { return true };
        let before = (0..serial).filter(|s| wanted(*s).next().is_some()).rev();
        let mut too_early = before.skip(usize::try_from(window).unwrap_or(usize::MAX));
        too_early.all(is_done)
    }

    fn cut(&mut self, state: &State, p: usize, c: usize, cost: Value, budget: &mut Budget<'_>) -> bool {
        let piece = &self.small.pieces[p];
        let mut next = state.clone();
        let mut cost = cost;
        next.cut |= 1 << p;
        let last = &mut next.last[piece.serial];
        if !self.without_order && *last != NONE && *last > piece.key {
            cost = cost.plus(Small::order(1));
        }
        *last = if self.without_order { 0 } else { piece.key };
        next.last_of_coil[c * self.small.serials + piece.serial] = piece.key;
        if self.due(&next, c) == 0 {
            let tail = self.left(&next, c);
            cost = cost.plus(self.small.at(Level::Scrap, self.small.coils[c].tail_scrap(tail)));
            // What was last cut from it matters no more.
            next.last_of_coil[c * self.small.serials..][..self.small.serials].fill(NONE);
        }
        self.moves.push(Move::Cut(p));
        let done = self.descend(&next, cost, budget);
        self.moves.pop();
        done
    }

    fn mount_and_cut(
        &mut self,
        state: &State,
        p: usize,
        c: usize,
        cost: Value,
        budget: &mut Budget<'_>,
    ) -> bool {
        let small = self.small;
        let coil = &small.coils[c];
        let left = self.left(state, c) - small.trim;
        if left - self.due(state, c) < coil.margin || !self.is_first_in(state, c) {
            return true;
        }
        let cost = cost.plus(small.mounting(coil, state.mountings[c] == 0));
        let mut mounted = state.clone();
        mounted.mounted |= 1 << c;
        mounted.mountings[c] = mounted.mountings[c].saturating_add(1);
        mounted.last_of_coil[c * small.serials..][..small.serials].fill(NONE);
        if u64::from(mounted.mounted.count_ones()) <= u64::from(self.positions) {
            self.moves.push(Move::Mount(c));
            let done = self.cut(&mounted, p, c, cost, budget);
            self.moves.pop();
            return done;
        }
        let victims: Vec<(usize, i64)> = (0..small.coils.len())
            .filter(|v| *v != c && state.mounted & (1 << v) != 0)
            .filter_map(|v| Some((v, self.price_of_unmounting(state, v)?)))
            .collect();
        // One that is not needed any more and leaves no scrap is as good as any.
        let free = victims.iter().find(|(v, price)| *price == 0 && self.due(state, *v) == 0).copied();
        for (victim, price) in free.map_or(victims, |free| vec![free]) {
            let mut next = mounted.clone();
            next.mounted &= !(1 << victim);
            next.last_of_coil[victim * small.serials..][..small.serials].fill(NONE);
            self.moves.extend([Move::Unmount(victim), Move::Mount(c)]);
            let cost = cost.plus(small.at(Level::Scrap, price));
            let done = self.cut(&next, p, c, cost, budget);
            self.moves.truncate(self.moves.len() - 2);
            if !done {
                return false;
            }
        }
        true
    }

    /// Scrap that taking a coil off makes now, if it may be taken off: one that is needed again must leave a remnant. The
    /// tail of a coil that has given all its pieces is counted already.
    fn price_of_unmounting(&self, state: &State, v: usize) -> Option<i64> {
        let coil = &self.small.coils[v];
        let left = self.left(state, v);
        if self.due(state, v) > 0 {
            return (left >= coil.keep_from && left > 0).then_some(0);
        }
        let is_used = self.choice.contains(&Some(v));
        Some(if is_used { 0 } else { coil.tail_scrap(left) })
    }

    /// Whether no equal sealed coil of earlier receipt is left.
    fn is_first_in(&self, state: &State, c: usize) -> bool {
        let coils = &self.small.coils;
        let own = &coils[c];
        let is_left = |(o, other): (usize, &SmallCoil)| {
            own.is_equal(other) && other.rank < own.rank && state.mountings[o] == 0
        };
        !self.small.problem.policy.fifo || !own.sealed || !coils.iter().enumerate().any(is_left)
    }
}
