//! `plot`: the scale at a glance.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

use super::ModelFlags;

/// Draws a string set as SVG or PNG: lengths, diameters, tensions, load, inharmonicity, pitch and computed stretch
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("of").required(true).args(["serial_id", "model"]),
    after_help = "\
Example:
  becket plot C27-0107 --out C27-0107.svg
  becket plot --model small-160 --revision a --out small-160.png
  becket plot C27-0107 --with C27-0108 --out both.svg
  becket plot --model small-160 --revision a --stepped --helix --first-partial --out exact.png
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
    /// Pitch of A4 [default: 440, or the serial's]
    #[arg(long, value_name = "HZ")]
    pub(crate) a4: Option<f64>,
    #[command(flatten)]
    pub(crate) models: ModelFlags,
    /// File to write; its ending, .svg or .png, says in which form
    #[arg(long, value_name = "FILE")]
    pub(crate) out: PathBuf,
    /// Title above the picture [default: what is drawn]
    #[arg(long, value_name = "TEXT")]
    pub(crate) title: Option<String>,
}
