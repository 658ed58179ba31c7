//! What all use cases share.

use std::sync::Arc;

use becket_api::tokens::PageTokens;
use becket_service_kit::{Clock, ComputePool};
use becket_store::{JournalStore, StoreError, StringStore};

use crate::set_cache::SetCache;

/// What the service keeps its things in.
pub trait Storage: StringStore + JournalStore + 'static {}

impl<T: StringStore + JournalStore + 'static> Storage for T {}

/// What all use cases share.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Storage>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) tokens: PageTokens,
    pub(crate) pool: ComputePool,
    pub(crate) sets: SetCache,
}

impl App {
    pub(crate) async fn new(
        store: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        max_computations: usize,
    ) -> Result<Self, StoreError> {
        let tokens = PageTokens::new(store.token_key().await?);
        let pool = ComputePool::new(max_computations);
        Ok(Self { store, clock, tokens, pool, sets: SetCache::default() })
    }
}
