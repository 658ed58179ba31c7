//! Verbs of the stock: `weigh`, `set-aside`, `return`, `scrap`, `unmount`, `set-rule`.

use clap::Args;

use super::values::{length_mm, mass_g};

/// Corrects what is left of a coil from its weight
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket weigh R0104 --gross 412.5 --tare 85
  becket weigh R0104 --gross 0.9lb --tare 3oz")]
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
}

/// Takes a coil out of planning
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket set-aside R0104 --note rust")]
pub(crate) struct SetAside {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
    /// Why, for the journal
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub(crate) note: String,
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

/// Books what is left of a coil as scrap
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
