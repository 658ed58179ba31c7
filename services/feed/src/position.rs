//! Where a reader stands in the journal, and whether what lies behind is still told.

use becket_api::digest::hex;
use becket_api::feed::StartPosition;
use becket_store::{Entry, JournalStore, StoreError};

use crate::error::FeedError;

/// Digits of an entry's hash that a token carries: enough to tell two journals apart, which is no matter of secrecy.
const HASH_DIGITS: usize = 16;

/// Behind which entry a reader goes on. The hash tells whether the journal still is the one that the reader saw: after a backup is
/// restored, the same sequence may be given to another change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Position {
    /// Sequence of the entry; 0 before the first.
    pub(crate) sequence: i64,
    /// Digits of its hash; empty before the first.
    hash: String,
}

impl Position {
    /// Behind an entry.
    pub(crate) fn behind(entry: &Entry) -> Self {
        Self { sequence: entry.sequence, hash: hex(&entry.hash).chars().take(HASH_DIGITS).collect() }
    }

    /// Before the first entry.
    fn origin() -> Self {
        Self { sequence: 0, hash: String::new() }
    }

    /// As text within a token.
    pub(crate) fn cursor(&self) -> String {
        format!("{} {}", self.sequence, self.hash)
    }

    /// What [`cursor`](Self::cursor) gave.
    pub(crate) fn read(cursor: &str) -> Option<Self> {
        let (sequence, hash) = cursor.split_once(' ')?;
        Some(Self { sequence: sequence.parse().ok()?, hash: hash.to_owned() })
    }

    /// Where a reader without a token begins. `oldest_us` is the time from which on events are told.
    pub(crate) async fn start(
        store: &dyn JournalStore,
        position: StartPosition,
        oldest_us: i64,
    ) -> Result<Self, StoreError> {
        let sequence = match position {
            StartPosition::Now => store.last_sequence().await?,
            _ => last_older(store, oldest_us).await?,
        };
        Ok(at(store, sequence).await?.map_or_else(Self::origin, |entry| Self::behind(&entry)))
    }

    /// Checks that everything behind the position is still told.
    pub(crate) async fn check(&self, store: &dyn JournalStore, oldest_us: i64) -> Result<(), FeedError> {
        let known = match self.sequence {
            0 => true,
            sequence => at(store, sequence).await?.is_some_and(|entry| Self::behind(&entry) == *self),
        };
        if !known {
            return Err(FeedError::Expired("the journal does not hold the entry for which it was given"));
        }
        let next = store.entries(self.sequence, 1, None).await?;
        if next.first().is_some_and(|entry| entry.entry_us < oldest_us) {
            return Err(FeedError::Expired("they are older than the setting feed.retention"));
        }
        Ok(())
    }
}

/// One entry; none for a sequence that is not there.
async fn at(store: &dyn JournalStore, sequence: i64) -> Result<Option<Entry>, StoreError> {
    let found = store.entries(sequence.saturating_sub(1).max(0), 1, None).await?;
    Ok(found.into_iter().next().filter(|entry| entry.sequence == sequence))
}

/// Sequence of the last entry before `oldest_us`; 0 if there is none. Times rise with sequences but for the length of a write, so halving
/// finds it to within that.
async fn last_older(store: &dyn JournalStore, oldest_us: i64) -> Result<i64, StoreError> {
    let (mut older, mut newer) = (0, store.last_sequence().await?.saturating_add(1));
    while newer - older > 1 {
        let middle = older + (newer - older) / 2;
        match at(store, middle).await? {
            Some(entry) if entry.entry_us < oldest_us => older = middle,
            _ => newer = middle,
        }
    }
    Ok(older)
}
