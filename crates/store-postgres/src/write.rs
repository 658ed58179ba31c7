//! One write: one transaction, with its journal rows and the record of its answer.

use std::sync::Arc;

use becket_store::effect::Effect;
use becket_store::tables::{Told, Writing};
use becket_store::{Answer, StoreError, WriteContext, Written};
use sqlx::{PgConnection, Postgres, Transaction};
use tokio::time::Instant;

use crate::PostgresStore;
use crate::errors::engine;
use crate::sequencer::Sequencer;
use crate::{idempotency, journal};

/// How a write begins.
pub(crate) enum Begun<'a> {
    /// The request was answered before, with this.
    Repeat(Written),
    /// The work is to be done.
    New(Box<Write<'a>>),
}

/// A write in progress. Dropped before [`finish`](Self::finish), it leaves nothing.
pub(crate) struct Write<'a> {
    tx: Transaction<'static, Postgres>,
    told: Told,
    sequencer: Arc<Sequencer>,
    pub(crate) ctx: &'a WriteContext,
}

/// What is added by one write at a time. The numbers are those of advisory locks and tell nothing.
#[derive(Clone, Copy)]
pub(crate) enum Turn {
    Lists = 0x6263_0001,
    WindingOrders = 0x6263_0002,
    Wires = 0x6263_0003,
    Coils = 0x6263_0004,
    OldAnswers = 0x6263_0005,
}

/// The attempts at one write.
pub(crate) struct Attempts {
    made: u32,
    begun: Instant,
}

impl Attempts {
    pub(crate) fn new() -> Self {
        Self { made: 1, begun: Instant::now() }
    }
}

impl PostgresStore {
    pub(crate) async fn begin<'a>(&self, ctx: &'a WriteContext) -> Result<Begun<'a>, StoreError> {
        // Said in full, whatever the server's defaults are.
        let mut tx = self
            .writer
            .begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            .await
            .map_err(engine)?;
        match idempotency::claim(&mut tx, ctx).await? {
            Some(answer) => Ok(Begun::Repeat(Written { answer, repeated: true })),
            None => {
                let sequencer = Arc::clone(&self.sequencer);
                Ok(Begun::New(Box::new(Write { tx, told: Told::default(), sequencer, ctx })))
            }
        }
    }

    /// Waits until a write that met others may be tried again; gives its error back if it may not.
    pub(crate) async fn pause(
        &self,
        attempts: &mut Attempts,
        ctx: &WriteContext,
        error: StoreError,
    ) -> Result<(), StoreError> {
        let more =
            attempts.made < self.options.attempts && attempts.begun.elapsed() < self.options.attempts_within;
        if !(more && matches!(error, StoreError::Busy)) {
            return Err(error);
        }
        attempts.made += 1;
        tracing::debug!(method = ctx.method, attempt = attempts.made, "a write met others and is done again");
        tokio::time::sleep(self.options.pause_before(attempts.made, &ctx.request_id)).await;
        Ok(())
    }
}

impl Writing for Write<'_> {
    fn now_us(&self) -> i64 {
        self.ctx.now_us
    }

    fn actor(&self) -> &str {
        &self.ctx.actor
    }

    fn effect(&mut self, effect: Effect) {
        self.told.effect(effect);
    }

    fn tell(&mut self, subject: String, before: Option<String>, after: Option<String>) {
        self.told.add(subject, before, after);
    }
}

impl Write<'_> {
    /// The connection within the transaction.
    pub(crate) fn db(&mut self) -> &mut PgConnection {
        &mut self.tx
    }

    /// Waits until no other write adds such things, and keeps others from it until this one has ended.
    pub(crate) async fn take_turns(&mut self, turn: Turn) -> Result<(), StoreError> {
        sqlx::query("SELECT pg_advisory_xact_lock($1)")
            .bind(turn as i64)
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }

    /// Gives the work up, and waits until its locks are free.
    pub(crate) async fn undo(self) {
        // If even that fails, the connection is closed, which undoes the work, too.
        if let Err(error) = self.tx.rollback().await {
            tracing::debug!(%error, "a transaction could not be rolled back");
        }
    }

    /// Stores answer and journal and makes everything last. The journal comes last: its ids are taken when all locks are held.
    pub(crate) async fn finish<T>(mut self, outcome: &T, answer: Answer<T>) -> Result<Written, StoreError> {
        let answer = answer(outcome);
        idempotency::keep(&mut self.tx, self.ctx, &answer).await?;
        journal::put(&mut self.tx, self.ctx, self.told).await?;
        self.tx.commit().await.map_err(engine)?;
        self.sequencer.wake();
        Ok(Written { answer, repeated: false })
    }
}

/// Does a write of [`becket_store::tables`], again if it met others, or gives the first answer to a repeated one.
macro_rules! run {
    ($store:expr, $ctx:expr, $answer:expr, |$tables:ident| $work:expr) => {{
        let mut attempts = $crate::write::Attempts::new();
        loop {
            let mut write = match $store.begin($ctx).await {
                Ok($crate::write::Begun::Repeat(written)) => break Ok(written),
                Ok($crate::write::Begun::New(write)) => *write,
                Err(error) => {
                    $store.pause(&mut attempts, $ctx, error).await?;
                    continue;
                }
            };
            let outcome = {
                let $tables = &mut write;
                $work.await
            };
            match outcome {
                Ok(outcome) => break write.finish(&outcome, $answer).await,
                Err(error) => {
                    write.undo().await;
                    $store.pause(&mut attempts, $ctx, error).await?;
                }
            }
        }
    }};
}
pub(crate) use run;
