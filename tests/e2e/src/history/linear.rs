//! Whether a history of one object is linearisable: whether each operation can be given a moment between its call and its answer
//! so that, in the order of these moments, every answer is the one that the object gives when used by one caller.
//!
//! A search over orders that remembers what it has seen (after Wing and Gong, "Testing and verifying concurrent objects", 1993, and
//! Lowe, "Testing for linearizability", 2017; from memory). Objects are checked each by itself, which is enough, since a history
//! is linearisable if it is for each object.

use std::collections::{BTreeSet, HashSet};
use std::hash::Hash;

/// An object as one caller sees it.
pub trait Model {
    /// Its state.
    type State: Clone + Eq + Hash;
    /// An operation with its answer.
    type Operation;

    /// The state after an operation; `None` if the object would not have answered so.
    fn apply(state: &Self::State, operation: &Self::Operation) -> Option<Self::State>;
}

/// An operation with the moments of its call and of its answer, on one clock.
#[derive(Debug, Clone)]
pub struct Timed<O> {
    /// When it was called.
    pub called: u64,
    /// When it was answered; `None` if no answer came, so that it may have been done at any time after the call, or never.
    pub answered: Option<u64>,
    /// What it was, with its answer.
    pub operation: O,
}

/// What is done of a history, as a place before which all is done and the places behind it that are.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Done {
    before: usize,
    more: BTreeSet<usize>,
}

impl Done {
    fn has(&self, at: usize) -> bool {
        at < self.before || self.more.contains(&at)
    }

    fn with(&self, at: usize) -> Self {
        let mut next = self.clone();
        next.more.insert(at);
        while next.more.remove(&next.before) {
            next.before += 1;
        }
        next
    }

    fn count(&self) -> usize {
        self.before + self.more.len()
    }
}

/// Whether a history is linearisable.
///
/// # Errors
/// How many operations could be put in order at most, and the place in `history` of the first that could not.
pub fn linearisable<M: Model>(
    initial: &M::State,
    history: &[Timed<M::Operation>],
) -> Result<(), (usize, usize)> {
    let mut order: Vec<usize> = (0..history.len()).collect();
    order.sort_by_key(|at| history[*at].called);
    let timed = |place: usize| &history[order[place]];
    let start = (Done { before: 0, more: BTreeSet::new() }, initial.clone());
    let mut best = (0, order.first().copied().unwrap_or_default());
    let mut seen = HashSet::from([start.clone()]);
    let mut stack = vec![start];
    while let Some((done, state)) = stack.pop() {
        let near = next_places(&done, order.len(), &timed);
        let Some(&first) = near.first() else { return Ok(()) };
        if done.count() > best.0 {
            best = (done.count(), order[first]);
        }
        // The last pushed is tried first.
        for place in near.into_iter().rev() {
            if let Some(after) = M::apply(&state, &timed(place).operation) {
                let next = (done.with(place), after);
                if seen.insert(next.clone()) {
                    stack.push(next);
                }
            }
        }
    }
    Err(best)
}

