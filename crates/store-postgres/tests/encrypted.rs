//! The way to the database over a network, encrypted by the server's own certificate.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::path::Path;

use becket_store::JournalStore;
use becket_store_postgres::{OpenError, Options, PostgresStore};
use becket_test_postgres::{Encryption, Server};
use sqlx::{Connection, PgConnection};

/// A server whose certificate names "localhost", and the file of its authority.
fn server(folder: &Path) -> (Server, String) {
    let pair = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
    let (certificate, key) = (pair.cert.pem(), pair.signing_key.serialize_pem());
    let file = folder.join("authority.pem");
    std::fs::write(&file, &certificate).unwrap();
    let server = Server::start_encrypted(Encryption { certificate: &certificate, key: &key });
    (server, file.to_str().unwrap().to_owned())
}

#[tokio::test]
async fn the_way_to_the_database_is_encrypted_and_its_server_known() {
    let folder = tempfile::tempdir().unwrap();
    let (server, authority) = server(folder.path());
    server.sql("postgres", "CREATE DATABASE shop");
    let at = |host: &str, rest: &str| format!("postgres://becket@{host}:{}/shop?{rest}", server.port());

    let url = at("localhost", &format!("sslmode=verify-full&sslrootcert={authority}"));
    PostgresStore::migrate(&url).await.unwrap();
    let store = PostgresStore::open(&url, Options::default()).await.unwrap();
    assert_eq!(store.last_sequence().await.unwrap(), 0);
    let mut db = PgConnection::connect(&url).await.unwrap();
    let encrypted: bool =
        sqlx::query_scalar("SELECT bool_and(ssl) FROM pg_stat_ssl JOIN pg_stat_activity USING (pid) WHERE client_addr IS NOT NULL")
            .fetch_one(&mut db)
            .await
            .unwrap();
    assert!(encrypted);
    store.close().await;

    // A server that somebody else put there, one of another name, and one that would talk in the clear.
    let strange = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap().cert.pem();
    let other = folder.path().join("other.pem");
    std::fs::write(&other, strange).unwrap();
    let refused = [
        at("localhost", &format!("sslmode=verify-full&sslrootcert={}", other.display())),
        at("127.0.0.1", &format!("sslmode=verify-full&sslrootcert={authority}")),
        at("localhost", "sslmode=disable"),
    ];
    for url in refused {
        let error = PostgresStore::open(&url, Options::default()).await.err();
        assert!(matches!(error, Some(OpenError::Unreachable(_))), "{url}: {error:?}");
    }
}
