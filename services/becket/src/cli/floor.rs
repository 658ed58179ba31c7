//! Verbs of the floor: plan a cut list and follow it.

use clap::Args;

use std::time::Duration;

use super::{Cause, LevelWord, Order, Unison, values::length_mm};

/// Plans a cut list and reserves its wire
///
/// Exit code 4 says that the plan was made, but the stock does not cover all of it.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket plan bench-1 --due-by 2026-12-04
  becket plan bench-1 C27-0107 S16-0412 --unison hard --dry-run
  becket plan bench-1 --levels reel-changes,scrap,coils-opened,lots --budget 500ms --dry-run")]
pub(crate) struct Plan {
    /// Station that cuts the list
    #[arg(value_name = "STATION")]
    pub(crate) station_id: String,
    /// Serials to cut [default: all open jobs of the station]
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_ids: Vec<String>,
    /// Only jobs due on or before this day
    #[arg(long, value_name = "DATE", conflicts_with = "serial_ids")]
    pub(crate) due_by: Option<String>,
    /// Whether all pieces of a note come from one coil [default: preferred]
    #[arg(long, value_enum, value_name = "RULE")]
    pub(crate) unison: Option<Unison>,
    /// In which order pieces are cut from a coil [default: up-the-scale]
    #[arg(long, value_enum)]
    pub(crate) order: Option<Order>,
    /// Wire cut off squarely whenever a coil is mounted, in mm unless it names a unit [default: 10]
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    pub(crate) end_trim: Option<f64>,
    /// Wire left unplanned on every coil, in mm unless it names a unit [default: 0]
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    pub(crate) coil_margin: Option<f64>,
    /// Wire left unplanned besides, in standard deviations of what is left on each coil [default: 0]
    #[arg(long, value_name = "SDS")]
    pub(crate) coil_margin_sds: Option<f64>,
    /// Leave out the cores of wound strings, where those are bought ready-made
    #[arg(long)]
    pub(crate) no_cores: bool,
    /// Which level counts for more: scrap, coils-opened, reel-changes and lots, each once [default: that order]
    #[arg(long, value_enum, value_delimiter = ',', num_args = 1.., value_name = "LEVELS")]
    pub(crate) levels: Vec<LevelWord>,
    /// How many places a serial may be cut ahead of due order [default: the trays of the station less one]
    #[arg(long, value_name = "PLACES")]
    pub(crate) due_window: Option<i32>,
    /// Open equal coils in any order, not the first received first
    #[arg(long)]
    pub(crate) any_coil_first: bool,
    /// Search no longer than this, such as 500ms, and take the best plan found
    #[arg(long, value_name = "DURATION", value_parser = humantime::parse_duration)]
    pub(crate) budget: Option<Duration>,
    /// Rounds of the search per coil [default: 200]
    #[arg(long, value_name = "ROUNDS")]
    pub(crate) rounds: Option<i32>,
    /// Show the plan and reserve nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
}

/// Hands a planned list to its station
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket start L-0001")]
pub(crate) struct Start {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
}

/// Books the next steps of a running list as done
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket confirm L-0001 1
  becket confirm L-0001 2 --count 10")]
pub(crate) struct Confirm {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// The next step
    #[arg(value_name = "STEP")]
    pub(crate) step_number: i32,
    /// How many steps from there on, 1 to 500
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(i32).range(1..=500))]
    pub(crate) count: i32,
}

/// Books a piece as lost, so that it is cut again
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket spoiled L-0001 17 --cause broken
  becket spoiled L-0001 18 --cause miscut --lost 1180")]
pub(crate) struct Spoiled {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// Step of the piece: a done one, or the next
    #[arg(value_name = "STEP")]
    pub(crate) step_number: i32,
    /// How it was lost
    #[arg(long, value_enum)]
    pub(crate) cause: Cause,
    /// Wire lost, where the next piece was cut to a wrong length, in mm unless it names a unit [default: the piece]
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    pub(crate) lost: Option<f64>,
}

/// Says that the coil of the next step has too little left for its piece
///
/// The coil comes off its reel and what is pending is planned anew.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket run-out L-0001 18
  becket run-out L-0001 18 --left 740")]
pub(crate) struct RunOut {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// The next step, a cut
    #[arg(value_name = "STEP")]
    pub(crate) step_number: i32,
    /// What is left on the coil, if it was measured and may be of use, in mm unless it names a unit [default: scrap]
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    pub(crate) left: Option<f64>,
}

/// Plans what is not cut yet anew, on the stock as it is now
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket replan L-0001
  becket replan L-0001 --add C27-0111")]
pub(crate) struct Replan {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// Add the pieces of this serial, a rush job for instance; may be said again for another one
    #[arg(long, value_name = "SERIAL")]
    pub(crate) add: Vec<String>,
}

/// Ends a running list
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket finish L-0001
  becket finish L-0001 --give-up-pending")]
pub(crate) struct Finish {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// Give up the steps that are still pending and free their wire
    #[arg(long)]
    pub(crate) give_up_pending: bool,
}

/// Withdraws a list of which nothing is cut yet and frees its wire
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket cancel L-0001")]
pub(crate) struct Cancel {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
}

/// Follows a list until it has ended: one line whenever what comes next changes
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket watch L-0001")]
pub(crate) struct Watch {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
}
