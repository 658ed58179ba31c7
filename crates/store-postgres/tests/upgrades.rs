//! Databases of every earlier version, filled, are brought to this one and go on; a shop is moved here and back.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use becket_store::conformance::moving;
use becket_store::tables::{LAYOUT, Value, move_shop};
use becket_store_postgres::{OpenError, Options, PostgresStore, SchemaState};
use becket_store_sqlite::SqliteStore;
use becket_test_postgres::Server;
use sqlx::PgPool;
use sqlx::migrate::Migrator;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

fn newest() -> i64 {
    MIGRATIONS.iter().map(|step| step.version).max().unwrap()
}

async fn run(db: &PgPool, sql: String) {
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(db).await.unwrap();
}

/// Makes the tables as this program made them when `version` was its newest migration, with a shop in them.
async fn make(url: &str, version: i64) {
    let steps = MIGRATIONS.iter().filter(|step| step.version <= version).cloned().collect();
    let db = PgPool::connect(url).await.unwrap();
    Migrator::with_migrations(steps).run(&db).await.unwrap();
    run(&db, "DELETE FROM meta".to_owned()).await;
    for (table, columns, rows) in moving::fixture(version) {
        let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
        for row in rows {
            let values: Vec<String> = row.iter().map(literal).collect();
            let (names, values) = (names.join(", "), values.join(", "));
            run(&db, format!("INSERT INTO {} ({names}) VALUES ({values})", table.name)).await;
        }
    }
    let head = "UPDATE journal_head SET (sequence, hash) = \
                (SELECT sequence, hash FROM journal ORDER BY sequence DESC LIMIT 1)";
    run(&db, head.to_owned()).await;
    db.close().await;
}

fn literal(value: &Value) -> String {
    match value {
        Value::Null => "NULL".to_owned(),
        Value::Text(text) => format!("'{}'", text.replace('\'', "''")),
        Value::Integer(number) => number.to_string(),
        Value::Real(number) => format!("{number:?}"),
        Value::Truth(truth) => truth.to_string(),
        Value::Bytes(bytes) => {
            let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
            format!("'\\x{hex}'")
        }
    }
}

#[tokio::test]
async fn every_earlier_version_goes_on() {
    for version in MIGRATIONS.iter().map(|step| step.version) {
        let url = Server::shared().database();
        make(&url, version).await;
        if version < newest() {
            let refused = PostgresStore::open(&url, Options::default()).await;
            let older = matches!(&refused, Err(OpenError::SchemaOlder { found, .. }) if *found == version);
            assert!(older, "{refused:?}");
            assert!(refused.unwrap_err().to_string().contains("becket migrate"));
        }
        let before = PostgresStore::migrate(&url).await.unwrap();
        assert_eq!(before, SchemaState { found: version, known: newest() });
        let store = PostgresStore::open(&url, Options::default()).await.unwrap();
        moving::is_verified(store.read_shop().await.unwrap().as_mut()).await;
        moving::goes_on(&store, version >= 2).await;
        let from = moving::is_verified(store.read_shop().await.unwrap().as_mut()).await;
        assert_eq!(from == 1, version >= 13, "version {version} is replayed from {from}");
        store.close().await;
    }
}

#[tokio::test]
async fn migrations_have_the_numbers_of_the_other_engine() {
    assert_eq!(PostgresStore::migrations(), SqliteStore::migrations());
}

#[tokio::test]
async fn only_tables_of_this_version_are_opened() {
    let url = Server::shared().database();
    let empty = PostgresStore::open(&url, Options::default()).await;
    assert!(matches!(&empty, Err(OpenError::SchemaOlder { found: 0, .. })), "{empty:?}");
    // Two that migrate at once take turns.
    let (a, b) = tokio::join!(PostgresStore::migrate(&url), PostgresStore::migrate(&url));
    a.and(b).unwrap();
    assert_eq!(PostgresStore::schema(&url).await.unwrap(), SchemaState { found: newest(), known: newest() });

    let db = PgPool::connect(&url).await.unwrap();
    run(
        &db,
        "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
              VALUES (9999, 'later', TRUE, '', 0)"
            .to_owned(),
    )
    .await;
    for refused in [
        PostgresStore::open(&url, Options::default()).await.map(|_| ()),
        PostgresStore::migrate(&url).await.map(|_| ()),
    ] {
        assert!(matches!(&refused, Err(OpenError::SchemaNewer { found: 9999, .. })), "{refused:?}");
    }
    run(
        &db,
        "DELETE FROM _sqlx_migrations WHERE version = 9999; \
              UPDATE _sqlx_migrations SET checksum = '\\x00' WHERE version = 2"
            .to_owned(),
    )
    .await;
    let changed = PostgresStore::open(&url, Options::default()).await;
    assert!(matches!(&changed, Err(OpenError::Migration(_))), "{changed:?}");
}

