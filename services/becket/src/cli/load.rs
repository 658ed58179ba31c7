//! `load`: files into the server.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Series;

/// Loads a file into the server
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket load wires --standard inch
  becket load jobs jobs.toml --check")]
pub(crate) enum Load {
    Wires(LoadWires),
    Scale(LoadScale),
    Jobs(LoadJobs),
    Coils(LoadCoils),
    Station(LoadStation),
}

/// Adds wires to the catalogue, from a file or from the music wire that becket ships
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket load wires --standard inch
  becket load wires wires.toml
  becket load wires wires.csv --check")]
pub(crate) struct LoadWires {
    /// File of wires: .toml or .json with a list "wires", or .csv
    #[arg(required_unless_present = "standard")]
    pub(crate) file: Option<PathBuf>,
    /// Series of steel music wire that becket ships
    #[arg(long, value_enum, value_name = "SERIES")]
    pub(crate) standard: Vec<Series>,
    /// Check everything and store nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Stores a new revision of a scale as a draft
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket load scale concert-270.toml --check
  becket load scale concert-270.toml --release")]
pub(crate) struct LoadScale {
    /// File of the scale, .toml or .json
    pub(crate) file: PathBuf,
    /// Release it at once; a released revision never changes
    #[arg(long, conflicts_with = "check")]
    pub(crate) release: bool,
    /// Check everything and store nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Opens jobs, one for each serial in the file
///
/// Jobs are opened one after the other; the first that is refused ends the loading, those before it stay.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket load jobs jobs.toml")]
pub(crate) struct LoadJobs {
    /// File of jobs: .toml or .json with a list "jobs"
    pub(crate) file: PathBuf,
    /// Check all of them and open none
    #[arg(long)]
    pub(crate) check: bool,
}

/// Books coils into the stock, all of the file or none; then sets its stock rules, if it has any
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket load coils coils.toml
  becket load coils delivery.csv --check")]
pub(crate) struct LoadCoils {
    /// File of coils: .toml or .json with lists "coils" and "stock_rules", or .csv
    pub(crate) file: PathBuf,
    /// Check everything and store nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Creates a wire station, or changes it
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket load station station.toml")]
pub(crate) struct LoadStation {
    /// File of the station, .toml or .json
    pub(crate) file: PathBuf,
}
