//! The log of a process.

use std::io::IsTerminal as _;

use tracing_subscriber::EnvFilter;

use crate::settings::{LogFormat, TelemetrySettings};

/// Why the log could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum TelemetryError {
    /// The filter is not a list of directives.
    #[error("the log filter is wrong: {0}")]
    Filter(#[from] tracing_subscriber::filter::ParseError),
    /// The process has a log already.
    #[error("the log is set up already: {0}")]
    Twice(#[source] Box<dyn std::error::Error + Send + Sync>),
}

/// Sets up the log of this process on standard error. Called once, by the program and not by libraries or
/// tests.
///
/// # Errors
/// [`TelemetryError::Filter`] for a wrong filter, [`TelemetryError::Twice`] if there is a log already.
pub fn init_telemetry(settings: &TelemetrySettings) -> Result<(), TelemetryError> {
    let filter: EnvFilter = EnvFilter::try_new(&settings.filter)?;
    // Colours are for eyes; in a file they are noise.
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        // What cannot be written, as on a full disk, is lost. Telling that on standard error, too, would panic and fail the call.
        .log_internal_errors(false)
        .with_ansi(std::io::stderr().is_terminal());
    match settings.format {
        LogFormat::Text => builder.try_init(),
        LogFormat::Json => builder.json().flatten_event(true).try_init(),
    }
    .map_err(TelemetryError::Twice)
}
