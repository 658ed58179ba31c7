//! Opening a database.

use std::path::{Path, PathBuf};
use std::time::Duration;

use becket_store::StoreError;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Connection as _, SqlitePool};

use crate::errors::engine;
use crate::news::Newsroom;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// How long a connection waits for a writer of another process.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);
/// How long a call waits for a connection of this process.
const ACQUIRE_TIMEOUT: Duration = Duration::from_secs(10);
const READERS: u32 = 4;
/// Set by the first migration; see there.
const APPLICATION_ID: i64 = 0x6263_6b74;

/// What to do about the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenMode {
    /// Make it; refuse one that is there.
    CreateNew,
    /// Open it; refuse to make it.
    OpenExisting,
    /// Open it, or make it if it is not there.
    OpenOrCreate,
}

/// Why a database cannot be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// The file is there already, but a new one is to be made.
    #[error("{} is there already", .path.display())]
    Exists {
        /// File.
        path: PathBuf,
    },
    /// There is no such file.
    #[error("{} is not there", .path.display())]
    Missing {
        /// File.
        path: PathBuf,
    },
    /// The file is a SQLite database of another program.
    #[error("{} is a database of another program", .path.display())]
    Foreign {
        /// File.
        path: PathBuf,
    },
    /// The file cannot be made or opened as a database.
    #[error("{} cannot be opened", .path.display())]
    Unusable {
        /// File.
        path: PathBuf,
        /// Why.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// The database cannot be brought to this version's form; it may be one of a later version.
    #[error("{} cannot be brought to the form of this version", .path.display())]
    Migration {
        /// File.
        path: PathBuf,
        /// Why.
        #[source]
        source: Box<MigrateError>,
    },
    /// The database has the form of another version of the program.
    #[error("{} has version {found}, and this program reads {needed}", .path.display())]
    OtherVersion {
        /// File.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The version of this program.
        needed: i64,
    },
    /// The checkpoint that this version's journal begins with could not be written.
    #[error("{}: no checkpoint can be written into the journal", .path.display())]
    Checkpoint {
        /// File.
        path: PathBuf,
        /// Why.
        #[source]
        source: Box<StoreError>,
    },
}

/// A database of both services in one SQLite file. Cloning is cheap and gives the same database.
#[derive(Debug, Clone)]
pub struct SqliteStore {
    pub(crate) writer: SqlitePool,
    pub(crate) reader: SqlitePool,
    pub(crate) news: Newsroom,
}

impl SqliteStore {
    /// Opens the database in a file and brings it to this version's form.
    ///
    /// # Errors
    /// [`OpenError`]. A file that was there is unchanged unless it is a becket database.
    pub async fn open(path: &Path, mode: OpenMode) -> Result<Self, OpenError> {
        let exists = prepare(path, mode)?;
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(false)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(BUSY_TIMEOUT);
        if exists {
            refuse_foreign(path, &options).await?;
        }
        let options = options.journal_mode(SqliteJournalMode::Wal);
        let unusable =
            |source: sqlx::Error| OpenError::Unusable { path: path.to_owned(), source: source.into() };
        // Kept for as long as the store lives, so that others can tell that the file is in use.
        let writer = whole(pool(1)).idle_timeout(None).max_lifetime(None);
        let writer = writer.connect_with(options.clone()).await.map_err(unusable)?;
        migrate(path, &writer).await?;
        let reader = pool(READERS).connect_with(options.read_only(true)).await.map_err(unusable)?;
        let store = Self { writer, reader, news: Newsroom::default() };
        let checkpoint = store.checkpoint_if_wanted().await;
        checkpoint
            .map_err(|source| OpenError::Checkpoint { path: path.to_owned(), source: Box::new(source) })?;
        Ok(store)
    }

