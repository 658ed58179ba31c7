//! The suite that every engine passes, on files.
#![allow(clippy::unwrap_used, reason = "tests")]

use async_trait::async_trait;
use becket_store::conformance::Factory;
use becket_store_sqlite::{OpenMode, SqliteStore};
use tempfile::TempDir;

struct InFile(TempDir);

impl InFile {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }
}

#[async_trait]
impl Factory for InFile {
    type Store = SqliteStore;

    async fn open(&self) -> SqliteStore {
        SqliteStore::open(&self.0.path().join("becket.db"), OpenMode::OpenOrCreate).await.unwrap()
    }
}

becket_store::suite!(InFile::new());
