//! Writes per second of the store beside bare transactions of one row on the same server, by number of clients:
//! `cargo run --release -p becket-store-postgres --example rate`. Compare the ratio, not the rates.
#![allow(clippy::unwrap_used, reason = "a tool for contributors")]

use std::time::{Duration, Instant};

use becket_store::{Document, JournalStore, StringStore, WriteContext};
use becket_store_postgres::{Options, PostgresStore};
use becket_test_postgres::Server;
use sqlx::postgres::{PgPool, PgPoolOptions};

const ROUND: Duration = Duration::from_secs(4);

async fn per_second<F: Future<Output = ()> + Send + 'static>(
    clients: usize,
    write: impl Fn(String) -> F + Clone + Send + 'static,
) -> f64 {
    let begun = Instant::now();
    let clients = (0..clients).map(|client| {
        let write = write.clone();
        tokio::spawn(async move {
            let mut done = 0_u32;
            while begun.elapsed() < ROUND {
                write(format!("{client}-{done}-{}", begun.elapsed().as_nanos())).await;
                done += 1;
            }
            done
        })
    });
    let mut all = 0;
    for client in clients.collect::<Vec<_>>() {
        all += client.await.unwrap();
    }
    f64::from(all) / begun.elapsed().as_secs_f64()
}

async fn bare(pool: PgPool, id: String) {
    let mut tx = pool.begin().await.unwrap();
    sqlx::query("INSERT INTO bare VALUES ($1, $2)")
        .bind(&id)
        .bind("x".repeat(300))
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
}

async fn stored(store: PostgresStore, id: String) {
    let ctx = WriteContext {
        method: "rate",
        request_id: id.clone(),
        request_digest: [1; 32],
        actor: "rate".to_owned(),
        origin: String::new(),
        now_us: 1,
    };
    let document = Document { bytes: vec![7; 100], json: "{}".to_owned() };
    // One row, and what every write writes: its answer and its entry in the journal.
    let open =
        becket_store::JobColumns { serial_id: id, due_date: "2026-12-01".into(), station_id: "s".into() };
    store.open_job(&ctx, open, document, Box::new(|_| vec![1; 100])).await.unwrap();
}

#[tokio::main]
async fn main() {
    let server = Server::start();
    let url = server.database();
    PostgresStore::migrate(&url).await.unwrap();
    let options = Options { write_connections: 16, read_connections: 4, ..Options::default() };
    let store = PostgresStore::open(&url, options).await.unwrap();
    server.sql("shop_0", "CREATE TABLE bare (id TEXT PRIMARY KEY, text TEXT)");
    let pool = PgPoolOptions::new().max_connections(16).connect(&url).await.unwrap();
    println!("clients  bare/s  store/s  ratio");
    for clients in [1, 4, 8, 16] {
        let bare_pool = pool.clone();
        let of_bare = per_second(clients, move |id| bare(bare_pool.clone(), id)).await;
        let of_store = store.clone();
        let of_store = per_second(clients, move |id| stored(of_store.clone(), id)).await;
        println!("{clients:>7}  {of_bare:>6.0}  {of_store:>7.0}  {:>5.2}", of_store / of_bare);
    }
    println!("{} entries in the journal", store.last_sequence().await.unwrap());
    store.close().await;
}
