//! `picture` and `plan-file`: plans to look at.

use std::path::PathBuf;

use clap::Args;

/// Shows how a cut list divides its coils: every coil as a bar to scale, and the reels step by step
///
/// Pieces are coloured by serial; what goes back into stock is hatched. Without --out the picture is written to the terminal, in
/// plain letters where that is no terminal or NO_COLOR is set.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket picture L-0001
  becket picture L-0001 --out L-0001.svg
  becket picture L-0001 --out L-0001.png")]
pub(crate) struct Picture {
    /// List
    #[arg(value_name = "LIST")]
    pub(crate) list_id: String,
    /// File to write; its ending, .svg or .png, says in which form
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

/// Plans the pieces of a file on the coils of the file; the server's stock is neither read nor changed
///
/// Exit code 4 says that the plan was made, but the coils do not cover all of it.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket plan-file demo/plan.toml
  becket plan-file demo/plan.toml --steps
  becket plan-file demo/plan.toml --picture
  becket plan-file demo/plan.toml --out plan.svg")]
pub(crate) struct PlanFile {
    /// Question, of the shape of PlanCutsRequest
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Show the steps, too
    #[arg(long)]
    pub(crate) steps: bool,
    /// Show the bars and reels, too
    #[arg(long)]
    pub(crate) picture: bool,
    /// Draw the bars and reels into a file; its ending, .svg or .png, says in which form
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}
