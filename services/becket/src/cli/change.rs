//! `release`, `amend` and `close`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Ending;

/// Releases the draft of a scale: from then on it never changes, and jobs may name it
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket release concert-270 a")]
pub(crate) struct Release {
    /// Model
    #[arg(value_name = "MODEL")]
    pub(crate) model_id: String,
    /// Revision
    #[arg(value_name = "REVISION")]
    pub(crate) revision_id: String,
}

/// Replaces what is stored by what a file says
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket amend job jobs.toml")]
pub(crate) enum Amend {
    Job(AmendJob),
    Scale(AmendScale),
    Wire(AmendWire),
}

/// Replaces jobs; once a piece of a serial is cut, only its due date and station may change
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket amend job jobs.toml
  becket amend job jobs.toml --check")]
pub(crate) struct AmendJob {
    /// File of jobs: .toml or .json with a list "jobs"
    pub(crate) file: PathBuf,
    /// Check all of them and change none
    #[arg(long)]
    pub(crate) check: bool,
}

/// Replaces the draft of a scale
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket amend scale concert-270.toml")]
pub(crate) struct AmendScale {
    /// File of the scale, .toml or .json
    pub(crate) file: PathBuf,
    /// Check everything and change nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Replaces wires of the catalogue; frozen string sets keep the wires they were computed with
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket amend wire wires.toml")]
pub(crate) struct AmendWire {
    /// File of wires: .toml or .json with a list "wires", or .csv
    pub(crate) file: PathBuf,
    /// Check all of them and change none
    #[arg(long)]
    pub(crate) check: bool,
}

/// Ends a job
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket close C27-0107 --as done")]
pub(crate) struct Close {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: String,
    /// How it ends
    #[arg(long = "as", value_enum, value_name = "ENDING")]
    pub(crate) ending: Ending,
}
