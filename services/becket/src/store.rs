//! The one place that names the engines: opens, migrates and moves what the services keep their things in.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use becket_service_kit::{EngineChoice, PostgresSettings, Settings};
use becket_store::replay::{self, Report};
use becket_store::{JournalStore, WebhookStore, tables};
use becket_store_postgres::{Options, PostgresStore, SchemaState};
use becket_store_sqlite::{Copy, OpenMode, SqliteStore, move_aside};

use crate::app::cannot_serve;
use crate::errors::Failure;

/// An open database.
#[derive(Debug, Clone)]
pub(crate) enum Store {
    Sqlite(SqliteStore),
    Postgres(PostgresStore),
}

impl Store {
    /// Opens the database that the settings name. A SQLite file is made or brought to this version; the tables on a PostgreSQL server
    /// must have it, since replicas of another version may use them.
    ///
    /// # Errors
    /// [`Failure::Start`], [`Failure::File`].
    pub(crate) async fn open(data: &Path, settings: &Settings) -> Result<Self, Failure> {
        match settings.store.engine {
            EngineChoice::Sqlite => SqliteStore::open(&file(data, settings)?, OpenMode::OpenOrCreate)
                .await
                .map(Self::Sqlite)
                .map_err(cannot_serve),
            EngineChoice::Postgres => {
                let postgres = &settings.store.postgres;
                let opened = PostgresStore::open(postgres.url.reveal(), options(postgres)).await;
                opened.map(Self::Postgres).map_err(cannot_serve)
            }
        }
    }

    /// For the journal service.
    pub(crate) fn journal(&self) -> Arc<dyn JournalStore> {
        match self {
            Self::Sqlite(store) => Arc::new(store.clone()),
            Self::Postgres(store) => Arc::new(store.clone()),
        }
    }

    /// For the feed.
    pub(crate) fn webhooks(&self) -> Arc<dyn WebhookStore> {
        match self {
            Self::Sqlite(store) => Arc::new(store.clone()),
            Self::Postgres(store) => Arc::new(store.clone()),
        }
    }

    /// For the stringing service.
    pub(crate) fn stringing(&self) -> Arc<dyn becket_stringing::Storage> {
        match self {
            Self::Sqlite(store) => Arc::new(store.clone()),
            Self::Postgres(store) => Arc::new(store.clone()),
        }
    }

    /// For the cutting service.
    pub(crate) fn cutting(&self) -> Arc<dyn becket_cutting::Storage> {
        match self {
            Self::Sqlite(store) => Arc::new(store.clone()),
            Self::Postgres(store) => Arc::new(store.clone()),
        }
    }

    /// Closes it after calls under way.
    pub(crate) async fn close(&self) {
        match self {
            Self::Sqlite(store) => store.close().await,
            Self::Postgres(store) => store.close().await,
        }
    }
}

/// Brings the tables to the version of this program and tells what was done.
///
/// # Errors
/// As [`Store::open`].
pub(crate) async fn migrate(data: &Path, settings: &Settings) -> Result<String, Failure> {
    match settings.store.engine {
        EngineChoice::Sqlite => {
            let path = file(data, settings)?;
            SqliteStore::open(&path, OpenMode::OpenOrCreate).await.map_err(cannot_serve)?.close().await;
            Ok(format!("{} has the tables of this version", path.display()))
        }
        EngineChoice::Postgres => {
            let url = settings.store.postgres.url.reveal();
            let SchemaState { found, known } = PostgresStore::migrate(url).await.map_err(cannot_serve)?;
            Ok(match found {
                0 => format!("the tables were made, in version {known}"),
                found if found == known => format!("the tables have version {known} already"),
                found => format!("the tables were brought from version {found} to version {known}"),
            })
        }
    }
}

/// Replays the journal and compares the tables with it, as they are at one moment.
///
/// # Errors
/// As [`Store::open`], and [`Failure::Start`] if the data cannot be read.
pub(crate) async fn verify(data: &Path, settings: &Settings) -> Result<Report, Failure> {
    let store = match settings.store.engine {
        EngineChoice::Sqlite => Store::Sqlite(
            SqliteStore::open_to_read(&data.join(&settings.store.path)).await.map_err(cannot_serve)?,
        ),
        EngineChoice::Postgres => Store::open(data, settings).await?,
    };
    let report = verify_store(&store).await;
    store.close().await;
    report
}

/// Copies the SQLite file of a shop to `to`, if the copy is as it should be. Returns what was found in it.
///
/// # Errors
/// [`Failure::Usage`] on another engine, [`Failure::Start`] if it cannot be done.
pub(crate) async fn backup(data: &Path, settings: &Settings, to: &Path) -> Result<Report, Failure> {
    let copy = Copy::of(&only_file(data, settings)?, to).await.map_err(cannot_serve)?;
    put_verified(copy).await
}

