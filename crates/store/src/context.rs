//! What every read and write has in common.

use async_trait::async_trait;

use crate::error::StoreError;

/// Who writes, when, and under which request id.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WriteContext {
    /// Method, such as "becket.cutting.v1.CutListService/ConfirmStep".
    pub method: &'static str,
    /// Request id of the call, chosen by the caller.
    pub request_id: String,
    /// SHA-256 of the request without its request id.
    pub request_digest: [u8; 32],
    /// Who makes the change, as the caller says; may be empty.
    pub actor: String,
    /// Address of the peer.
    pub origin: String,
    /// The time, in µs since 1970 (UTC).
    pub now_us: i64,
}

/// Makes the bytes of the answer from the outcome of a write. It runs within the write's transaction, so it must be quick.
pub type Answer<T> = Box<dyn FnOnce(&T) -> Vec<u8> + Send>;

/// What a write gives back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The bytes that [`Answer`] made, now or when the request id was first used.
    pub answer: Vec<u8>,
    /// Whether this was a repeat, which changed nothing.
    pub repeated: bool,
}

/// A message of the API as state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    /// The encoded message.
    pub bytes: Vec<u8>,
    /// The same as a JSON object, for the journal.
    pub json: String,
}

/// A stored document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// The encoded message.
    pub bytes: Vec<u8>,
    /// Version, from 1; serves as etag.
    pub version: i64,
    /// When it was created, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it was last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// What of something that is kept for some time may be dropped: first answers to requests, events that could not be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outdated {
    /// The time, in µs since 1970 (UTC). An engine that has a clock of its own takes the earlier of the two times, so that one clock that jumps
    /// ahead drops nothing too soon.
    pub now_us: i64,
    /// How long everything is kept, in µs.
    pub kept_us: i64,
    /// How many of the newest are kept besides, whatever any clock says; at least 1.
    pub newest_kept: u32,
    /// How many are dropped at most.
    pub most: u32,
}

impl Outdated {
    /// What was kept before this time is old, in µs since 1970 (UTC).
    #[must_use]
    pub fn before_us(&self) -> i64 {
        self.now_us.saturating_sub(self.kept_us)
    }
}

/// What was heard of commits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum News {
    /// These things were changed, as the journal names them: "cutLists/L-0007".
    Subjects(Vec<String>),
    /// Anything may have changed: too much to name, or some news were missed.
    Anything,
}

/// Hears of commits of this process and, if the engine can tell, of others. It wakes readers early; news may be missed, so
/// whoever must see every change also looks from time to time, and reads the journal from where it stood.
#[async_trait]
pub trait Listener: Send {
    /// Waits for the next news. May be dropped before it is ready without missing any.
    async fn next(&mut self) -> News;
}

/// A listener that never hears anything.
struct Deaf;

#[async_trait]
impl Listener for Deaf {
    async fn next(&mut self) -> News {
        std::future::pending().await
    }
}

/// What every engine can do, whatever it stores.
#[async_trait]
pub trait Engine: Send + Sync {
    /// The answer that was given to this caller, method and request id, if any, with the same request digest. Lets a
    /// caller skip the work before a write; the write checks again.
    ///
    /// # Errors
    /// [`StoreError::RequestIdReused`] if the digest is another one; [`StoreError::AnswerDropped`] if the request made an entry of the
    /// journal and its answer is no longer kept.
    async fn find_answer(&self, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError>;

    /// Drops the oldest of the answers that need no longer be kept, and returns how many; 0 if there are none, or if another process is
    /// at it. No write waits for it longer than for another write.
    ///
    /// A request whose answer was dropped is known by its entry in the journal, and is refused with [`StoreError::AnswerDropped`] if it comes
    /// again. One that changed nothing has no entry, and is a new request if it comes again.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn drop_answers(&self, old: &Outdated) -> Result<u64, StoreError>;

    /// The secret key of this database for page tokens, made at random when it was created.
    ///
    /// # Errors
    /// [`StoreError::Unavailable`], [`StoreError::Corrupt`].
    async fn token_key(&self) -> Result<[u8; 32], StoreError>;

    /// Reads and writes nothing of note, and fails if that cannot be done. For health.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn check(&self) -> Result<(), StoreError>;

    /// Begins to hear of commits. An engine that cannot tell of them gives a listener that hears nothing.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Unavailable`].
    async fn changes(&self) -> Result<Box<dyn Listener>, StoreError> {
        Ok(Box::new(Deaf))
    }
}