#[tokio::test]
async fn other_peoples_databases_are_left_alone() {
    let server = Server::shared();
    let url = server.database();
    let db = PgPool::connect(&url).await.unwrap();
    run(&db, "CREATE TABLE accounts (id INTEGER)".to_owned()).await;
    for refused in [
        PostgresStore::migrate(&url).await.map(|_| ()),
        PostgresStore::open(&url, Options::default()).await.map(|_| ()),
    ] {
        assert!(matches!(&refused, Err(OpenError::Foreign)), "{refused:?}");
    }
    let tables: i64 = sqlx::query_scalar("SELECT COUNT(*) FROM pg_tables WHERE schemaname = 'public'")
        .fetch_one(&db)
        .await
        .unwrap();
    assert_eq!(tables, 1);
}

#[tokio::test]
async fn settings_that_would_lose_writes_are_refused() {
    let url = Server::shared().database();
    PostgresStore::migrate(&url).await.unwrap();
    let db = PgPool::connect(&url).await.unwrap();
    let name: String = sqlx::query_scalar("SELECT current_database()::text").fetch_one(&db).await.unwrap();
    run(&db, format!("ALTER DATABASE {name} SET synchronous_commit = off")).await;
    let refused = PostgresStore::open(&url, Options::default()).await.unwrap_err();
    assert!(matches!(refused, OpenError::Setting { name: "synchronous_commit", .. }), "{refused}");
}

/// A table or column that is not in the layout would be lost in a move.
#[tokio::test]
async fn the_layout_is_complete() {
    let url = Server::shared().database();
    PostgresStore::migrate(&url).await.unwrap();
    let db = PgPool::connect(&url).await.unwrap();
    // What this engine keeps for itself; both say nothing that the journal does not say.
    let own = ["_sqlx_migrations", "journal_head", "journal_inbox"].map(str::to_owned);
    let there: Vec<(String, String)> = sqlx::query_as(
        "SELECT table_name::text, column_name::text FROM information_schema.columns \
         WHERE table_schema = 'public' AND NOT table_name = ANY($1) ORDER BY table_name COLLATE \"C\", ordinal_position",
    )
    .bind(&own[..])
    .fetch_all(&db)
    .await
    .unwrap();
    let mut tables: Vec<_> = LAYOUT.iter().collect();
    tables.sort_unstable_by_key(|table| table.name);
    let columns = tables
        .iter()
        .flat_map(|table| table.columns.iter().map(|column| (table.name.to_owned(), column.name.to_owned())));
    assert_eq!(there, columns.collect::<Vec<_>>());
}

#[tokio::test]
async fn a_shop_moves_here_and_back_with_the_same_sums() {
    let file = SqliteStore::in_memory().await.unwrap();
    moving::fill(&file).await;
    let url = Server::shared().database();
    PostgresStore::migrate(&url).await.unwrap();
    let here = PostgresStore::open(&url, Options::default()).await.unwrap();
    let move_in =
        async || move_shop(file.read_shop().await.unwrap().as_mut(), here.fill_shop().await.unwrap()).await;
    let moved = move_in().await.unwrap();
    assert!(moved.iter().all(|(_, sum)| sum.rows > 0), "{moved:?}");
    assert!(move_in().await.unwrap_err().to_string().contains("must be empty"));

    let back = SqliteStore::in_memory().await.unwrap();
    let moved_back =
        move_shop(here.read_shop().await.unwrap().as_mut(), back.fill_shop().await.unwrap()).await;
    assert_eq!(moved_back.unwrap(), moved);
    moving::goes_on(&here, true).await;
    moving::goes_on(&back, true).await;
    moving::is_verified(here.read_shop().await.unwrap().as_mut()).await;
    moving::is_verified(back.snapshot().await.unwrap().as_mut()).await;
}
