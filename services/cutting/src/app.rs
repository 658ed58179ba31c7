//! What all use cases share.

use std::sync::Arc;

use becket_api::tokens::PageTokens;
use becket_service_kit::{Clock, ComputePool};
use becket_store::{CutStore, JournalStore, StoreError};

use crate::changes::{Following, ListChanges};
use crate::seen::Seen;
use crate::turns::Turns;
use crate::upstream::StringingClient;

/// What the service keeps its things in.
pub trait Storage: CutStore + JournalStore + 'static {}

impl<T: CutStore + JournalStore + 'static> Storage for T {}

/// What all use cases share.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Storage>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) tokens: PageTokens,
    pub(crate) pool: ComputePool,
    pub(crate) stringing: StringingClient,
    /// Tells watchers which list has changed.
    pub(crate) changes: ListChanges,
    /// Passes on to watchers what other replicas change.
    _following: Following,
    /// Lets the calls that change one list take turns.
    pub(crate) turns: Turns,
    /// Lists as they were confirmed last.
    pub(crate) seen: Seen,
}

impl App {
    pub(crate) async fn new(
        store: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        stringing: StringingClient,
        max_computations: usize,
    ) -> Result<Self, StoreError> {
        let changes = ListChanges::default();
        Ok(Self {
            _following: Following::start(Arc::clone(&store), changes.clone()),
            tokens: PageTokens::new(store.token_key().await?),
            pool: ComputePool::new(max_computations),
            changes,
            turns: Turns::default(),
            seen: Seen::default(),
            store,
            clock,
            stringing,
        })
    }
}