/// Places of operations that may come next: whatever was called before the first answer that is open. None if all answers are explained.
fn next_places<'a, O: 'a>(done: &Done, end: usize, timed: &impl Fn(usize) -> &'a Timed<O>) -> Vec<usize> {
    let mut first_answer: Option<u64> = None;
    let mut near = Vec::new();
    for place in (done.before..end).filter(|place| !done.has(*place)) {
        // In the order of their calls, so no later one can be answered earlier than this one is called.
        if first_answer.is_some_and(|answer| answer < timed(place).called) {
            break;
        }
        near.push(place);
        let earlier = timed(place).answered.into_iter().chain(first_answer).min();
        first_answer = earlier;
    }
    let Some(first_answer) = first_answer else { return Vec::new() };
    near.retain(|place| timed(*place).called <= first_answer);
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A number that is written and read.
    struct Register;

    #[derive(Debug, Clone, Copy)]
    enum Use {
        Write(i32),
        Read(i32),
    }

    impl Model for Register {
        type State = i32;
        type Operation = Use;

        fn apply(state: &i32, operation: &Use) -> Option<i32> {
            match *operation {
                Use::Write(value) => Some(value),
                Use::Read(value) => (value == *state).then_some(value),
            }
        }
    }

    fn check(history: &[(u64, u64, Use)]) -> bool {
        let timed = |&(called, answered, operation): &(u64, u64, Use)| Timed {
            called,
            answered: (answered != 0).then_some(answered),
            operation,
        };
        linearisable::<Register>(&0, &history.iter().map(timed).collect::<Vec<_>>()).is_ok()
    }

    #[test]
    fn what_one_caller_sees_is_accepted() {
        assert!(check(&[]));
        assert!(check(&[(1, 2, Use::Read(0)), (3, 4, Use::Write(7)), (5, 6, Use::Read(7))]));
    }

    #[test]
    fn overlapping_calls_may_be_in_either_order() {
        assert!(check(&[(1, 9, Use::Write(7)), (2, 3, Use::Read(0)), (4, 5, Use::Read(7))]));
        assert!(check(&[
            (1, 9, Use::Write(1)),
            (1, 9, Use::Write(2)),
            (1, 9, Use::Read(1)),
            (10, 11, Use::Read(2))
        ]));
        assert!(check(&[(1, 9, Use::Write(1)), (1, 9, Use::Write(2)), (10, 11, Use::Read(1))]));
    }

    #[test]
    fn histories_that_no_order_explains_are_refused() {
        // Read of what was replaced before the call.
        assert!(!check(&[(1, 2, Use::Write(7)), (3, 4, Use::Read(0))]));
        // New, then old.
        assert!(!check(&[(1, 9, Use::Write(7)), (2, 3, Use::Read(7)), (4, 5, Use::Read(0))]));
        // Two readers that saw two writes in different orders.
        let writes = [(1, 20, Use::Write(1)), (1, 20, Use::Write(2))];
        let reads = [(2, 3, Use::Read(1)), (4, 5, Use::Read(2)), (6, 7, Use::Read(1))];
        assert!(!check(&[writes.as_slice(), reads.as_slice()].concat()));
        // Never written.
        assert!(!check(&[(1, 2, Use::Read(3))]));
    }

    #[test]
    fn what_had_no_answer_may_be_done_late_or_never() {
        assert!(check(&[(1, 0, Use::Write(7)), (2, 3, Use::Read(0)), (4, 5, Use::Read(7))]));
        assert!(check(&[(1, 0, Use::Write(7)), (2, 3, Use::Read(0))]));
        assert!(!check(&[(1, 0, Use::Write(7)), (2, 3, Use::Read(7)), (4, 5, Use::Read(0))]));
        // Not before its call.
        assert!(!check(&[(1, 2, Use::Read(7)), (3, 0, Use::Write(7))]));
    }

    #[test]
    fn the_fault_is_told() {
        let history = [(1, 2, Use::Write(7)), (3, 4, Use::Read(7)), (5, 6, Use::Read(0))];
        let timed = history.map(|(called, answered, operation)| Timed {
            called,
            answered: Some(answered),
            operation,
        });
        assert_eq!(linearisable::<Register>(&0, &timed), Err((2, 2)));
    }

    #[test]
    fn long_histories_with_much_overlap_are_searched_quickly() {
        let mut history = Vec::new();
        for round in 0..2000_u64 {
            let at = round * 10;
            let value = i32::try_from(round).unwrap();
            history.push((at + 1, at + 8, Use::Write(value)));
            history.extend((0..6).map(|late| (at + 2, at + 9 + late, Use::Read(value))));
        }
        assert!(check(&history));
        history.push((5, 6, Use::Read(-1)));
        assert!(!check(&history));
    }
}
