//! String sets that were computed lately.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use becket_api::stringing::StringSet;

/// Most sets that are kept. A set of 240 strings takes some 150 kB.
const CAPACITY: usize = 256;

/// What a serial's set follows from. A released scale never changes, so the version of the job, which names
/// it, and the state of the catalogue say everything.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SetKey {
    /// Serial.
    pub(crate) serial_id: String,
    /// Version of the job.
    pub(crate) job_version: i64,
    /// State of the wire catalogue.
    pub(crate) wires_generation: i64,
}

/// The sets that were computed last, one for each serial. It can only save time: with it or without it the
/// answers are the same.
#[derive(Debug, Default)]
pub(crate) struct SetCache {
    /// The one used last stands at the back.
    entries: Mutex<VecDeque<(SetKey, Arc<StringSet>)>>,
}

impl SetCache {
    /// The set with this key, if it is here.
    pub(crate) fn get(&self, key: &SetKey) -> Option<Arc<StringSet>> {
        let mut entries = self.entries.lock().unwrap_or_else(PoisonError::into_inner);
        let at = entries.iter().position(|(other, _)| other == key)?;
        let entry = entries.remove(at)?;
        let set = Arc::clone(&entry.1);
        entries.push_back(entry);
        Some(set)
    }

    /// Keeps a set, in place of an older one of its serial.
    pub(crate) fn put(&self, key: SetKey, set: Arc<StringSet>) {
        let mut entries = self.entries.lock().unwrap_or_else(PoisonError::into_inner);
        entries.retain(|(other, _)| other.serial_id != key.serial_id);
        if entries.len() >= CAPACITY {
            entries.pop_front();
        }
        entries.push_back((key, set));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(serial: usize, wires_generation: i64) -> SetKey {
        SetKey { serial_id: format!("S-{serial}"), job_version: 1, wires_generation }
    }

    #[test]
    fn another_state_of_the_catalogue_is_another_set() {
        let cache = SetCache::default();
        cache.put(key(1, 7), Arc::default());
        assert!(cache.get(&key(1, 7)).is_some());
        assert!(cache.get(&key(1, 8)).is_none());
        cache.put(key(1, 8), Arc::default());
        assert!(cache.get(&key(1, 7)).is_none(), "one set for each serial");
    }

    #[test]
    fn the_set_not_used_for_longest_makes_room() {
        let cache = SetCache::default();
        for serial in 0..CAPACITY {
            cache.put(key(serial, 1), Arc::default());
        }
        assert!(cache.get(&key(0, 1)).is_some());
        cache.put(key(CAPACITY, 1), Arc::default());
        assert!(cache.get(&key(0, 1)).is_some());
        assert!(cache.get(&key(1, 1)).is_none());
        assert_eq!(cache.entries.lock().unwrap().len(), CAPACITY);
    }
}
