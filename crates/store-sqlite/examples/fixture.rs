//! Prints the fixture of a shop in the tables of this version, for `crates/store/src/conformance/fixtures`.
#![allow(clippy::unwrap_used, reason = "a tool for contributors")]

use becket_store::conformance::moving;
use becket_store_sqlite::SqliteStore;

#[tokio::main]
async fn main() {
    let store = SqliteStore::in_memory().await.unwrap();
    moving::fill(&store).await;
    print!("{}", moving::as_fixture(store.read_shop().await.unwrap().as_mut()).await);
}
