//! Answers that were given lately, as the bytes that are sent.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};

use prost::bytes::Bytes;

/// What an entry takes besides its answer, roughly: so that small answers cannot become too many.
const ENTRY_BYTES: usize = 256;

/// The answers that were used last, encoded, each with what it rests on: a basis that is another whenever the answer could
/// be. Whoever gets an answer compares its basis with the one of the moment; so with or without the cache the answers are the
/// same, and it can only save time.
///
/// An answer also bears the state of the journal in which its basis was last found to be the one of the moment. In that very state nothing
/// has changed, so that the basis need not be asked for again.
#[derive(Debug)]
pub(crate) struct AnswerCache<K, B> {
    /// Most bytes that are kept.
    room: usize,
    kept: Mutex<Kept<K, B>>,
}

#[derive(Debug)]
struct Kept<K, B> {
    entries: HashMap<K, Entry<B>>,
    /// Bytes of all entries.
    bytes: usize,
    /// Counts uses.
    uses: u64,
}

#[derive(Debug)]
struct Entry<B> {
    kept: KeptAnswer<B>,
    last_use: u64,
}

/// An answer that was given before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct KeptAnswer<B> {
    /// What it rests on.
    pub(crate) basis: B,
    /// Last sequence of the journal when the basis was last found to hold, if it ever was.
    pub(crate) held_at: Option<i64>,
    /// The encoded answer.
    pub(crate) answer: Bytes,
}

impl<B> Entry<B> {
    fn bytes(&self) -> usize {
        self.kept.answer.len().saturating_add(ENTRY_BYTES)
    }
}

impl<K: Hash + Eq + Clone, B: Clone + PartialEq> AnswerCache<K, B> {
    /// Makes a cache that keeps so many bytes.
    pub(crate) fn new(room: usize) -> Self {
        Self { room, kept: Mutex::new(Kept { entries: HashMap::new(), bytes: 0, uses: 0 }) }
    }

    /// The answer to a question, if it is here.
    pub(crate) fn get(&self, key: &K) -> Option<KeptAnswer<B>> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.uses += 1;
        let last_use = kept.uses;
        let entry = kept.entries.get_mut(key)?;
        entry.last_use = last_use;
        Some(entry.kept.clone())
    }

    /// Notes that `basis` was found to be the one of the moment, by a look that began when `sequence` was the last of the journal.
    pub(crate) fn holds(&self, key: &K, basis: &B, sequence: i64) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        // It may have made room, or been replaced, in the meantime.
        if let Some(entry) = kept.entries.get_mut(key).filter(|entry| entry.kept.basis == *basis) {
            entry.kept.held_at = entry.kept.held_at.max(Some(sequence));
        }
    }

    /// Keeps an answer, in place of an older one to the same question. Those not used for longest make room.
    pub(crate) fn put(&self, key: K, basis: B, answer: Bytes) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.remove(&key);
        kept.uses += 1;
        let entry = Entry { kept: KeptAnswer { basis, held_at: None, answer }, last_use: kept.uses };
        if entry.bytes() > self.room {
            return;
        }
        while kept.bytes.saturating_add(entry.bytes()) > self.room {
            // The entries are few enough to look through; it happens only after a computation, which takes far longer.
            let oldest = kept.entries.iter().min_by_key(|(_, entry)| entry.last_use);
            let Some(oldest) = oldest.map(|(key, _)| key.clone()) else { break };
            kept.remove(&oldest);
        }
        kept.bytes = kept.bytes.saturating_add(entry.bytes());
        kept.entries.insert(key, entry);
    }
}

impl<K: Hash + Eq, B> Kept<K, B> {
    fn remove(&mut self, key: &K) {
        if let Some(entry) = self.entries.remove(key) {
            self.bytes = self.bytes.saturating_sub(entry.bytes());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An answer that takes so many bytes with its entry.
    fn taking(bytes: usize) -> Bytes {
        vec![7; bytes - ENTRY_BYTES].into()
    }

    #[test]
    fn an_answer_is_kept_with_its_basis_and_replaced() {
        let cache = AnswerCache::new(10_000);
        assert!(cache.get(&"a").is_none());
        cache.put("a", 1, taking(1000));
        cache.put("a", 2, taking(2000));
        assert_eq!(cache.get(&"a"), Some(KeptAnswer { basis: 2, held_at: None, answer: taking(2000) }));
        assert_eq!(cache.kept.lock().unwrap().bytes, 2000, "one answer to each question");
    }

    #[test]
    fn an_answer_bears_the_last_state_in_which_its_basis_held() {
        let cache = AnswerCache::new(10_000);
        let held_at = || cache.get(&"a").and_then(|kept| kept.held_at);
        cache.holds(&"a", &1, 3);
        cache.put("a", 1, taking(1000));
        assert_eq!(held_at(), None, "it was computed, and not compared since");
        cache.holds(&"a", &1, 7);
        cache.holds(&"a", &1, 5);
        assert_eq!(held_at(), Some(7), "a call that is late tells nothing new");
        cache.holds(&"a", &2, 9);
        assert_eq!(held_at(), Some(7), "that is about another answer");
        cache.put("a", 2, taking(1000));
        assert_eq!(held_at(), None);
    }

    #[test]
    fn the_answers_not_used_for_longest_make_room() {
        let cache = AnswerCache::new(3000);
        for key in ["a", "b", "c"] {
            cache.put(key, 1, taking(1000));
        }
        assert!(cache.get(&"a").is_some());
        cache.put("d", 1, taking(1500));
        let there = ["a", "b", "c", "d"].map(|key| cache.get(&key).is_some());
        assert_eq!(there, [true, false, false, true]);
        assert_eq!(cache.kept.lock().unwrap().bytes, 2500);
    }

    #[test]
    fn what_is_too_large_is_not_kept_and_pushes_nothing_out() {
        let cache = AnswerCache::new(3000);
        cache.put("a", 1, taking(1000));
        cache.put("b", 1, taking(3001));
        assert!(cache.get(&"b").is_none());
        assert!(cache.get(&"a").is_some());
        cache.put("b", 1, taking(3000));
        assert!(cache.get(&"b").is_some());
        assert_eq!(cache.kept.lock().unwrap().bytes, 3000);
    }
}
