//! One write: one transaction, with its journal rows and the record of its answer.

use becket_store::effect::Effect;
use becket_store::tables::{Told, Writing};
use becket_store::{Answer, StoreError, WriteContext, Written};
use sqlx::{Sqlite, SqliteConnection, Transaction};

use crate::SqliteStore;
use crate::errors::engine;
use crate::news::Newsroom;
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
    tx: Transaction<'static, Sqlite>,
    told: Told,
    news: Newsroom,
    pub(crate) ctx: &'a WriteContext,
}

impl SqliteStore {
    pub(crate) async fn begin<'a>(&self, ctx: &'a WriteContext) -> Result<Begun<'a>, StoreError> {
        let mut tx = self.writer.begin_with("BEGIN IMMEDIATE").await.map_err(engine)?;
        if let Some(answer) = idempotency::find(&mut tx, ctx).await? {
            return Ok(Begun::Repeat(Written { answer, repeated: true }));
        }
        Ok(Begun::New(Box::new(Write { tx, told: Told::default(), news: self.news.clone(), ctx })))
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
    pub(crate) fn db(&mut self) -> &mut SqliteConnection {
        &mut self.tx
    }

    /// Stores journal and answer and makes everything last.
    pub(crate) async fn finish<T>(mut self, outcome: &T, answer: Answer<T>) -> Result<Written, StoreError> {
        let subjects = journal::append(&mut self.tx, self.ctx, self.told).await?;
        let answer = answer(outcome);
        idempotency::keep(&mut self.tx, self.ctx, &answer).await?;
        self.tx.commit().await.map_err(engine)?;
        if !subjects.is_empty() {
            self.news.tell(subjects);
        }
        Ok(Written { answer, repeated: false })
    }
}

/// Does a write of [`becket_store::tables`], or gives the first answer to a repeated one.
macro_rules! run {
    ($store:expr, $ctx:expr, $answer:expr, |$tables:ident| $work:expr) => {{
        let mut write = match $store.begin($ctx).await? {
            $crate::write::Begun::Repeat(written) => return Ok(written),
            $crate::write::Begun::New(write) => *write,
        };
        let outcome = {
            let $tables = &mut write;
            $work.await?
        };
        write.finish(&outcome, $answer).await
    }};
}
pub(crate) use run;
