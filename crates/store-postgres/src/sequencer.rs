//! Giving entries their places in the journal.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use becket_store::tables::{Columns, bytes_32};
use becket_store::{Entry, StoreError, journal};
use sqlx::postgres::PgRow;
use sqlx::{PgConnection, PgPool};
use tokio::sync::Notify;
use tokio::task::JoinHandle;

use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::news;

/// Entries that are moved in one transaction.
const BATCH: usize = 500;
/// Entries of a replica that ended between its commit and the move are found after this time.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Rest between two moves: what is written meanwhile is moved together, which spares the database most of the work when much is written, and
/// readers are told later by no more than this.
const PACE: Duration = Duration::from_millis(5);
/// How long to rest when the database does not answer.
const REST: Duration = Duration::from_millis(500);

/// The task of this replica that moves entries from the inbox into the journal. It ends when this is dropped.
#[derive(Debug)]
pub(crate) struct Sequencer {
    wake: Arc<Notify>,
    task: JoinHandle<()>,
}

impl Sequencer {
    pub(crate) fn start(pool: PgPool) -> Self {
        let wake = Arc::new(Notify::new());
        let task = tokio::spawn(run(pool, Arc::clone(&wake)));
        Self { wake, task }
    }

    /// Tells that there is something to move.
    pub(crate) fn wake(&self) {
        self.wake.notify_one();
    }

    /// Ends the task.
    pub(crate) fn stop(&self) {
        self.task.abort();
    }
}

impl Drop for Sequencer {
    fn drop(&mut self) {
        self.stop();
    }
}

async fn run(pool: PgPool, wake: Arc<Notify>) {
    loop {
        // Woken or not, it looks: whoever wrote may be another replica.
        drop(tokio::time::timeout(LOOK_EVERY, wake.notified()).await);
        match move_all(&pool).await {
            Ok(()) => tokio::time::sleep(PACE).await,
            Err(error) => {
                tracing::debug!(%error, "entries could not be moved into the journal yet");
                tokio::time::sleep(REST).await;
                wake.notify_one();
            }
        }
    }
}

/// Moves everything that is committed from the inbox into the journal.
pub(crate) async fn move_all(pool: &PgPool) -> Result<(), StoreError> {
    loop {
        let waiting: bool = sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM journal_inbox)")
            .fetch_one(pool)
            .await
            .map_err(engine)?;
        if !waiting {
            return Ok(());
        }
        let mut tx =
            pool.begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE").await.map_err(engine)?;
        let moved = move_batch(&mut tx).await?;
        tx.commit().await.map_err(engine)?;
        if moved < BATCH {
            return Ok(());
        }
    }
}

/// Moves up to [`BATCH`] entries; returns how many.
async fn move_batch(db: &mut PgConnection) -> Result<usize, StoreError> {
    // Waits for another one that moves; what it has moved is then no longer seen by the next statement.
    let (sequence, hash): (i64, Vec<u8>) =
        sqlx::query_as("SELECT sequence, hash FROM journal_head FOR UPDATE")
            .fetch_one(&mut *db)
            .await
            .map_err(engine)?;
    // Whole writes: whose entries are moved is told by the transactions of the oldest ones.
    let rows = sqlx::query(
        "DELETE FROM journal_inbox WHERE xmin IN (SELECT xmin FROM journal_inbox ORDER BY id LIMIT $1) \
         RETURNING *, xmin::text AS writer",
    )
    .bind(i64::try_from(BATCH).unwrap_or(i64::MAX))
    .fetch_all(&mut *db)
    .await
    .map_err(engine)?;
    let mut entries = write_by_write(rows)?;
    journal::chain(sequence, bytes_32(hash)?, &mut entries);
    append(db, &entries).await?;
    Ok(entries.len())
}

/// Entries of rows of the inbox, which name their transaction as `writer`: write by write, in the order of the first entry of each. Two
/// writes that touch different things take ids in turns, and each is to be read in one piece.
pub(crate) fn write_by_write(rows: Vec<PgRow>) -> Result<Vec<Entry>, StoreError> {
    let mut waiting =
        each(rows, |row| Ok((row.integer("id")?, row.text("writer")?, entry_without_place(row)?)))?;
    waiting.sort_unstable_by_key(|(id, _, _)| *id);
    let mut first_of: HashMap<String, i64> = HashMap::new();
    for (id, writer, _) in &waiting {
        first_of.entry(writer.clone()).or_insert(*id);
    }
    // Stable, so that within a write the order of the ids stays.
    waiting.sort_by_key(|(_, writer, _)| first_of.get(writer).copied());
    Ok(waiting.into_iter().map(|(_, _, entry)| entry).collect())
}

fn entry_without_place(row: &Cells) -> Result<Entry, StoreError> {
    Ok(Entry {
        sequence: 0,
        entry_us: row.integer("entry_us")?,
        actor: row.text("actor")?,
        origin: row.text("origin")?,
        request_id: row.text("request_id")?,
        method: row.text("method")?,
        subject: row.text("subject")?,
        before: row.optional_text("before_json")?,
        after: row.optional_text("after_json")?,
        effects: row.optional_text("effects_json")?,
        hash: journal::GENESIS,
    })
}

/// Adds entries that have their places, moves the head, and sends the news.
async fn append(db: &mut PgConnection, entries: &[Entry]) -> Result<(), StoreError> {
    let Some(last) = entries.last() else { return Ok(()) };
    let texts = |text: fn(&Entry) -> &str| -> Vec<&str> { entries.iter().map(text).collect() };
    let numbers = |number: fn(&Entry) -> i64| -> Vec<i64> { entries.iter().map(number).collect() };
    let json = |text: fn(&Entry) -> Option<&str>| -> Vec<Option<&str>> { entries.iter().map(text).collect() };
    let hashes: Vec<&[u8]> = entries.iter().map(|entry| entry.hash.as_slice()).collect();
    let subjects = texts(|entry| &entry.subject);
    let payload = news::payload(&subjects);
    sqlx::query(
        "WITH added AS (INSERT INTO journal (sequence, entry_us, actor, origin, request_id, method, subject, \
         before_json, after_json, hash, effects_json) SELECT * FROM UNNEST($1::bigint[], $2::bigint[], $3::text[], $4::text[], \
         $5::text[], $6::text[], $7::text[], $8::text[], $9::text[], $10::bytea[], $11::text[])), \
         moved AS (UPDATE journal_head SET sequence = $12, hash = $13 RETURNING 1) \
         SELECT pg_notify($14, $15) FROM moved",
    )
    .bind(numbers(|entry| entry.sequence))
    .bind(numbers(|entry| entry.entry_us))
    .bind(texts(|entry| &entry.actor))
    .bind(texts(|entry| &entry.origin))
    .bind(texts(|entry| &entry.request_id))
    .bind(texts(|entry| &entry.method))
    .bind(subjects)
    .bind(json(|entry| entry.before.as_deref()))
    .bind(json(|entry| entry.after.as_deref()))
    .bind(hashes)
    .bind(json(|entry| entry.effects.as_deref()))
    .bind(last.sequence)
    .bind(last.hash.as_slice())
    .bind(news::CHANNEL)
    .bind(payload)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(())
}
