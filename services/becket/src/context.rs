//! What every verb works with: the client, and how an answer is printed.

use std::io::Write as _;

use becket_units::UnitSystem;
use prost::Name;

use crate::{
    cli::{Format, Global},
    client::Client,
    errors::Failure,
    output::Sheet,
};

/// The client and the form of the answer.
#[derive(Debug, Clone)]
pub(crate) struct Context {
    /// Connection to the server.
    pub(crate) client: Client,
    /// Form of the answer.
    pub(crate) format: Format,
    /// Units of tables and csv.
    pub(crate) units: UnitSystem,
}

impl Context {
    /// Prepares what the options say; connects to nothing yet.
    ///
    /// # Errors
    /// Those of [`Client::new`].
    pub(crate) fn new(global: &Global) -> Result<Self, Failure> {
        Ok(Self { client: Client::new(global)?, format: global.format, units: global.units })
    }

    /// Prints a message in the form that was asked for.
    ///
    /// # Errors
    /// [`Failure::Print`] if standard output takes no more.
    pub(crate) fn show<M: Name>(
        &self,
        message: &M,
        table: impl FnOnce(UnitSystem) -> String,
        csv: impl FnOnce(UnitSystem) -> Sheet,
    ) -> Result<(), Failure> {
        match self.format {
            Format::Json => print(&json(message)?),
            Format::Table => print(&table(self.units)),
            Format::Csv => print(&csv(self.units).csv()),
        }
    }

    /// Prints a message whose table is the same as its csv.
    ///
    /// # Errors
    /// As [`Context::show`].
    pub(crate) fn show_sheet<M: Name>(
        &self,
        message: &M,
        sheet: impl Fn(UnitSystem) -> Sheet,
    ) -> Result<(), Failure> {
        self.show(message, |units| sheet(units).table(), &sheet)
    }

    /// Prints a remark for people; programs that read json or csv get none.
    ///
    /// # Errors
    /// As [`Context::show`].
    pub(crate) fn remark(&self, text: &str) -> Result<(), Failure> {
        if self.format == Format::Table { print(text) } else { Ok(()) }
    }
}

/// A message as indented protobuf JSON.
///
/// # Errors
/// [`Failure::Print`] if JSON cannot hold the message, such as a time beyond the year 9999.
pub(crate) fn json<M: Name>(message: &M) -> Result<String, Failure> {
    serde_json::to_string_pretty(&json_value(message)?).map_err(|error| Failure::Print(error.into()))
}

/// A message as protobuf JSON on one line.
///
/// # Errors
/// As [`json`].
pub(crate) fn json_line<M: Name>(message: &M) -> Result<String, Failure> {
    Ok(json_value(message)?.to_string())
}

fn json_value<M: Name>(message: &M) -> Result<serde_json::Value, Failure> {
    becket_api::json::to_json(message).map_err(|error| Failure::Print(std::io::Error::other(error)))
}

/// Tells people something on standard error. Where nobody listens any more there is nobody to tell, and the exit code still says
/// what came of the command.
pub(crate) fn tell(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Prints text to standard output and ends the line.
///
/// # Errors
/// [`Failure::Print`] if standard output takes no more.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    if !text.ends_with('\n') {
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(())
}
