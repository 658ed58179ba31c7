//! `show`: one thing in full.

use clap::{ArgGroup, Args, Subcommand};

/// Shows one thing in full
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket show set C27-0107
  becket show cut-list L-0001 --pending")]
pub(crate) enum Show {
    Wire(Wire),
    Scale(Scale),
    Job(Job),
    Set(Set),
    Coil(Coil),
    Station(Station),
    CutList(CutList),
    Record(Record),
}

/// Shows a wire of the catalogue
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show wire mw-in-16 --units inch")]
pub(crate) struct Wire {
    /// Wire
    #[arg(value_name = "WIRE")]
    pub(crate) wire_id: String,
}

/// Shows a revision of a scale
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show scale concert-270 a")]
pub(crate) struct Scale {
    /// Model
    #[arg(value_name = "MODEL")]
    pub(crate) model_id: String,
    /// Revision
    #[arg(value_name = "REVISION")]
    pub(crate) revision_id: String,
}

/// Shows the job of a serial
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show job S16-0412")]
pub(crate) struct Job {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: String,
}

/// Shows a string set: of a serial, or of a revision without one
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("of").required(true).args(["serial_id", "model"]),
    group = ArgGroup::new("part").args(["summary", "strings", "pieces"]),
    after_help = "\
Example:
  becket show set C27-0107
  becket show set C27-0107 --strings
  becket show set --model small-160 --revision a --a4 442 --first-partial
  becket --format csv show set C27-0107 --pieces"
)]
pub(crate) struct Set {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: Option<String>,
    /// Model, in place of a serial
    #[arg(long, requires = "revision")]
    pub(crate) model: Option<String>,
    /// Revision of the model
    #[arg(long, requires = "model")]
    pub(crate) revision: Option<String>,
    /// Pitch of A4 [default: 440]
    #[arg(long, value_name = "HZ", requires = "model")]
    pub(crate) a4: Option<f64>,
    /// Take the pitch for the first partial, which is what sounds, and not for the frequency without stiffness
    #[arg(long, requires = "model")]
    pub(crate) first_partial: bool,
    /// Totals, sections, warnings and wire; csv gives the wire [default for table]
    #[arg(long)]
    pub(crate) summary: bool,
    /// Every string [default for csv]
    #[arg(long)]
    pub(crate) strings: bool,
    /// Every piece of wire
    #[arg(long)]
    pub(crate) pieces: bool,
}

/// Shows a coil
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show coil R0104")]
pub(crate) struct Coil {
    /// Coil
    #[arg(value_name = "COIL")]
    pub(crate) coil_id: String,
}

/// Shows a wire station and what is mounted on it
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show station bench-1")]
pub(crate) struct Station {
    /// Station
    #[arg(value_name = "STATION")]
    pub(crate) station_id: String,
}

/// Shows a cut list for the person at the bench
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show cut-list L-0001
  becket show cut-list L-0001 --pending --summary
  becket --format csv show cut-list L-0001")]
pub(crate) struct CutList {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// Only steps that are still to be done
    #[arg(long)]
    pub(crate) pending: bool,
    /// Consecutive cuts of one length as one row
    #[arg(long)]
    pub(crate) summary: bool,
}

/// Shows the record of a serial: its order lines, and the coils and lots that went into it
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show record C27-0107
  becket --format json show record C27-0107")]
pub(crate) struct Record {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: String,
}
