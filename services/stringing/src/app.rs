//! What all use cases share.

use std::sync::Arc;

use becket_api::tokens::PageTokens;
use becket_service_kit::{Clock, ComputePool};
use becket_store::{JournalStore, ScaleStanding, StoreError, StringStore};
use futures_util::FutureExt;

use crate::answer_cache::AnswerCache;
use crate::shared_reading::SharedReading;
use crate::use_cases::SetBasis;

/// Bytes of answers that are kept: some 400 sets of 240 strings.
const SETS_BYTES: usize = 64 << 20;
/// Bytes of answers without a serial that are kept.
const COMPUTED_BYTES: usize = 32 << 20;

/// What the service keeps its things in.
pub trait Storage: StringStore + JournalStore + 'static {}

impl<T: StringStore + JournalStore + 'static> Storage for T {}

/// What all use cases share.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Storage>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) tokens: PageTokens,
    pub(crate) pool: ComputePool,
    /// The last sequence of the journal.
    last_sequence: SharedReading<i64>,
    /// Answers to GetStringSet, by serial.
    pub(crate) sets: AnswerCache<String, SetBasis>,
    /// Answers to ComputeStringSet, by the digest of the request.
    pub(crate) computed_sets: AnswerCache<[u8; 32], ScaleStanding>,
}

impl App {
    pub(crate) async fn new(
        store: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        max_computations: usize,
    ) -> Result<Self, StoreError> {
        let tokens = PageTokens::new(store.token_key().await?);
        let pool = ComputePool::new(max_computations);
        let (sets, computed_sets) = (AnswerCache::new(SETS_BYTES), AnswerCache::new(COMPUTED_BYTES));
        let last_sequence = SharedReading::new({
            let store = Arc::clone(&store);
            move || {
                let store = Arc::clone(&store);
                async move { store.last_sequence().await.ok() }.boxed()
            }
        });
        Ok(Self { store, clock, tokens, pool, last_sequence, sets, computed_sets })
    }

    /// The last sequence of the journal, read after this call began: in the same state of the journal everything else in the
    /// store is the same too.
    pub(crate) async fn last_sequence(&self) -> Result<i64, StoreError> {
        match self.last_sequence.get().await {
            Some(sequence) => Ok(sequence),
            // Asked again by this call itself, which learns what is the matter.
            None => self.store.last_sequence().await,
        }
    }
}
