//! `token` and `settings`.

use std::path::PathBuf;

use clap::Args;

/// Makes a token: prints it once, and the lines for the file that access.tokens names
///
/// The token is for whoever calls; the file keeps only its digest, from which nobody can make the token.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket token bench-1 --role station
  becket token bench-1 --role station --secret-to bench-1.token")]
pub(crate) struct Token {
    /// Who calls with it, as it stands in the journal
    pub(crate) name: String,
    /// Role of the caller; may be repeated
    #[arg(long = "role", value_name = "ROLE", required = true, value_parser = role)]
    pub(crate) roles: Vec<becket_access::Role>,
    /// File that gets the token, readable only by its owner; it must not be there yet [default: the token is printed]
    #[arg(long, value_name = "FILE")]
    pub(crate) secret_to: Option<PathBuf>,
}

/// Shows the settings that a server would have, with secrets masked
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket settings --config becket.toml")]
pub(crate) struct Settings {
    /// File of settings, over those compiled in and under those of the environment
    #[arg(long, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
}

fn role(name: &str) -> Result<becket_access::Role, String> {
    becket_access::Role::of_name(name)
        .ok_or_else(|| format!("the roles are {}", becket_access::Role::names()))
}