    /// Opens the database in a file as it is, to be read only: it is not brought to another form, and nothing can be written. Another
    /// process may serve it meanwhile.
    ///
    /// # Errors
    /// [`OpenError`].
    pub async fn open_to_read(path: &Path) -> Result<Self, OpenError> {
        prepare(path, OpenMode::OpenExisting)?;
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(false)
            .busy_timeout(BUSY_TIMEOUT)
            .pragma("query_only", "ON");
        refuse_foreign(path, &options).await?;
        let unusable =
            |source: sqlx::Error| OpenError::Unusable { path: path.to_owned(), source: source.into() };
        let pool = pool(1).connect_with(options).await.map_err(unusable)?;
        let made: Vec<i64> =
            sqlx::query_scalar("SELECT version FROM _sqlx_migrations WHERE success ORDER BY version")
                .fetch_all(&pool)
                .await
                .map_err(unusable)?;
        let known: Vec<i64> = MIGRATIONS.iter().map(|step| step.version).collect();
        let needed = known.last().copied().unwrap_or(0);
        // Up to the first step that is not made, since numbers may be given out of turn.
        let whole = known.iter().take_while(|version| made.contains(version)).last();
        let newest = made.last().copied().unwrap_or(0);
        let found = if newest > needed { newest } else { whole.copied().unwrap_or(0) };
        if found != needed {
            pool.close().await;
            return Err(OpenError::OtherVersion { path: path.to_owned(), found, needed });
        }
        Ok(Self { reader: pool.clone(), writer: pool, news: Newsroom::default() })
    }

    /// Refuses what is no database of this program; nothing is changed.
    pub(crate) async fn refuse_other_files(path: &Path) -> Result<(), OpenError> {
        prepare(path, OpenMode::OpenExisting)?;
        refuse_foreign(path, &SqliteConnectOptions::new().filename(path).create_if_missing(false)).await
    }

    /// Makes a database in memory that lives as long as the store; for tests and demonstrations. Reads wait for writes.
    ///
    /// # Errors
    /// [`OpenError`].
    pub async fn in_memory() -> Result<Self, OpenError> {
        let path = Path::new(":memory:");
        let options = SqliteConnectOptions::new().in_memory(true).foreign_keys(true);
        // The database is the connection: it must stay, and there can be only one.
        let pool = pool(1).idle_timeout(None).max_lifetime(None).min_connections(1);
        let unusable =
            |source: sqlx::Error| OpenError::Unusable { path: path.to_owned(), source: source.into() };
        let writer = pool.connect_with(options).await.map_err(unusable)?;
        migrate(path, &writer).await?;
        Ok(Self { reader: writer.clone(), writer, news: Newsroom::default() })
    }

    /// Versions of the migrations of this program with what each is for, rising.
    #[must_use]
    pub fn migrations() -> Vec<(i64, String)> {
        MIGRATIONS.iter().map(|step| (step.version, step.description.to_string())).collect()
    }

    /// How safely this store writes: the journal mode ("wal"), the level of synchronisation (2 is full: every answer is on the
    /// disk before it is given) and whether references are enforced (1).
    ///
    /// # Errors
    /// Those of the engine.
    pub async fn durability(&self) -> Result<(String, i64, i64), StoreError> {
        let mut db = self.writer.acquire().await.map_err(engine)?;
        let mode = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&mut *db).await.map_err(engine)?;
        let level = sqlx::query_scalar("PRAGMA synchronous").fetch_one(&mut *db).await.map_err(engine)?;
        let references =
            sqlx::query_scalar("PRAGMA foreign_keys").fetch_one(&mut *db).await.map_err(engine)?;
        Ok((mode, level, references))
    }

    /// Waits for running calls and closes all connections; the write-ahead file is folded into the database.
    pub async fn close(&self) {
        // The last connection folds the write-ahead file in, and only one that may write can.
        self.reader.close().await;
        self.writer.close().await;
    }
}

fn pool(connections: u32) -> SqlitePoolOptions {
    SqlitePoolOptions::new()
        .max_connections(connections)
        .acquire_timeout(ACQUIRE_TIMEOUT)
        // A connection to a file does not break while it rests, and asking it would cost as much as a short query.
        .test_before_acquire(false)
}

/// Replaces a connection that is left in a transaction. When the disk is full the engine undoes a transaction by itself
/// (<https://www.sqlite.org/lang_transaction.html>, "Response To Errors Within A Transaction"), which the driver does not
/// learn: it would refuse to begin another one for ever.
fn whole(pool: SqlitePoolOptions) -> SqlitePoolOptions {
    pool.before_acquire(|db, _| Box::pin(async move { Ok(!db.is_in_transaction()) }))
}

