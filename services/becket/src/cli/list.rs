//! `list`: everything of a kind, page after page.

use clap::{Args, Subcommand};

use super::{CoilStateWord, CutListStateWord, JobStateWord, MaterialWord};

/// Lists what is stored
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket list jobs --due-by 2026-12-04
  becket --format csv list coils --state opened")]
pub(crate) enum List {
    Wires(ListWires),
    Scales(ListScales),
    Jobs(ListJobs),
    Coils(ListCoils),
    Evidence(ListEvidence),
    Stations(ListStations),
    CutLists(ListCutLists),
    StockRules(ListStockRules),
    WindingOrders(super::ListWindingOrders),
    Journal(ListJournal),
}

/// How much is listed.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct Limit {
    /// Stop after so many [default: all]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) limit: Option<u32>,
}

/// Lists the wire catalogue by wire id
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list wires --material copper")]
pub(crate) struct ListWires {
    /// Only wires of this material
    #[arg(long, value_enum)]
    pub(crate) material: Option<MaterialWord>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists scales by model and revision
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list scales --model concert-270")]
pub(crate) struct ListScales {
    /// Only revisions of this model
    #[arg(long, value_name = "MODEL")]
    pub(crate) model: Option<String>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists jobs by due date and serial
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list jobs --state open --station bench-1 --due-by 2026-12-04")]
pub(crate) struct ListJobs {
    /// Only jobs in this state
    #[arg(long, value_enum)]
    pub(crate) state: Option<JobStateWord>,
    /// Only jobs of this station
    #[arg(long, value_name = "STATION")]
    pub(crate) station: Option<String>,
    /// Only jobs due on or before this day
    #[arg(long, value_name = "DATE")]
    pub(crate) due_by: Option<String>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists the stock of coils by coil id
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list coils --wire mw-in-16
  becket list coils --state opened --units inch")]
pub(crate) struct ListCoils {
    /// Only coils of this wire
    #[arg(long, value_name = "WIRE")]
    pub(crate) wire: Option<String>,
    /// Only coils of this lot
    #[arg(long, value_name = "LOT")]
    pub(crate) lot: Option<String>,
    /// Only coils in this state
    #[arg(long, value_enum)]
    pub(crate) state: Option<CoilStateWord>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists what is known of the length on a coil and why, the latest first
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list evidence R0104 --limit 20")]
pub(crate) struct ListEvidence {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists wire stations
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list stations")]
pub(crate) struct ListStations {
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists cut lists, newest first
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list cut-lists --station bench-1 --state running")]
pub(crate) struct ListCutLists {
    /// Only lists of this station
    #[arg(long, value_name = "STATION")]
    pub(crate) station: Option<String>,
    /// Only lists in this state
    #[arg(long, value_enum)]
    pub(crate) state: Option<CutListStateWord>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists from which length on a remnant of each wire is kept
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list stock-rules")]
pub(crate) struct ListStockRules {
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Lists every change that was made, from the first on
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list journal --subject cutLists/L-0001
  becket list journal --subject coils/R0104 --changes
  becket --format json list journal --limit 20")]
pub(crate) struct ListJournal {
    /// Only changes of this thing
    #[arg(long)]
    pub(crate) subject: Option<String>,
    /// What each entry changed, column by column: what was before, and what is after
    #[arg(long)]
    pub(crate) changes: bool,
    #[command(flatten)]
    pub(crate) limit: Limit,
}
