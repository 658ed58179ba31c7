//! Falsehoods, put into histories that were recorded: a check that never finds one would be worth nothing.

use std::collections::BTreeMap;

use becket_api::journal::Entry;
use becket_e2e::history::{CoilEvent, ListEvent, Timed};

use super::check::{Histories, journal_order};
use super::floor::Recorded;

/// Falsifies histories that hold in one way at a time, and panics if a falsehood is not found.
pub(super) fn all_are_found(histories: &Histories, recorded: &Recorded, entries: &[Entry]) {
    lists(histories);
    coils(histories);
    journal(recorded, entries);
}

type Told<E> = Vec<Timed<E>>;

fn lists(histories: &Histories) {
    // Confirmations that were answered, of steps of which everybody was told what became.
    let confirmed = |events: &Told<ListEvent>| -> Vec<usize> {
        let open: Vec<&ListEvent> =
            events.iter().filter(|event| event.answered.is_none()).map(|event| &event.operation).collect();
        let is_told = |at: &usize| {
            matches!(events[*at].operation, ListEvent::Confirmed(_))
                && !open.contains(&&events[*at].operation)
        };
        (0..events.len()).filter(is_told).collect()
    };
    let most = histories.lists.iter().max_by_key(|(_, events)| confirmed(events).len());
    let (list, events) = most.expect("lists were cut");
    let places = confirmed(events);
    let middle = places[places.len() / 2];
    let falsified = |what: &str, change: &dyn Fn(&mut Told<ListEvent>)| {
        let mut false_ones = histories.clone();
        change(false_ones.lists.get_mut(list).expect("it is there"));
        assert!(false_ones.check_list(list).is_err(), "not found: {what}");
    };
    falsified("a step confirmed twice", &|events| events.push(events[middle].clone()));
    falsified("a confirmation that was lost", &|events| {
        events.remove(middle);
    });
    falsified("a confirmation of a step before the first", &|events| {
        let last = places[places.len() - 1];
        (events[last].called, events[last].answered) = (0, Some(1));
    });
    falsified("a look that shows more than was done", &|events| {
        let answered = events.iter().filter_map(|event| event.answered).max().expect("steps were confirmed");
        let operation = ListEvent::Seen { behind: i32::MAX };
        events.push(Timed { called: answered + 1, answered: Some(answered + 2), operation });
    });
}

/// A cut with one after it that begins where it ended, so that nothing else has changed the coil in between; and a look at the coil.
fn cut_and_look(events: &Told<CoilEvent>) -> Option<(usize, usize)> {
    let cut = |event: &Timed<CoilEvent>| match event.operation {
        CoilEvent::Done { um: um @ 1.., counted: true, left_um, .. } => Some((um, left_um)),
        _ => None,
    };
    let is_followed = |at: &usize| {
        let Some((_, left_um)) = cut(&events[*at]) else { return false };
        events.iter().any(|next| {
            events[*at].answered.is_some_and(|answered| answered < next.called)
                && cut(next).is_some_and(|(um, left)| left + um == left_um)
        })
    };
    let look = events.iter().position(|event| matches!(event.operation, CoilEvent::Seen { .. }))?;
    Some(((0..events.len()).find(is_followed)?, look))
}

fn coils(histories: &Histories) {
    let mut found: BTreeMap<&str, usize> = BTreeMap::new();
    let mut falsified = |what: &'static str, coil: &str, change: &dyn Fn(&mut Told<CoilEvent>)| {
        let mut false_ones = histories.clone();
        change(false_ones.coils.get_mut(coil).expect("it is there"));
        assert!(false_ones.check_coil(coil).is_err(), "not found: {what}");
        *found.entry(what).or_default() += 1;
    };
    let pairs = histories.coils.iter().filter_map(|(coil, events)| Some((coil, cut_and_look(events)?)));
    for (coil, (cut, look)) in pairs.take(3) {
        falsified("a cut that took a micrometre less", coil, &|events| {
            if let CoilEvent::Done { left_um, .. } = &mut events[cut].operation {
                *left_um += 1;
            }
        });
        falsified("a cut that was booked twice", coil, &|events| events.push(events[cut].clone()));
        falsified("a cut that was lost", coil, &|events| {
            events.remove(cut);
        });
        falsified("an old value, read after a new one was told", coil, &|events| {
            let CoilEvent::Done { um, left_um, .. } = events[cut].operation else { return };
            let told = events[cut].answered.expect("it was answered");
            // Whatever lists count on then, this much is not on it any more.
            let operation = CoilEvent::Lost { um: 0, left_um: left_um + um };
            events.push(Timed { called: told + 1, answered: Some(told + 2), operation });
        });
        falsified("a look that shows a micrometre more promised", coil, &|events| {
            if let CoilEvent::Seen { reserved_um, .. } = &mut events[look].operation {
                *reserved_um += 1;
            }
        });
        falsified("a length that is promised twice", coil, &|events| {
            let operation = CoilEvent::Counts { list: "L-none".to_owned(), um: i64::MAX / 4 };
            events.push(Timed { operation, ..events[cut].clone() });
        });
    }
    let aside = |event: &Timed<CoilEvent>| match &event.operation {
        CoilEvent::SetAside(aside) => *aside,
        CoilEvent::Together(parts) => parts.contains(&CoilEvent::SetAside(true)),
        _ => false,
    };
    let set_aside =
        histories.coils.iter().find_map(|(coil, events)| Some((coil, events.iter().position(aside)?)));
    let (coil, at) = set_aside.expect("coils were set aside");
    falsified("a coil that was set aside twice", coil, &|events| events.push(events[at].clone()));
    assert_eq!(found.len(), 7, "{found:?}");
}

fn journal(recorded: &Recorded, entries: &[Entry]) {
    let is_write = |entry: &&Entry| recorded.writes.contains_key(&entry.request_id);
    let first = entries.iter().find(is_write).expect("there were writes").request_id.clone();
    let last = entries.iter().rfind(is_write).expect("there were writes").request_id.clone();
    let kept: Vec<Entry> = entries.iter().filter(|entry| entry.request_id != last).cloned().collect();
    assert!(journal_order(recorded, &kept).is_err(), "not found: a write that was lost");
    let mut swapped = entries.to_vec();
    for entry in &mut swapped {
        if entry.request_id == first {
            entry.request_id.clone_from(&last);
        } else if entry.request_id == last {
            entry.request_id.clone_from(&first);
        }
    }
    assert!(journal_order(recorded, &swapped).is_err(), "not found: two writes told in the wrong order");
}
