//! `plot`: the scale at a glance.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

/// Draws a string set as SVG or PNG: lengths, diameters, tensions, load, inharmonicity and pitch over the compass
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("of").required(true).args(["serial_id", "model"]),
    after_help = "\
Example:
  becket plot C27-0107 --out C27-0107.svg
  becket plot --model small-160 --revision a --out small-160.png
  becket plot C27-0107 --with C27-0108 --out both.svg
  becket plot --model concert-270 --revision a --with small-160/a --out models.png"
)]
pub(crate) struct Plot {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: Option<String>,
    /// Model, in place of a serial
    #[arg(long, requires = "revision")]
    pub(crate) model: Option<String>,
    /// Revision of the model
    #[arg(long, requires = "model")]
    pub(crate) revision: Option<String>,
    /// A second set that is drawn over the first: a serial, or a model and revision as MODEL/REVISION
    #[arg(long, value_name = "SET")]
    pub(crate) with: Option<String>,
    /// File to write; its ending, .svg or .png, says in which form
    #[arg(long, value_name = "FILE")]
    pub(crate) out: PathBuf,
    /// Title above the picture [default: what is drawn]
    #[arg(long, value_name = "TEXT")]
    pub(crate) title: Option<String>,
}
