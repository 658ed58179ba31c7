//! The processes under measurement, with the data of the demo.

use std::path::PathBuf;
use std::process::Command;

use becket_api::cutting::{SaveStationRequest, Station};
use becket_api::document::parse_toml;
use becket_e2e::{Server, Shop, demo};
use becket_test_postgres::Server as Postgres;
use sqlx::{Connection, PgConnection};
use tempfile::TempDir;

use crate::Failure;

/// An engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Engine {
    Sqlite,
    Postgres,
}

impl Engine {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Sqlite => "SQLite",
            Self::Postgres => "PostgreSQL",
        }
    }
}

/// Replicas of both services with one database.
pub(super) struct Replicas {
    // Before the folder and the database, so that they end first.
    servers: Vec<Server>,
    /// Address of the database, where it is a server.
    pub(super) database: Option<String>,
    _postgres: Option<Postgres>,
    pub(super) folder: TempDir,
}

impl Replicas {
    pub(super) fn start(engine: Engine, count: usize) -> Result<Self, Failure> {
        let binary = binary()?;
        let folder = tempfile::tempdir()?;
        let postgres = (engine == Engine::Postgres).then(Postgres::start);
        let mut arguments = vec!["--listen".to_owned(), "127.0.0.1:0".to_owned()];
        let database = postgres.as_ref().map(Postgres::database);
        if let Some(url) = &database {
            let config = folder.path().join("becket.toml");
            std::fs::write(
                &config,
                format!("[store]\nengine = \"postgres\"\n[store.postgres]\nurl = \"{url}\"\n"),
            )?;
            let migrated = Command::new(&binary).arg("migrate").arg("--config").arg(&config).output()?;
            if !migrated.status.success() {
                return Err(String::from_utf8_lossy(&migrated.stderr).into());
            }
            arguments.extend(["--config".to_owned(), config.display().to_string()]);
        }
        let data = |replica: usize| folder.path().join(format!("data{replica}"));
        let servers = (0..count).map(|replica| Server::with(&binary, &data(replica), &arguments)).collect();
        Ok(Self { servers, database, _postgres: postgres, folder })
    }

    /// Lets every flush of the log of PostgreSQL take so many ms longer, as on a disk that writes through: whoever flushes for all rests before.
    pub(super) async fn slow_flushes(&self, ms: u32) -> Result<(), Failure> {
        if let (Some(url), 1..) = (&self.database, ms) {
            let mut db = PgConnection::connect(url).await?;
            sqlx::raw_sql("ALTER SYSTEM SET commit_siblings = 0").execute(&mut db).await?;
            let delay = format!("ALTER SYSTEM SET commit_delay = {}", ms.saturating_mul(1000));
            sqlx::raw_sql(sqlx::AssertSqlSafe(delay)).execute(&mut db).await?;
            sqlx::raw_sql("SELECT pg_reload_conf()").execute(&mut db).await?;
            db.close().await?;
        }
        Ok(())
    }

    /// A client with a connection of its own; clients are spread over the replicas.
    pub(super) async fn client(&self, number: usize) -> Result<Shop, Failure> {
        Ok(Shop::connect(self.servers[number % self.servers.len()].url()).await?)
    }

    /// Loads the demo and further stations.
    pub(super) async fn load(&self, stations: usize) -> Result<(), Failure> {
        let mut shop = self.client(0).await?;
        shop.load().await?;
        for number in 1..stations {
            let mut station: Station = parse_toml(demo::STATION)?;
            station.station_id = format!("bench-{}", number + 1);
            let request = SaveStationRequest { request_id: shop.request_id(), station: Some(station) };
            shop.stations.save_station(request).await?;
        }
        Ok(())
    }
}

/// The binary that cargo built beside this program.
fn binary() -> Result<PathBuf, Failure> {
    let beside = std::env::current_exe()?.with_file_name("becket");
    if beside.exists() {
        Ok(beside)
    } else {
        Err(format!("{} is not there: build becket, too", beside.display()).into())
    }
}
