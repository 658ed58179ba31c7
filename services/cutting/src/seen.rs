//! Lists as this process has seen them last.
//!
//! A station confirms step after step of one list, and each time the whole list would be read for the sake of one step. So
//! the list is kept as the last confirmation left it. It decides nothing by itself: a change names the version on which
//! it rests, and the store refuses it if the list is no longer of that version; whoever decided on a list from here then reads it
//! and decides again. So with or without what is kept the answers are the same, and it can only save time.

use std::sync::{Mutex, MutexGuard, PoisonError};

use becket_floor::ListId;
use becket_store::StoredCutList;

/// Most steps of all lists that are kept, some 20 MB: the lists of 25 stations that each string ten grands.
const ROOM: usize = 40_000;

/// The lists that were confirmed last.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    /// The one that was used last comes last. They are few enough to be looked through.
    lists: Mutex<Vec<StoredCutList>>,
}

impl Seen {
    /// A list, which is forgotten here: whoever changes it puts it back as it is then.
    pub(crate) fn take(&self, list_id: &ListId) -> Option<StoredCutList> {
        let mut lists = self.lists();
        let place = lists.iter().position(|kept| kept.list.header.list_id == *list_id)?;
        Some(lists.remove(place))
    }

    /// Keeps a list; those not used for longest make room.
    pub(crate) fn put(&self, list: StoredCutList) {
        let mut lists = self.lists();
        lists.retain(|kept| kept.list.header.list_id != list.list.header.list_id);
        lists.push(list);
        let mut steps: usize = lists.iter().map(|kept| kept.list.steps.len()).sum();
        while steps > ROOM {
            steps -= lists.remove(0).list.steps.len();
        }
    }

    fn lists(&self) -> MutexGuard<'_, Vec<StoredCutList>> {
        self.lists.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use becket_floor::{NewCutList, PlanPolicy, Quality, StationId, Step, StepKind, StepState};
    use becket_units::Um;

    use super::*;

    fn id(text: &str) -> becket_floor::CoilId {
        becket_floor::CoilId::new(text).unwrap()
    }

    /// A list of so many steps.
    fn list(number: u32, steps: usize) -> StoredCutList {
        let step = Step {
            step_number: 1,
            kind: StepKind::Mount,
            state: StepState::Pending,
            coil_id: id("C1"),
            lot_id: becket_floor::LotId::new("L1").unwrap(),
            wire_id: becket_floor::WireId::new("w1").unwrap(),
            reel_position: 1,
            piece: None,
            length: Um::ZERO,
            remaining_after: Um::ZERO,
            tail_use: None,
            opens_coil: false,
            spoil_cause: None,
            done_us: None,
            done_by: String::new(),
        };
        let new = NewCutList {
            station_id: StationId::new("bench").unwrap(),
            serials: Vec::new(),
            policy: PlanPolicy::default(),
            steps: vec![step; steps],
            shortages: Vec::new(),
            quality: Quality { levels: Vec::new(), stopped: false },
        };
        StoredCutList { list: new.named(ListId::numbered(number)), created_us: 1, updated_us: 2 }
    }

    #[test]
    fn a_list_is_given_back_once_as_it_was_put_last() {
        let seen = Seen::default();
        seen.put(list(1, 3));
        seen.put(list(2, 5));
        seen.put(list(1, 4));
        assert_eq!(seen.take(&ListId::numbered(1)), Some(list(1, 4)));
        assert_eq!(seen.take(&ListId::numbered(1)), None);
        assert_eq!(seen.take(&ListId::numbered(2)), Some(list(2, 5)));
    }

    #[test]
    fn what_was_not_used_for_longest_makes_room() {
        let seen = Seen::default();
        for (number, steps) in [(1, 10), (2, ROOM - 10), (3, 10)] {
            seen.put(list(number, steps));
        }
        let is_kept = |number| seen.take(&ListId::numbered(number)).is_some();
        assert_eq!([1, 2, 3].map(is_kept), [false, true, true]);
        seen.put(list(4, ROOM + 1));
        assert!(!is_kept(4), "a list that has no room is not kept");
    }
}
