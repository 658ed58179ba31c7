//! The journal: every change, in order, chained by hashes.
//!
//! # Hash of an entry
//!
//! SHA-256 over the following bytes, in this order:
//!
//! ```text
//! "becket journal 1"                 16 bytes
//! hash of the entry before           32 bytes; 32 zero bytes before the first entry
//! sequence, entry_us                 8 bytes each, big-endian two's complement
//! actor, origin, request_id, method, subject
//!                                    each: length in bytes as 8 bytes big-endian, then the UTF-8 text
//! before, after                      each: one byte 0 if absent; else one byte 1, then length and JSON text as above
//! ```
//!
//! An entry that tells its [effects](crate::effect) begins with "becket journal 2" instead and has their text at the end, as its length
//! and the text as above. Entries of earlier versions tell none.
//!
//! Lengths before the texts keep two different entries from giving the same bytes. The JSON text is hashed as it is
//! stored. Whoever keeps the last hash elsewhere can tell later whether any earlier entry was changed or removed.

use async_trait::async_trait;
use sha2::{Digest, Sha256};

use crate::context::{Engine, WriteContext};
use crate::error::StoreError;

/// One change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Sequence, from 1, without gaps.
    pub sequence: i64,
    /// When it was made, in µs since 1970 (UTC).
    pub entry_us: i64,
    /// Who made it.
    pub actor: String,
    /// Address of the peer.
    pub origin: String,
    /// Request id of the call.
    pub request_id: String,
    /// Method that made it.
    pub method: String,
    /// What was changed, such as "cutLists/L-0007".
    pub subject: String,
    /// What was there before of what the change changes, as a JSON object for people; `None` if the subject is new. Column by column it stands
    /// in `effects`.
    pub before: Option<String>,
    /// What is there after, or what the change added, as a JSON object; `None` if the subject is no more.
    pub after: Option<String>,
    /// What the change does to the rows of the tables, see [`effect`](crate::effect); `None` in entries of versions that did not tell it.
    pub effects: Option<String>,
    /// Hash over this entry and the one before it.
    pub hash: [u8; 32],
}

/// Reading of the journal.
#[async_trait]
pub trait JournalStore: Engine {
    /// Up to `limit` entries with a sequence above `after_sequence`, by rising sequence; of one subject if that is given.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`], [`StoreError::Corrupt`].
    async fn entries(
        &self,
        after_sequence: i64,
        limit: u32,
        subject: Option<&str>,
    ) -> Result<Vec<Entry>, StoreError>;

    /// Sequence of the last entry; 0 if there is none.
    ///
    /// Every change has an entry, in the same transaction, and entries become visible in the order of their sequence. So
    /// nothing at all was changed between two readings that give the same number, by whatever process. The number must come
    /// from the database each time, and as of a moment after the call.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn last_sequence(&self) -> Result<i64, StoreError>;
}

/// Hash before the first entry.
pub const GENESIS: [u8; 32] = [0; 32];

impl Entry {
    /// An entry that has no place in the chain yet.
    #[must_use]
    pub fn new(ctx: &WriteContext, subject: String, before: Option<String>, after: Option<String>) -> Self {
        Self {
            sequence: 0,
            entry_us: ctx.now_us,
            actor: ctx.actor.clone(),
            origin: ctx.origin.clone(),
            request_id: ctx.request_id.clone(),
            method: ctx.method.to_owned(),
            subject,
            before,
            after,
            effects: None,
            hash: GENESIS,
        }
    }

    /// The hash that this entry must have if `previous` is the hash of the one before it.
    #[must_use]
    pub fn hash_after(&self, previous: &[u8; 32]) -> [u8; 32] {
        // Destructured without `..`: a new field must get its place in the hash.
        let Self {
            sequence,
            entry_us,
            actor,
            origin,
            request_id,
            method,
            subject,
            before,
            after,
            effects,
            hash: _,
        } = self;
        let mut hasher = Sha256::new();
        hasher.update(if effects.is_some() { b"becket journal 2" } else { b"becket journal 1" });
        hasher.update(previous);
        hasher.update(sequence.to_be_bytes());
        hasher.update(entry_us.to_be_bytes());
        for text in [actor, origin, request_id, method, subject] {
            add_text(&mut hasher, text);
        }
        for json in [before, after] {
            hasher.update([u8::from(json.is_some())]);
            if let Some(json) = json {
                add_text(&mut hasher, json);
            }
        }
        if let Some(effects) = effects {
            add_text(&mut hasher, effects);
        }
        hasher.finalize().into()
    }
}

