//! `feed`.

use std::path::PathBuf;

use becket_api::feed::StartPosition;
use clap::{Args, ValueEnum};

/// Follows what happens in the shop: one event in each line, for programs as CloudEvents in JSON
///
/// A stream that breaks is taken up where it stopped.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket feed --from beginning --until-now
  becket feed --json --position erp.position
  becket feed --type becket.coil.received.v1 --subject coils/")]
pub(crate) struct Feed {
    /// Where to begin, unless the file of --position knows better
    #[arg(long, value_enum, default_value_t)]
    pub(crate) from: StartWord,
    /// Only events of this type; may be repeated
    #[arg(long = "type", value_name = "TYPE")]
    pub(crate) types: Vec<String>,
    /// Only events whose subject begins so
    #[arg(long, value_name = "PREFIX", default_value = "")]
    pub(crate) subject: String,
    /// File that keeps where the reader stands: after each event that was printed, and for the next start
    #[arg(long, value_name = "FILE")]
    pub(crate) position: Option<PathBuf>,
    /// End when everything so far is printed
    #[arg(long)]
    pub(crate) until_now: bool,
    /// Print CloudEvents in JSON, the same as --format json
    #[arg(long)]
    pub(crate) json: bool,
}

/// Where a feed begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(crate) enum StartWord {
    /// With the first event that is still told
    Beginning,
    /// With what happens from now on
    #[default]
    Now,
}

impl StartWord {
    /// As the API has it.
    pub(crate) fn api(self) -> StartPosition {
        match self {
            Self::Beginning => StartPosition::Beginning,
            Self::Now => StartPosition::Now,
        }
    }
}
