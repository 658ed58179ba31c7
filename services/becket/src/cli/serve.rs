//! `serve`, `migrate`, `move-shop`, `verify` and `tour`.

use std::{net::SocketAddr, path::PathBuf};

use clap::{Args, ValueEnum};

/// Runs the server: both services behind one address, or one of them
///
/// Prints one line when it is ready, and runs until it is interrupted or terminated; then it lets calls under way end.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket serve --data shop-data
  becket serve --only cutting --listen 127.0.0.1:7422 --stringing-endpoint http://127.0.0.1:7421")]
pub(crate) struct Serve {
    /// Folder of the data; made if it is not there
    #[arg(long, value_name = "DIR", default_value = "becket-data")]
    pub(crate) data: PathBuf,
    /// File of settings, over those compiled in and under those of the environment
    #[arg(long, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
    /// Address to listen on; port 0 takes a free one
    #[arg(long, value_name = "ADDR")]
    pub(crate) listen: Option<SocketAddr>,
    /// Run one of the services alone
    #[arg(long, value_name = "SERVICE")]
    pub(crate) only: Option<Only>,
    /// Where the cutting service finds the stringing service
    #[arg(long, value_name = "URL", requires = "only")]
    pub(crate) stringing_endpoint: Option<String>,
}

/// Makes the tables of a database, or brings them to this version
///
/// Needed with PostgreSQL before the first start and after an update: the server refuses to start on tables of another version. A SQLite
/// file is brought to this version by the server itself. Tables are never brought back to an earlier version.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket migrate --config /etc/becket/becket.toml")]
pub(crate) struct Migrate {
    #[command(flatten)]
    pub(crate) place: Place,
}

/// Copies a shop from one engine to the other, and compares the two
///
/// Stop the server first. Everything is copied in one transaction, read back and compared by counts and checksums, table by table; if
/// anything differs, the target stays empty. The source is left as it is. Afterwards set store.engine.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket migrate --config /etc/becket/becket.toml
  becket move-shop --from sqlite --to postgres --data shop-data --config /etc/becket/becket.toml")]
pub(crate) struct MoveShop {
    /// Where the shop is
    #[arg(long, value_name = "ENGINE")]
    pub(crate) from: EngineWord,
    /// Where it goes: the tables of an empty PostgreSQL database, or a SQLite file that is not there yet
    #[arg(long, value_name = "ENGINE")]
    pub(crate) to: EngineWord,
    #[command(flatten)]
    pub(crate) place: Place,
}

/// An engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum EngineWord {
    /// The file store.path in the folder of the data
    Sqlite,
    /// The database store.postgres.url
    Postgres,
}

/// Replays the journal and compares the tables with what it implies
///
/// Reads the database itself, not a server, as it is at one moment; a server may run meanwhile. The chain of hashes, every column of every
/// table of state, balances, ledgers, reservations and pieces are checked. It changes nothing. Exit code 5 tells that something differs.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket verify --data shop-data
  becket --format json verify --config /etc/becket/becket.toml")]
pub(crate) struct Verify {
    #[command(flatten)]
    pub(crate) place: Place,
}

/// Copies the database into a file while it is served
///
/// The copy is the shop as it is at one moment, whole. It is verified before it gets its name, and a file that is there is never overwritten. For
/// SQLite; docs/operations.md says how a PostgreSQL database is backed up.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket backup --to shop-monday.db --data shop-data")]
pub(crate) struct Backup {
    /// The copy
    #[arg(long, value_name = "FILE")]
    pub(crate) to: PathBuf,
    #[command(flatten)]
    pub(crate) place: Place,
}

/// Puts a backup in the place of the database, and verifies it
///
/// Stop the server first. A backup of an earlier version is brought to this one. If verification finds anything, nothing is changed and the
/// exit code is 5.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket restore --from shop-monday.db --data new-data
  becket restore --from shop-monday.db --replace --data shop-data")]
pub(crate) struct Restore {
    /// The backup; it stays as it is
    #[arg(long, value_name = "FILE")]
    pub(crate) from: PathBuf,
    /// If there is a database already, keep it beside under a name that ends in .replaced
    #[arg(long)]
    pub(crate) replace: bool,
    #[command(flatten)]
    pub(crate) place: Place,
}

/// Where the data are.
#[derive(Debug, Args)]
pub(crate) struct Place {
    /// Folder of the data
    #[arg(long, value_name = "DIR", default_value = "becket-data")]
    pub(crate) data: PathBuf,
    /// File of settings, over those compiled in and under those of the environment
    #[arg(long, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
}

/// One of the two services.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Only {
    /// Wires, scales, jobs, string sets
    Stringing,
    /// Coils, stations, cut lists, records, purchasing
    Cutting,
}

/// Shows what becket does on the data of an invented shop, in a few seconds
///
/// Starts a server of its own on this machine in a folder of its own, loads two scales, four jobs and a stock of coils over
/// the API, and shows a string set, a cut list, an estimate and a record.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket tour
  becket tour --data another-tour --keep-serving")]
pub(crate) struct Tour {
    /// Folder of the data; it must not be there yet
    #[arg(long, value_name = "DIR", default_value = "becket-tour")]
    pub(crate) data: PathBuf,
    /// Leave the server running after the tour, until it is interrupted
    #[arg(long)]
    pub(crate) keep_serving: bool,
}
