//! The limit: durable transactions of one row on the same engine, by as many clients, with nothing else in them.

use std::time::{Duration, Instant};

use sqlx::postgres::{PgPool, PgPoolOptions};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};

use super::shop::Replicas;
use super::{Sample, gathered};
use crate::Failure;

/// Characters of a row, about those of a step and its entry in the journal.
const ROW: usize = 300;
const TABLE: &str = "CREATE TABLE bare (id TEXT PRIMARY KEY, content TEXT NOT NULL)";
const INSERT: &str = "INSERT INTO bare VALUES ($1, $2)";

/// A table of its own, in the database of the replicas or in a file beside theirs.
#[derive(Debug, Clone)]
pub(super) enum Bare {
    Sqlite(SqlitePool),
    Postgres(PgPool),
}

impl Bare {
    pub(super) async fn open(replicas: &Replicas) -> Result<Self, Failure> {
        if let Some(url) = &replicas.database {
            // As many connections as the default gives a replica.
            let pool = PgPoolOptions::new().max_connections(8).connect(url).await?;
            sqlx::query(TABLE).execute(&pool).await?;
            return Ok(Self::Postgres(pool));
        }
        let options = SqliteConnectOptions::new()
            .filename(replicas.folder.path().join("bare.db"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full);
        let pool = SqlitePoolOptions::new().max_connections(1).connect_with(options).await?;
        sqlx::query(TABLE).execute(&pool).await?;
        Ok(Self::Sqlite(pool))
    }

    pub(super) async fn measure(&self, clients: usize, slice: Duration) -> Result<Sample, Failure> {
        let begun = Instant::now();
        let calling = (0..clients)
            .map(|client| {
                let bare = self.clone();
                tokio::spawn(async move {
                    let mut sample = Sample::new()?;
                    while begun.elapsed() < slice {
                        let sent = Instant::now();
                        bare.write(format!("{client}-{}-{:?}", sample.calls, begun)).await?;
                        sample.record(sent);
                    }
                    Ok(sample)
                })
            })
            .collect();
        gathered(calling, begun).await
    }

    async fn write(&self, id: String) -> Result<(), Failure> {
        let content = "x".repeat(ROW);
        match self {
            Self::Sqlite(pool) => {
                let mut tx = pool.begin_with("BEGIN IMMEDIATE").await?;
                sqlx::query(INSERT).bind(id).bind(content).execute(&mut *tx).await?;
                tx.commit().await?;
            }
            Self::Postgres(pool) => {
                let mut tx = pool.begin().await?;
                sqlx::query(INSERT).bind(id).bind(content).execute(&mut *tx).await?;
                tx.commit().await?;
            }
        }
        Ok(())
    }

    pub(super) async fn close(&self) {
        match self {
            Self::Sqlite(pool) => pool.close().await,
            Self::Postgres(pool) => pool.close().await,
        }
    }
}