/// Puts a backup in the place of the SQLite file of a shop, if it is as it should be. Returns what was found in it.
///
/// # Errors
/// As [`backup`], and for a database that is there unless it may be replaced and no other process has it open.
pub(crate) async fn restore(
    data: &Path,
    settings: &Settings,
    from: &Path,
    replace: bool,
) -> Result<Report, Failure> {
    let path = only_file(data, settings)?;
    let there = path.exists();
    if there && !replace {
        return Err(Failure::Start(format!(
            "{} is there already; --replace keeps it beside",
            path.display()
        )));
    }
    file(data, settings)?;
    let copy = Copy::of_backup(from, &path).await.map_err(cannot_serve)?;
    let report = verify_file(copy.path()).await?;
    if !report.is_clean() {
        return Ok(report);
    }
    let mut aside = path.clone().into_os_string();
    aside.push(".replaced");
    if there {
        move_aside(&path, Path::new(&aside)).await.map_err(cannot_serve)?;
    }
    let put = copy.put();
    if put.is_err() && there {
        // Back to its place; if even that fails, it is still there under its other name.
        drop(std::fs::rename(&aside, &path));
    }
    put.map_err(cannot_serve)?;
    Ok(report)
}

async fn put_verified(copy: Copy) -> Result<Report, Failure> {
    let report = verify_file(copy.path()).await?;
    if report.is_clean() {
        copy.put().map_err(cannot_serve)?;
    }
    Ok(report)
}

async fn verify_file(path: &Path) -> Result<Report, Failure> {
    let store = Store::Sqlite(SqliteStore::open_to_read(path).await.map_err(cannot_serve)?);
    let report = verify_store(&store).await;
    store.close().await;
    report
}

/// The path of the SQLite file, which must be what the settings name.
fn only_file(data: &Path, settings: &Settings) -> Result<PathBuf, Failure> {
    match settings.store.engine {
        EngineChoice::Sqlite => Ok(data.join(&settings.store.path)),
        EngineChoice::Postgres => Err(Failure::Usage(
            "the settings name a PostgreSQL database, which its own programs copy: docs/operations.md says how".to_owned(),
        )),
    }
}

async fn verify_store(store: &Store) -> Result<Report, Failure> {
    let mut shop = match store {
        Store::Sqlite(store) => store.snapshot().await,
        Store::Postgres(store) => store.read_shop().await,
    }
    .map_err(cannot_serve)?;
    replay::verify(shop.as_mut()).await.map_err(cannot_serve)
}

/// Copies a shop from its SQLite file to an empty PostgreSQL database, or back, and tells what was compared.
///
/// # Errors
/// As [`Store::open`], and [`Failure::Start`] if what was written differs from what was read.
pub(crate) async fn move_shop(data: &Path, settings: &Settings, to: EngineChoice) -> Result<String, Failure> {
    let path = data.join(&settings.store.path);
    let (url, options) = (settings.store.postgres.url.reveal(), options(&settings.store.postgres));
    if url.is_empty() {
        return Err(Failure::Usage("the settings lack store.postgres.url".to_owned()));
    }
    let postgres = PostgresStore::open(url, options).await.map_err(cannot_serve)?;
    let mode = match to {
        EngineChoice::Postgres => OpenMode::OpenExisting,
        EngineChoice::Sqlite => OpenMode::CreateNew,
    };
    let sqlite = SqliteStore::open(&path, mode).await.map_err(cannot_serve)?;
    let moved = match to {
        EngineChoice::Postgres => {
            let mut from = sqlite.read_shop().await.map_err(cannot_serve)?;
            tables::move_shop(from.as_mut(), postgres.fill_shop().await.map_err(cannot_serve)?).await
        }
        EngineChoice::Sqlite => {
            let mut from = postgres.read_shop().await.map_err(cannot_serve)?;
            tables::move_shop(from.as_mut(), sqlite.fill_shop().await.map_err(cannot_serve)?).await
        }
    };
    sqlite.close().await;
    postgres.close().await;
    let sums = moved.map_err(cannot_serve)?;
    let mut text = "the same in both, table by table:".to_owned();
    for (table, sum) in sums {
        text = format!("{text}\n  {table:<24} {sum}");
    }
    Ok(text)
}

/// Where the SQLite file is; its folder is made.
fn file(data: &Path, settings: &Settings) -> Result<PathBuf, Failure> {
    let folder = |error| Failure::File { path: data.to_owned(), why: std::io::Error::to_string(&error) };
    std::fs::create_dir_all(data).map_err(folder)?;
    // A path of the settings that is absolute stays as it is.
    Ok(data.join(&settings.store.path))
}

fn options(settings: &PostgresSettings) -> Options {
    Options {
        write_connections: settings.write_connections,
        read_connections: settings.read_connections,
        acquire_timeout: settings.acquire_timeout,
        statement_timeout: settings.statement_timeout,
        lock_timeout: settings.lock_timeout,
        idle_in_transaction_timeout: settings.idle_in_transaction_timeout,
        attempts: settings.attempts,
        ..Options::default()
    }
}