fn add_text(hasher: &mut Sha256, text: &str) {
    let length = u64::try_from(text.len()).unwrap_or(u64::MAX);
    hasher.update(length.to_be_bytes());
    hasher.update(text.as_bytes());
}

/// Gives entries their places behind the one with `last_sequence` and `last_hash`; 0 and [`GENESIS`] before the first.
pub fn chain(last_sequence: i64, last_hash: [u8; 32], entries: &mut [Entry]) {
    let mut last = (last_sequence, last_hash);
    for entry in entries {
        entry.sequence = last.0.saturating_add(1);
        entry.hash = entry.hash_after(&last.1);
        last = (entry.sequence, entry.hash);
    }
}

/// Sequence of the first entry that does not follow on the one before it: a gap in the sequence or a wrong hash. `None` if the
/// chain is whole. `entries` follow on the entry with `last_sequence` and `last_hash`.
#[must_use]
pub fn first_break(last_sequence: i64, last_hash: &[u8; 32], entries: &[Entry]) -> Option<i64> {
    let mut previous = (last_sequence, *last_hash);
    for entry in entries {
        if entry.sequence != previous.0.saturating_add(1) || entry.hash != entry.hash_after(&previous.1) {
            return Some(entry.sequence);
        }
        previous = (entry.sequence, entry.hash);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ctx() -> WriteContext {
        WriteContext {
            method: "m",
            request_id: "r".to_owned(),
            request_digest: [0; 32],
            actor: "a".to_owned(),
            origin: "o".to_owned(),
            now_us: 5,
        }
    }

    fn chained(n: i64) -> Vec<Entry> {
        let entry = |i| Entry::new(&ctx(), format!("s/{i}"), None, Some("{}".to_owned()));
        let mut entries: Vec<Entry> = (0..n).map(entry).collect();
        chain(0, GENESIS, &mut entries);
        entries
    }

    /// The hash is an interface: whoever checks a journal with another program computes this very one. Value computed with
    /// Python's hashlib from the description above.
    #[test]
    fn hash_is_fixed() {
        let hex: String = chained(1)[0].hash.iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(hex, "8d2be039b0166bce0991dc598861efdda7672b42f1b84fae80bb96b4d420514c");
        let telling = Entry { effects: Some("[]".to_owned()), ..chained(1).remove(0) };
        let hex: String = telling.hash_after(&GENESIS).iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(hex, "1f5271d24cb051c3ad516e9f7b8c33272a1a75bc7a375e48bdbefcba2b990445");
    }

    #[test]
    fn every_field_counts() {
        let base = chained(1).remove(0);
        let changes: [fn(&mut Entry); 12] = [
            |e| e.sequence += 1,
            |e| e.entry_us += 1,
            |e| e.actor.push('x'),
            |e| e.origin.push('x'),
            |e| e.request_id.push('x'),
            |e| e.method.push('x'),
            |e| e.subject.push('x'),
            |e| e.before = Some(String::new()),
            |e| e.after = None,
            |e| e.effects = Some(String::new()),
            |e| e.effects = Some("[]".to_owned()),
            // A letter that moves over the border between two fields.
            |e| (e.actor, e.origin) = (String::new(), "ao".to_owned()),
        ];
        for (i, change) in changes.iter().enumerate() {
            let mut entry = base.clone();
            change(&mut entry);
            assert_ne!(entry.hash_after(&GENESIS), base.hash, "change {i}");
        }
        assert_ne!(base.hash_after(&[1; 32]), base.hash);
    }

    #[test]
    fn breaks_are_found() {
        let good = chained(4);
        assert_eq!(first_break(0, &GENESIS, &good), None);
        assert_eq!(first_break(2, &good[1].hash, &good[2..]), None);
        let mut changed = good.clone();
        changed[1].after = Some("{\"a\":1}".to_owned());
        assert_eq!(first_break(0, &GENESIS, &changed), Some(2));
        let mut removed = good.clone();
        removed.remove(2);
        assert_eq!(first_break(0, &GENESIS, &removed), Some(4));
        let mut swapped = good;
        swapped.swap(0, 1);
        assert_eq!(first_break(0, &GENESIS, &swapped), Some(2));
    }
}
