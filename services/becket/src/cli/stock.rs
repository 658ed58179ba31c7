//! Verbs of the stock: `weigh`, `decide`, `set-aside`, `return`, `scrap`, `unmount`, `set-rule`.

use clap::{Args, ValueEnum};

use super::values::{length_mm, mass_g};

/// Corrects what is left of a coil from its weight
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket weigh R0104 --gross 412.5 --tare 85
  becket weigh R0104 --gross 412.50 --tare 85 --resolution 0.01 --tare-sd 0.2
  becket weigh R0104 --gross 0.9lb --tare 3oz --accept")]
pub(crate) struct Weigh {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    /// Weight of coil and reel, in g unless it names a unit
    #[arg(long, value_name = "G", value_parser = mass_g)]
    pub(crate) gross: f64,
    /// Weight of the empty reel, 0 for a coil without one
    #[arg(long, value_name = "G", value_parser = mass_g)]
    pub(crate) tare: f64,
    /// Smallest step of the scales, in g unless it names a unit [default: 1]
    #[arg(long, value_name = "G", value_parser = mass_g)]
    pub(crate) resolution: Option<f64>,
    /// Standard deviation of the tare, in g unless it names a unit [default: 0.5 % of the tare]
    #[arg(long, value_name = "G", value_parser = mass_g)]
    pub(crate) tare_sd: Option<f64>,
    /// Take the weighing even if it disagrees with the books: it then takes their place
    #[arg(long)]
    pub(crate) accept: bool,
    /// Refuse an empty reel while a list has a step to do on the coil, and do not plan such lists anew
    #[arg(long)]
    pub(crate) keep_lists: bool,
}

/// Accepts or rejects a weighing that disagreed with the books
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket decide R0104 4 accept --note weighed-twice
  becket decide R0104 4 reject")]
pub(crate) struct Decide {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    /// Number of the evidence
    #[arg(value_name = "NUMBER", value_parser = clap::value_parser!(i32).range(1..))]
    pub(crate) evidence_number: i32,
    /// What it is
    #[arg(value_enum, value_name = "VERDICT")]
    pub(crate) verdict: Verdict,
    /// Why, for the journal
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(crate) note: String,
    /// Refuse an empty reel while a list has a step to do on the coil, and do not plan such lists anew
    #[arg(long)]
    pub(crate) keep_lists: bool,
}

/// What becomes of evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Verdict {
    /// It is right: it takes the place of what was believed
    Accept,
    /// It is wrong
    Reject,
}

/// Takes a coil out of planning; lists that count on it are planned anew
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket set-aside R0104 --note rust
  becket set-aside R0104 --keep-lists")]
pub(crate) struct SetAside {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    /// Why, for the journal
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(crate) note: String,
    /// Let lists that count on the coil keep their steps, and plan them anew yourself
    #[arg(long)]
    pub(crate) keep_lists: bool,
}

/// Puts a coil that was set aside back into planning
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket return R0104")]
pub(crate) struct ReturnCoil {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
}

/// Books what is left of a coil as scrap; lists that name it are planned anew
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket scrap R0104 --note kinked")]
pub(crate) struct Scrap {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    /// Why, for the journal
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(crate) note: String,
    /// Refuse while a list has a step to do on the coil, and do not plan such lists anew
    #[arg(long)]
    pub(crate) keep_lists: bool,
}

/// Takes a coil off a reel position on which a list has left it
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket unmount bench-1 2")]
pub(crate) struct Unmount {
    /// Station
    #[arg(value_name = "STATION")]
    pub(crate) station_id: String,
    /// Reel position, from 1
    #[arg(value_name = "REEL", value_parser = clap::value_parser!(i32).range(1..))]
    pub(crate) reel_position: i32,
}

/// Sets from which length on a remnant of a wire is kept
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket set-rule mw-in-16 650
  becket set-rule mw-in-16 26in")]
pub(crate) struct SetRule {
    /// Wire
    #[arg(value_name = "WIRE")]
    pub(crate) wire_id: String,
    /// Shortest remnant that is kept, in mm unless it names a unit
    #[arg(value_name = "MM", value_parser = length_mm)]
    pub(crate) length_mm: f64,
}
