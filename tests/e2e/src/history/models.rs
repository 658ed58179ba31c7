//! What a list and a coil must look like to whoever asks.

use std::collections::BTreeMap;

use super::linear::Model;

/// A cut list, whose steps are done one after the other.
#[derive(Debug, Clone, Copy)]
pub struct ListModel;

/// What was asked of a list, with the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListEvent {
    /// This step lies behind from now on: it was confirmed, or its piece was lost while it was cut, or its coil came to its end.
    Confirmed(i32),
    /// A step was not confirmed, since this one is the next.
    NextIs(i32),
    /// It was looked at, or planned anew: so many steps lie behind.
    Seen {
        /// Steps that lie behind.
        behind: i32,
    },
    /// The piece of a step that lies behind was lost later.
    Spoiled {
        /// The step.
        step: i32,
        /// Steps that lie behind, as the answer says.
        behind: i32,
    },
}

impl Model for ListModel {
    /// Steps that are done.
    type State = i32;
    type Operation = ListEvent;

    fn apply(done: &i32, event: &ListEvent) -> Option<i32> {
        match *event {
            ListEvent::Confirmed(step) => (step == done + 1).then_some(step),
            ListEvent::NextIs(step) => (step == done + 1).then_some(*done),
            ListEvent::Seen { behind } => (behind == *done).then_some(behind),
            ListEvent::Spoiled { step, behind } => (step <= *done && behind == *done).then_some(behind),
        }
    }
}

/// A coil: how much is on it, what each list counts on, and whether lists may count on it.
#[derive(Debug, Clone, Copy)]
pub struct CoilModel;

/// The state of a coil; lengths in µm.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct CoilState {
    /// What is on it.
    pub remaining_um: i64,
    /// What lists count on.
    pub by_list: BTreeMap<String, i64>,
    /// Whether it is set aside.
    pub set_aside: bool,
}

impl CoilState {
    fn reserved_um(&self) -> i64 {
        self.by_list.values().sum()
    }
}

/// What happened to a coil, with the answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CoilEvent {
    /// A list counts on so much of it from now on: it was planned, or planned anew.
    Counts {
        /// The list.
        list: String,
        /// Trims and pieces that are pending.
        um: i64,
    },
    /// A step of a list was done on it.
    Done {
        /// The list.
        list: String,
        /// What the step took off it.
        um: i64,
        /// Whether the list had counted on that: it is a trim or a piece, and no tail.
        counted: bool,
        /// What was left, as the answer says.
        left_um: i64,
    },
    /// It was looked at.
    Seen {
        /// What is on it.
        remaining_um: i64,
        /// What lists count on.
        reserved_um: i64,
    },
    /// It was weighed.
    Weighed {
        /// What is on it then.
        remaining_um: i64,
        /// What lists count on.
        reserved_um: i64,
    },
    /// It was set aside (true), or returned (false).
    SetAside(bool),
    /// A miscut took wire off it.
    Lost {
        /// How much.
        um: i64,
        /// What was left, as the answer says.
        left_um: i64,
    },
    /// It came to its end: the books were corrected by so much, and what was left then was scrapped.
    RanOut {
        /// The correction.
        by_um: i64,
        /// What was scrapped.
        scrapped_um: i64,
        /// What was left, as the answer says.
        left_um: i64,
    },
    /// What was left of it was scrapped.
    Scrapped,
    /// All of this at once, so that nobody sees a part of it.
    Together(Vec<CoilEvent>),
}

impl Model for CoilModel {
    type State = CoilState;
    type Operation = CoilEvent;

