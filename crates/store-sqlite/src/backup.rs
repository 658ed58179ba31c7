//! Copies of a database: taken while it is served, and put in its place.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use sqlx::sqlite::{SqliteConnectOptions, SqliteLockingMode};
use sqlx::{ConnectOptions, Connection};

use crate::SqliteStore;
use crate::open::{OpenError, OpenMode};

/// How long to wait for a server to leave a file that is to be replaced.
const LEAVE_WITHIN: Duration = Duration::from_millis(500);

/// Why a copy was not made. The target is as it was.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CopyError {
    /// The target is there already.
    #[error("{} is there already", .path.display())]
    Exists {
        /// The target.
        path: PathBuf,
    },
    /// The target is a database that another process has open.
    #[error("{} is in use by another process; stop the server first", .path.display())]
    InUse {
        /// The target.
        path: PathBuf,
    },
    /// One of the databases cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The copy failed.
    #[error("{} cannot be copied", .path.display())]
    Copy {
        /// The source.
        path: PathBuf,
        /// Why.
        #[source]
        source: Box<sqlx::Error>,
    },
    /// A file cannot be written, moved or removed.
    #[error("{}: {source}", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// A copy beside its target, which is not in its place yet. Dropped before [`put`](Self::put), it is removed.
#[derive(Debug)]
pub struct Copy {
    made: PathBuf,
    target: PathBuf,
}

impl Copy {
    /// Copies a database as it is at one moment, whole, while others may read and write it. The copy stands beside `target` until it is
    /// put there.
    ///
    /// # Errors
    /// [`CopyError`].
    pub async fn of(from: &Path, target: &Path) -> Result<Self, CopyError> {
        let copy = Self::begin(target)?;
        // Refuses what is no database of this version.
        SqliteStore::open_to_read(from).await?.close().await;
        copy.fill(from).await?;
        Ok(copy)
    }

    /// Copies a backup, which may be one of an earlier version, and brings the copy to the form of this version.
    ///
    /// # Errors
    /// [`CopyError`].
    pub async fn of_backup(from: &Path, target: &Path) -> Result<Self, CopyError> {
        let copy = Self::begin(target)?;
        SqliteStore::refuse_other_files(from).await?;
        copy.fill(from).await?;
        SqliteStore::open(&copy.made, OpenMode::OpenExisting).await?.close().await;
        Ok(copy)
    }

    fn begin(target: &Path) -> Result<Self, CopyError> {
        let mut name = target.file_name().unwrap_or_default().to_owned();
        name.push(".part");
        let copy = Self { made: target.with_file_name(name), target: target.to_owned() };
        // What an earlier attempt left that was killed.
        copy.remove_parts();
        Ok(copy)
    }

    async fn fill(&self, from: &Path) -> Result<(), CopyError> {
        let failed =
            |source: sqlx::Error| CopyError::Copy { path: from.to_owned(), source: Box::new(source) };
        let options = SqliteConnectOptions::new().filename(from).create_if_missing(false);
        let mut db = options.connect().await.map_err(failed)?;
        let made = self.made.to_string_lossy().into_owned();
        sqlx::query("VACUUM INTO ?").bind(made).execute(&mut db).await.map_err(failed)?;
        db.close().await.map_err(failed)
    }

    /// Where the copy is until it is put in its place.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.made
    }

    /// Makes the copy last and puts it in its place, where nothing may be.
    ///
    /// # Errors
    /// [`CopyError::Exists`], [`CopyError::File`].
    pub fn put(self) -> Result<(), CopyError> {
        let at = |path: &Path| {
            let path = path.to_owned();
            move |source| CopyError::File { path, source }
        };
        let file = std::fs::File::open(&self.made).map_err(at(&self.made))?;
        file.sync_all().map_err(at(&self.made))?;
        // A second name for the same file, which is refused if the name is taken: moving would replace what is there.
        match std::fs::hard_link(&self.made, &self.target) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(CopyError::Exists { path: self.target.clone() });
            }
            linked => linked.map_err(at(&self.target))?,
        }
        self.remove_parts();
        let folder = match self.target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        std::fs::File::open(folder).and_then(|folder| folder.sync_all()).map_err(at(folder))
    }

    fn remove_parts(&self) {
        for ending in ["", "-wal", "-shm", "-journal"] {
            let mut name = self.made.clone().into_os_string();
            name.push(ending);
            // What is not there need not be removed, and what cannot be removed is told when it is written.
            drop(std::fs::remove_file(name));
        }
    }
}

impl Drop for Copy {
    fn drop(&mut self) {
        self.remove_parts();
    }
}

/// Moves a database that no process has open out of the way, to `aside`, where nothing may be.
///
/// # Errors
/// [`CopyError::InUse`], [`CopyError::Exists`], [`CopyError::File`].
pub async fn move_aside(path: &Path, aside: &Path) -> Result<(), CopyError> {
    let at = |source| CopyError::File { path: path.to_owned(), source };
    if aside.try_exists().map_err(at)? {
        return Err(CopyError::Exists { path: aside.to_owned() });
    }
    let in_use = |_| CopyError::InUse { path: path.to_owned() };
    // In this mode the file is locked as a whole, which fails while any other connection is open.
    let options = SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(false)
        .locking_mode(SqliteLockingMode::Exclusive)
        .busy_timeout(LEAVE_WITHIN);
    let mut alone = options.connect().await.map_err(in_use)?;
    let locked = sqlx::raw_sql("BEGIN IMMEDIATE; COMMIT").execute(&mut alone).await;
    // Folds the write-ahead file in.
    let closed = alone.close().await;
    locked.map_err(in_use)?;
    closed.map_err(in_use)?;
    std::fs::rename(path, aside).map_err(at)
}
