//! End-to-end tests: the built binary over real sockets, each with a data folder and a free port of its own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod access;
mod batch_memory;
mod command_line;
mod concurrency;
mod design;
mod docs;
mod every_method;
mod faults;
mod feeds;
mod histories;
mod identity;
mod kill;
mod limits;
mod page_tokens;
mod plausible;
mod replicas;
mod split;
mod tour;

use std::path::{Path, PathBuf};

use becket_e2e::{Server, Shop};
use tempfile::TempDir;

/// The binary under test.
fn binary() -> &'static Path {
    Path::new(env!("CARGO_BIN_EXE_becket"))
}

/// A server with both services on empty data.
struct Fresh {
    // Before the folder, so that it ends before its data go.
    server: Server,
    folder: TempDir,
}

impl Fresh {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let server = Server::start(binary(), &data(&folder));
        Self { server, folder }
    }

    async fn with_demo() -> (Self, Shop) {
        let fresh = Self::start();
        let mut shop = Shop::connect(fresh.server.url()).await.unwrap();
        shop.load().await.unwrap();
        (fresh, shop)
    }

    /// A file of the demo, written where a command line can read it.
    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }
}

fn data(folder: &TempDir) -> PathBuf {
    folder.path().join("data")
}
