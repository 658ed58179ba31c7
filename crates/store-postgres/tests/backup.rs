//! A dump that was taken beside a running replica is restored, and the journal explains it.
#![allow(clippy::unwrap_used, reason = "tests")]

use becket_store::conformance::moving;
use becket_store_postgres::{Options, PostgresStore};
use becket_test_postgres::Server;

fn database(url: &str) -> &str {
    url.split('?').next().unwrap().rsplit('/').next().unwrap()
}

#[tokio::test]
async fn a_dump_is_restored_and_verified() {
    let server = Server::shared();
    let (from, to) = (server.database(), server.database());
    PostgresStore::migrate(&from).await.unwrap();
    let store = PostgresStore::open(&from, Options::default()).await.unwrap();
    moving::fill(&store).await;
    let folder = tempfile::tempdir().unwrap();
    let dump = folder.path().join("shop.dump");
    let run = |program: &str, arguments: &[&str]| {
        let done = server.client(program).args(arguments).arg(&dump).output().unwrap();
        assert!(done.status.success(), "{program}: {}", String::from_utf8_lossy(&done.stderr));
    };
    run("pg_dump", &["--format=custom", "--no-owner", database(&from), "--file"]);
    // What comes after the dump is not in it.
    moving::goes_on(&store, true).await;
    run("pg_restore", &["--exit-on-error", "--no-owner", "--dbname", database(&to)]);
    let restored = PostgresStore::open(&to, Options::default()).await.unwrap();
    moving::is_verified(restored.read_shop().await.unwrap().as_mut()).await;
    moving::goes_on(&restored, true).await;
    moving::is_verified(restored.read_shop().await.unwrap().as_mut()).await;
    moving::is_verified(store.read_shop().await.unwrap().as_mut()).await;
}
