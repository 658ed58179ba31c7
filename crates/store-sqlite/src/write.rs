//! One write: one transaction, with its journal rows and the record of its answer.

use becket_store::{Answer, StoreError, WriteContext, Written};
use sqlx::{Sqlite, SqliteConnection, Transaction};

use crate::SqliteStore;
use crate::errors::engine;
use crate::idempotency;
use crate::journal::Tail;

/// How a write begins.
pub(crate) enum Begun<'a> {
    /// The request was answered before, with this.
    Repeat(Written),
    /// The work is to be done.
    New(Box<Write<'a>>),
}

/// A write in progress. Dropped before [`finish`](Self::finish), it leaves nothing.
pub(crate) struct Write<'a> {
    tx: Transaction<'static, Sqlite>,
    tail: Option<Tail>,
    pub(crate) ctx: &'a WriteContext,
}

impl SqliteStore {
    pub(crate) async fn begin<'a>(&self, ctx: &'a WriteContext) -> Result<Begun<'a>, StoreError> {
        let mut tx = self.writer.begin_with("BEGIN IMMEDIATE").await.map_err(engine)?;
        if let Some(answer) = idempotency::find(&mut tx, ctx).await? {
            return Ok(Begun::Repeat(Written { answer, repeated: true }));
        }
        Ok(Begun::New(Box::new(Write { tx, tail: None, ctx })))
    }
}

impl Write<'_> {
    /// The connection within the transaction.
    pub(crate) fn db(&mut self) -> &mut SqliteConnection {
        &mut self.tx
    }

    /// Adds a row to the journal.
    pub(crate) async fn journal(
        &mut self,
        subject: String,
        before: Option<String>,
        after: Option<String>,
    ) -> Result<(), StoreError> {
        let tail = match self.tail.take() {
            Some(tail) => tail,
            None => Tail::read(&mut self.tx).await?,
        };
        self.tail = Some(tail.append(&mut self.tx, self.ctx, subject, before, after).await?);
        Ok(())
    }

    /// Stores the answer and makes everything last.
    pub(crate) async fn finish<T>(mut self, outcome: &T, answer: Answer<T>) -> Result<Written, StoreError> {
        let answer = answer(outcome);
        idempotency::keep(&mut self.tx, self.ctx, &answer).await?;
        self.tx.commit().await.map_err(engine)?;
        Ok(Written { answer, repeated: false })
    }
}

/// Begins a write, or returns the first answer from the calling function.
macro_rules! begin {
    ($store:expr, $ctx:expr) => {
        match $store.begin($ctx).await? {
            $crate::write::Begun::Repeat(written) => return Ok(written),
            $crate::write::Begun::New(write) => *write,
        }
    };
}
pub(crate) use begin;