    fn apply(state: &CoilState, event: &CoilEvent) -> Option<CoilState> {
        let mut next = state.clone();
        match event {
            CoilEvent::Counts { list, um } => {
                let before = next.by_list.insert(list.clone(), *um).unwrap_or(0);
                let grown = *um > before;
                // A length is promised once.
                (!grown || (!next.set_aside && next.reserved_um() <= next.remaining_um)).then_some(next)
            }
            CoilEvent::Done { list, um, counted, left_um } => {
                if *counted {
                    *next.by_list.get_mut(list)? -= um;
                }
                next.remaining_um -= um;
                (next.remaining_um == *left_um && next.remaining_um >= 0).then_some(next)
            }
            CoilEvent::Seen { remaining_um, reserved_um } => {
                ((next.remaining_um, next.reserved_um()) == (*remaining_um, *reserved_um)).then_some(next)
            }
            CoilEvent::Weighed { remaining_um, reserved_um } => {
                next.remaining_um = *remaining_um;
                (next.reserved_um() == *reserved_um).then_some(next)
            }
            CoilEvent::SetAside(aside) => {
                (next.set_aside != *aside).then_some(CoilState { set_aside: *aside, ..next })
            }
            CoilEvent::Lost { um, left_um } => {
                next.remaining_um -= um;
                (next.remaining_um == *left_um && next.remaining_um >= 0).then_some(next)
            }
            CoilEvent::RanOut { by_um, scrapped_um, left_um } => {
                next.remaining_um += by_um - scrapped_um;
                (next.remaining_um == *left_um && next.remaining_um >= 0).then_some(next)
            }
            CoilEvent::Scrapped => {
                // No list counts on wire that is gone.
                next.remaining_um = 0;
                (next.reserved_um() == 0).then_some(next)
            }
            CoilEvent::Together(events) => {
                events.iter().try_fold(next, |state, event| Self::apply(&state, event))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::linear::{Timed, linearisable};
    use super::*;

    fn timed<O>(called: u64, answered: u64, operation: O) -> Timed<O> {
        Timed { called, answered: Some(answered), operation }
    }

    #[test]
    fn a_step_that_is_confirmed_twice_is_refused() {
        use ListEvent::{Confirmed, NextIs};
        let check = |events: &[(u64, u64, ListEvent)]| {
            let events: Vec<_> = events.iter().map(|(from, to, event)| timed(*from, *to, *event)).collect();
            linearisable::<ListModel>(&0, &events).is_ok()
        };
        assert!(check(&[(1, 5, Confirmed(1)), (1, 5, NextIs(2)), (6, 7, Confirmed(2))]));
        assert!(!check(&[(1, 5, Confirmed(1)), (1, 5, Confirmed(1))]));
        assert!(!check(&[(1, 5, Confirmed(1)), (6, 7, NextIs(1))]));
        assert!(!check(&[(1, 2, Confirmed(1)), (3, 4, Confirmed(3))]));
    }

    #[test]
    fn steps_that_come_back_or_are_lost_before_they_are_cut_are_refused() {
        use ListEvent::{Confirmed, Seen, Spoiled};
        let check = |events: &[(u64, u64, ListEvent)]| {
            let events: Vec<_> = events.iter().map(|(from, to, event)| timed(*from, *to, *event)).collect();
            linearisable::<ListModel>(&0, &events).is_ok()
        };
        assert!(check(&[(1, 5, Confirmed(1)), (2, 3, Seen { behind: 0 }), (4, 9, Seen { behind: 1 })]));
        assert!(!check(&[(1, 5, Confirmed(1)), (6, 7, Seen { behind: 0 })]));
        assert!(check(&[(1, 5, Confirmed(1)), (2, 6, Spoiled { step: 1, behind: 1 })]));
        assert!(!check(&[(1, 2, Confirmed(1)), (3, 4, Spoiled { step: 2, behind: 1 })]));
    }

    #[test]
    fn what_nobody_was_told_of_may_have_been_done() {
        use ListEvent::{Confirmed, NextIs, Seen};
        let open = |called, event| Timed { called, answered: None, operation: event };
        let check = |events: &[Timed<ListEvent>]| linearisable::<ListModel>(&0, events).is_ok();
        let first = open(1, Confirmed(1));
        assert!(check(&[first.clone(), timed(2, 3, NextIs(1)), timed(4, 5, NextIs(2))]));
        assert!(check(&[first.clone(), timed(2, 3, NextIs(1)), timed(4, 5, Confirmed(1))]));
        // Not undone again, and once.
        assert!(!check(&[first.clone(), timed(2, 3, NextIs(2)), timed(4, 5, NextIs(1))]));
        assert!(!check(&[first, timed(2, 3, NextIs(2)), timed(4, 5, Seen { behind: 2 })]));
    }

    fn coil(events: &[(u64, u64, CoilEvent)]) -> bool {
        let start = CoilState { remaining_um: 100, ..CoilState::default() };
        let events: Vec<_> =
            events.iter().map(|(from, to, event)| timed(*from, *to, event.clone())).collect();
        linearisable::<CoilModel>(&start, &events).is_ok()
    }

    fn counts(list: &str, um: i64) -> CoilEvent {
        CoilEvent::Counts { list: list.to_owned(), um }
    }

    #[test]
    fn a_length_that_is_promised_twice_is_refused() {
        assert!(coil(&[(1, 5, counts("A", 60)), (1, 5, counts("B", 40))]));
        assert!(!coil(&[(1, 5, counts("A", 60)), (1, 5, counts("B", 41))]));
        // Unless the first gives it up meanwhile.
        assert!(coil(&[(1, 5, counts("A", 60)), (1, 9, counts("B", 41)), (6, 8, counts("A", 0))]));
        assert!(!coil(&[(1, 2, CoilEvent::SetAside(true)), (3, 4, counts("A", 1))]));
    }

    #[test]
    fn a_list_that_still_counts_on_a_coil_that_is_gone_is_refused() {
        let around = |um| CoilEvent::Together(vec![counts("A", um), CoilEvent::SetAside(true)]);
        let planned = (1, 2, counts("A", 60));
        let seen = |remaining_um, reserved_um| CoilEvent::Seen { remaining_um, reserved_um };
        assert!(coil(&[planned.clone(), (3, 6, around(0)), (4, 5, seen(100, 60)), (7, 8, seen(100, 0))]));
        // Set aside, and the list not yet planned anew.
        assert!(!coil(&[planned.clone(), (3, 4, around(0)), (5, 6, seen(100, 60))]));
        // Planned on it afterwards.
        assert!(!coil(&[planned.clone(), (3, 4, around(0)), (5, 6, counts("B", 1))]));
        let scrapped = |um| CoilEvent::Together(vec![counts("A", um), CoilEvent::Scrapped]);
        assert!(coil(&[planned.clone(), (3, 4, scrapped(0)), (5, 6, seen(0, 0))]));
        assert!(!coil(&[planned, (3, 4, scrapped(10))]));
    }

    #[test]
    fn miscuts_and_ends_of_coils_are_counted() {
        let miscut =
            |left_um| CoilEvent::Together(vec![CoilEvent::Lost { um: 15, left_um }, counts("A", 60)]);
        let seen = |remaining_um, reserved_um| CoilEvent::Seen { remaining_um, reserved_um };
        assert!(coil(&[(1, 2, counts("A", 60)), (3, 4, miscut(85)), (5, 6, seen(85, 60))]));
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 4, miscut(100))]));
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 4, miscut(85)), (5, 6, seen(100, 60))]));
        let ended = |scrapped_um| CoilEvent::RanOut { by_um: -70, scrapped_um, left_um: 0 };
        assert!(coil(&[(1, 2, ended(30)), (3, 4, seen(0, 0))]));
        assert!(!coil(&[(1, 2, ended(29))]));
    }

    #[test]
    fn wire_that_vanishes_is_refused() {
        let done = |um, left_um| CoilEvent::Done { list: "A".to_owned(), um, counted: true, left_um };
        let seen = |remaining_um, reserved_um| CoilEvent::Seen { remaining_um, reserved_um };
        assert!(coil(&[
            (1, 2, counts("A", 60)),
            (3, 9, done(10, 90)),
            (4, 5, seen(100, 60)),
            (6, 7, seen(90, 50))
        ]));
        // Taken off the coil and still counted on, or the other way round.
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 9, done(10, 90)), (4, 5, seen(90, 60))]));
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 9, done(10, 90)), (4, 5, seen(100, 50))]));
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 4, done(10, 90)), (3, 4, done(10, 90))]));
        assert!(!coil(&[(1, 2, counts("A", 60)), (3, 4, done(10, 90)), (5, 6, seen(100, 60))]));
    }
}