/// Makes the file where it must be made. Returns whether it was there before.
fn prepare(path: &Path, mode: OpenMode) -> Result<bool, OpenError> {
    let name = || path.to_owned();
    match (mode, path.exists()) {
        (OpenMode::OpenExisting, false) => return Err(OpenError::Missing { path: name() }),
        (OpenMode::OpenExisting | OpenMode::OpenOrCreate, true) => return Ok(true),
        (OpenMode::CreateNew, _) | (OpenMode::OpenOrCreate, false) => {}
    }
    // Made here and not by the engine, so that of two that make it at the same time only one succeeds.
    match std::fs::OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(_) => Ok(false),
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists && mode == OpenMode::OpenOrCreate => Ok(true),
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => Err(OpenError::Exists { path: name() }),
        Err(source) => Err(OpenError::Unusable { path: name(), source: source.into() }),
    }
}

/// Looks into a file before anything is changed in it. An empty one, as an interrupted start leaves it, is ours.
async fn refuse_foreign(path: &Path, options: &SqliteConnectOptions) -> Result<(), OpenError> {
    let unusable = |source: sqlx::Error| OpenError::Unusable { path: path.to_owned(), source: source.into() };
    let looker = pool(1).connect_with(options.clone()).await.map_err(unusable)?;
    let found: Result<(i64, i64), sqlx::Error> = sqlx::query_as(
        "SELECT (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)",
    )
    .fetch_one(&looker)
    .await;
    looker.close().await;
    let (application_id, things) = found.map_err(unusable)?;
    if application_id == APPLICATION_ID || (application_id == 0 && (things == 0 || is_begun(things))) {
        return Ok(());
    }
    Err(OpenError::Foreign { path: path.to_owned() })
}

/// A start that was killed after the table of migrations was made and before the first of them leaves one table.
fn is_begun(things: i64) -> bool {
    things <= 2
}

async fn migrate(path: &Path, writer: &SqlitePool) -> Result<(), OpenError> {
    MIGRATIONS
        .run(writer)
        .await
        .map_err(|source| OpenError::Migration { path: path.to_owned(), source: Box::new(source) })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]

    use becket_store::{Document, NewWire, StringStore as _, WriteContext, Written};

    use super::*;

    async fn import(store: &SqliteStore, id: &str, bytes: usize) -> Result<Written, StoreError> {
        let ctx = WriteContext {
            method: "test",
            request_id: id.to_owned(),
            request_digest: [1; 32],
            actor: String::new(),
            origin: String::new(),
            now_us: 1,
        };
        let document = Document { bytes: vec![7; bytes], json: "{}".to_owned() };
        let wire = NewWire { wire_id: id.to_owned(), material: 1, document };
        store.import_wires(&ctx, vec![wire], Box::new(|_| Vec::new())).await
    }

    /// A database that may not grow is full as on a full disk.
    #[tokio::test]
    async fn writes_go_on_after_the_disk_was_full() {
        let dir = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(&dir.path().join("a.db"), OpenMode::CreateNew).await.unwrap();
        for id in ["first", "second"] {
            let mut db = store.writer.acquire().await.unwrap();
            let pages: i64 = sqlx::query_scalar("PRAGMA page_count").fetch_one(&mut *db).await.unwrap();
            let full = format!("PRAGMA max_page_count = {pages}");
            sqlx::raw_sql(sqlx::AssertSqlSafe(full)).execute(&mut *db).await.unwrap();
            drop(db);
            let refused = import(&store, id, 1 << 20).await;
            assert!(matches!(refused, Err(StoreError::Unavailable(_))), "{refused:?}");
            let mut db = store.writer.acquire().await.unwrap();
            sqlx::raw_sql("PRAGMA max_page_count = 1000000").execute(&mut *db).await.unwrap();
            drop(db);
            assert!(!import(&store, id, 1 << 20).await.unwrap().repeated, "nothing was stored before");
            assert!(import(&store, id, 1 << 20).await.unwrap().repeated);
        }
        store.close().await;
    }
}
