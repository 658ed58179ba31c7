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
    Sets(Sets),
    Partials(Partials),
    Coil(Coil),
    Station(Station),
    CutList(CutList),
    WorkSheet(WorkSheet),
    Record(Record),
    WindingOrder(super::WindingOrder),
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
    group = ArgGroup::new("part").args(["summary", "strings", "windings", "pieces"]),
    after_help = "\
Example:
  becket show set C27-0107
  becket show set C27-0107 --strings
  becket show set C27-0107 --windings
  becket show set --model small-160 --revision a --a4 442 --first-partial
  becket show set --model small-160 --revision a --stepped --helix --strings
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
    /// Solve wound strings exactly, with their bare ends; B is then fitted to the exact partials
    #[arg(long, requires = "model")]
    pub(crate) stepped: bool,
    /// Number of partials that B is fitted to and that json tells, 2 to 60 [default: 16, and json tells none]
    #[arg(long, value_name = "N", requires = "model")]
    pub(crate) partials: Option<i32>,
    /// Reckon the mass of windings as a helix, and not as a tube
    #[arg(long, requires = "model")]
    pub(crate) helix: bool,
    /// Totals, sections, warnings and wire; csv gives the wire [default for table]
    #[arg(long)]
    pub(crate) summary: bool,
    /// Every string [default for csv]
    #[arg(long)]
    pub(crate) strings: bool,
    /// Every layer of the wound strings for the winder: places from the eye, wire, diameters, room beside
    #[arg(long)]
    pub(crate) windings: bool,
    /// Every piece of wire
    #[arg(long)]
    pub(crate) pieces: bool,
}

/// Shows the sets of many serials, one line each, as fast as they are computed
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show sets C27-0107 C27-0108 S16-0412
  becket --format json show sets C27-0107 C27-0108 --whole")]
pub(crate) struct Sets {
    /// Serial numbers, up to 20000
    #[arg(value_name = "SERIAL", required = true)]
    pub(crate) serial_ids: Vec<String>,
    /// Whole sets and not summaries, in json
    #[arg(long)]
    pub(crate) whole: bool,
}

/// Shows the partials of notes, exact for wound strings with bare ends: of a serial, or of a revision
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("of").required(true).args(["serial_id", "model"]),
    after_help = "\
Example:
  becket show partials C27-0107 1
  becket show partials C27-0107 1 2 3 --count 60
  becket show partials --model small-160 --revision a --note 1,2,3 --first-partial
  becket --format csv show partials --model small-160 --revision a"
)]
pub(crate) struct Partials {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: Option<String>,
    /// Notes of the serial [default: all]
    #[arg(value_name = "NOTE", allow_negative_numbers = true)]
    pub(crate) notes: Vec<i32>,
    /// Model, in place of a serial
    #[arg(long, requires = "revision", conflicts_with = "notes")]
    pub(crate) model: Option<String>,
    /// Revision of the model
    #[arg(long, requires = "model")]
    pub(crate) revision: Option<String>,
    /// Notes of the revision, separated by commas [default: all]
    #[arg(
        long,
        value_name = "NOTE",
        value_delimiter = ',',
        requires = "model",
        allow_negative_numbers = true
    )]
    pub(crate) note: Vec<i32>,
    /// Number of partials, 2 to 60 [default: 16]
    #[arg(long, value_name = "N")]
    pub(crate) count: Option<i32>,
    /// Pitch of A4 [default: that of the job, or 440]
    #[arg(long, value_name = "HZ", requires = "model")]
    pub(crate) a4: Option<f64>,
    /// Take the pitch for the first partial, and not for the frequency without stiffness
    #[arg(long, requires = "model")]
    pub(crate) first_partial: bool,
    /// Take wound strings for uniform ones, by the closed formula
    #[arg(long, requires = "model")]
    pub(crate) closed_form: bool,
    /// Reckon the mass of windings as a helix, and not as a tube
    #[arg(long, requires = "model")]
    pub(crate) helix: bool,
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

/// Shows a cut list as a person works through it: mount, square the end, cut, check what is left, take off, label or scrap
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket show work-sheet L-0001
  becket show work-sheet L-0001 --pending
  becket --format csv show work-sheet L-0001")]
pub(crate) struct WorkSheet {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// Only what is still to be done
    #[arg(long)]
    pub(crate) pending: bool,
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
