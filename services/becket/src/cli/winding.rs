//! The winder's orders: `order`, `show winding-order` and `list winding-orders`.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

use super::Limit;

/// Releases the winder's order for the wound strings of a serial or a batch
///
/// The first order of the serials is revision 1. Ordered again, the order stays as it is, or, if its strings have
/// changed, becomes a new revision, for which a reason must be given.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket order C27-0107 --check
  becket order C27-0107 C27-0108
  becket order S16-0412 --reason measured
  becket --format csv order C27-0107")]
pub(crate) struct OrderWound {
    /// Serial numbers
    #[arg(value_name = "SERIAL", required = true)]
    pub(crate) serial_ids: Vec<String>,
    /// Why the strings of an order that is released have changed
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: Option<String>,
    /// Show the order as it would be released, and release nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Shows a winder's order; json and csv are its files, and can be read back with --file
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("which").required(true).args(["order_id", "file"]),
    after_help = "\
Example:
  becket show winding-order W-0001
  becket show winding-order W-0001 --revision 1
  becket --format csv show winding-order W-0001
  becket show winding-order --file W-0001.csv"
)]
pub(crate) struct WindingOrder {
    /// Order
    #[arg(value_name = "ORDER")]
    pub(crate) order_id: Option<String>,
    /// Revision [default: the latest]
    #[arg(long, value_name = "NUMBER", requires = "order_id")]
    pub(crate) revision: Option<i32>,
    /// File of an order, .json or .csv, that is shown without asking a server
    #[arg(long, value_name = "FILE")]
    pub(crate) file: Option<PathBuf>,
}

/// Lists the latest revision of every winder's order
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket list winding-orders
  becket list winding-orders --serial C27-0107")]
pub(crate) struct ListWindingOrders {
    /// Only the order that this serial is on
    #[arg(long, value_name = "SERIAL")]
    pub(crate) serial: Option<String>,
    #[command(flatten)]
    pub(crate) limit: Limit,
}
