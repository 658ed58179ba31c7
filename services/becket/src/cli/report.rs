//! `estimate` and `trace`.

use std::path::PathBuf;

use clap::Args;

use super::Unison;

/// Lays open jobs and a build schedule on the stock: what each wire needs, what is covered, what to buy
///
/// Jobs that are not closed count first, in the week of their due date: their pieces that are neither cut nor on a cut list,
/// and all their windings. Winding wire is not booked by cut lists: weigh its spools. The windings of a job count as still to be
/// made until it is closed.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket estimate schedule.toml
  becket estimate schedule.toml --without-open-jobs
  becket --format csv estimate schedule.toml --weeks")]
pub(crate) struct Estimate {
    /// File of the schedule: .toml or .json with a list "lines"
    #[arg(value_name = "SCHEDULE")]
    pub(crate) file: PathBuf,
    /// Wire bought beyond the bare need, as a share of what is short, 0 to 1 [default: 0.05]
    #[arg(long, value_name = "SHARE")]
    pub(crate) surplus: Option<f64>,
    /// Whether all pieces of a note come from one coil [default: preferred]
    #[arg(long, value_enum, value_name = "RULE")]
    pub(crate) unison: Option<Unison>,
    /// Leave out jobs that are open: for a schedule that holds them itself
    #[arg(long)]
    pub(crate) without_open_jobs: bool,
    /// Show the need week by week
    #[arg(long)]
    pub(crate) weeks: bool,
}

/// Tells which serials hold wire of a lot
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket trace H2604-11")]
pub(crate) struct Trace {
    /// Lot or heat number
    #[arg(value_name = "LOT")]
    pub(crate) lot_id: String,
}
