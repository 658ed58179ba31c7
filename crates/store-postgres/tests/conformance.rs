//! The suite that every engine passes, on databases of a real server.
#![allow(clippy::unwrap_used, reason = "tests")]

use async_trait::async_trait;
use becket_store::conformance::Factory;
use becket_store_postgres::{Options, PostgresStore};
use becket_test_postgres::Server;

struct OnServer(String);

impl OnServer {
    fn new() -> Self {
        Self(Server::shared().database())
    }
}

#[async_trait]
impl Factory for OnServer {
    type Store = PostgresStore;

    async fn open(&self) -> PostgresStore {
        PostgresStore::migrate(&self.0).await.unwrap();
        let options = Options { write_connections: 3, read_connections: 3, ..Options::default() };
        PostgresStore::open(&self.0, options).await.unwrap()
    }
}

becket_store::suite!(OnServer::new());
