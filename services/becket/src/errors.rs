//! What can go wrong, how it is told, and the exit code that it gives.

use std::{fmt::Write as _, io, path::PathBuf};

use tonic::Status;
use tonic_types::StatusExt as _;

/// The work was done.
pub(crate) const EXIT_DONE: u8 = 0;
/// The server refused, or could not be started.
pub(crate) const EXIT_REFUSED: u8 = 1;
/// The command line or a file cannot be read; clap uses the same code.
pub(crate) const EXIT_USAGE: u8 = 2;
/// The server cannot be reached or did not answer in time.
pub(crate) const EXIT_UNREACHABLE: u8 = 3;
/// The plan was made, but the stock does not cover all of it.
pub(crate) const EXIT_SHORT: u8 = 4;
/// The journal and the tables differ.
pub(crate) const EXIT_DIFFERS: u8 = 5;

/// Why a verb did not do its work.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Failure {
    /// The server answered with an error.
    #[error("{}", refusal(.0))]
    Refused(Box<Status>),
    /// The server did not answer at all.
    #[error(
        "the server at {url} cannot be reached: {why}\n  Is it running? `becket serve` starts one; --server or BECKET_SERVER says where it is."
    )]
    Unreachable {
        /// Where it was looked for.
        url: String,
        /// What the connection said.
        why: String,
    },
    /// No answer came within the time that was given.
    #[error("the server at {url} did not answer within {}; --timeout gives it longer", humantime::format_duration(*.after))]
    TooLate {
        /// Where it was looked for.
        url: String,
        /// How long it was given.
        after: std::time::Duration,
    },
    /// An argument is not usable.
    #[error("{0}")]
    Usage(String),
    /// A file cannot be read.
    #[error("{}:{}", path.display(), indented(why))]
    File {
        /// The file.
        path: PathBuf,
        /// What is the matter with it.
        why: String,
    },
    /// The server of `serve` or `tour` cannot be started.
    #[error("{0}")]
    Start(String),
    /// The answer is not what the API promises.
    #[error("the server's answer lacks {0}")]
    Answer(&'static str),
    /// The picture cannot be drawn.
    #[error("{0}")]
    Picture(String),
    /// The answer cannot be printed.
    #[error("the answer cannot be printed: {0}")]
    Print(#[from] io::Error),
}

impl Failure {
    /// The exit code of the process.
    pub(crate) fn exit_code(&self) -> u8 {
        match self {
            // A reader that has seen enough, such as `head`, is not an error.
            Self::Print(error) if error.kind() == io::ErrorKind::BrokenPipe => EXIT_DONE,
            Self::Refused(_) | Self::Start(_) | Self::Answer(_) | Self::Picture(_) | Self::Print(_) => {
                EXIT_REFUSED
            }
            Self::Usage(_) | Self::File { .. } => EXIT_USAGE,
            Self::Unreachable { .. } | Self::TooLate { .. } => EXIT_UNREACHABLE,
        }
    }

    /// The text for standard error; nothing for a reader that has gone away.
    pub(crate) fn text(&self) -> Option<String> {
        match self {
            Self::Print(error) if error.kind() == io::ErrorKind::BrokenPipe => None,
            other => Some(format!("becket: {other}")),
        }
    }
}

/// Tells a refusal: message, reason, every faulty field on a line of its own, facts, and when to try again.
fn refusal(status: &Status) -> String {
    let details = status.get_error_details();
    let mut text = format!("refused: {}", or_code(status));
    if let Some(info) = details.error_info() {
        let _ = write!(text, "\n  reason: {}", info.reason);
    }
    for violation in details.bad_request().into_iter().flat_map(|bad| &bad.field_violations) {
        let _ = write!(text, "\n  {}: {}", violation.field, violation.description);
    }
    if let Some(info) = details.error_info() {
        // Sorted, since a hash map would print them in another order every time.
        let mut facts: Vec<_> = info.metadata.iter().collect();
        facts.sort();
        for (name, value) in facts {
            let _ = write!(text, "\n  {name}: {value}");
        }
    }
    if let Some(delay) = details.retry_info().and_then(|info| info.retry_delay) {
        let _ = write!(text, "\n  try again in {:.1} s", delay.as_secs_f64());
    }
    text
}

/// Several faults stand on lines of their own, below the name of the file.
fn indented(faults: &str) -> String {
    if faults.contains('\n') { format!("\n  {}", faults.replace('\n', "\n  ")) } else { format!(" {faults}") }
}

fn or_code(status: &Status) -> String {
    match status.message() {
        "" => status.code().description().to_owned(),
        message => message.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use std::{collections::HashMap, time::Duration};

    use expect_test::expect;
    use tonic::Code;
    use tonic_types::ErrorDetails;

    use super::*;

    fn faulty_scale() -> Status {
        let mut details = ErrorDetails::new();
        details
            .set_error_info("FIELD_INVALID", "becket", HashMap::new())
            .add_bad_request_violation("scale.notes[3].speaking_mm", "must be 20 to 3000, is 5")
            .add_bad_request_violation("scale.notes[9].wire_id", "the catalogue has no wire \"mw-in-99\"");
        Status::with_error_details(Code::InvalidArgument, "the scale has 2 faults", details)
    }

    #[test]
    fn every_faulty_field_has_a_line() {
        let failure = Failure::Refused(Box::new(faulty_scale()));
        expect![[r#"
            becket: refused: the scale has 2 faults
              reason: FIELD_INVALID
              scale.notes[3].speaking_mm: must be 20 to 3000, is 5
              scale.notes[9].wire_id: the catalogue has no wire "mw-in-99""#]]
        .assert_eq(&failure.text().unwrap());
        assert_eq!(failure.exit_code(), EXIT_REFUSED);
    }

    #[test]
    fn facts_and_delay_are_told() {
        let mut details = ErrorDetails::new();
        let facts = HashMap::from([
            ("next_step".to_owned(), "3".to_owned()),
            ("list".to_owned(), "L-0001".to_owned()),
        ]);
        details
            .set_error_info("STEP_NOT_NEXT", "becket", facts)
            .set_retry_info(Some(Duration::from_millis(1500)));
        let status =
            Status::with_error_details(Code::FailedPrecondition, "step 7 is not the next one", details);
        expect![[r#"
            becket: refused: step 7 is not the next one
              reason: STEP_NOT_NEXT
              list: L-0001
              next_step: 3
              try again in 1.5 s"#]]
        .assert_eq(&Failure::Refused(Box::new(status)).text().unwrap());
    }

    #[test]
    fn every_fault_of_a_file_has_a_line() {
        let failure = Failure::File { path: "x.toml".into(), why: "line 2: a\nline 3: b".into() };
        assert_eq!(failure.to_string(), "x.toml:\n  line 2: a\n  line 3: b");
        let failure = Failure::File { path: "x.toml".into(), why: "not there".into() };
        assert_eq!(failure.to_string(), "x.toml: not there");
    }

    #[test]
    fn exit_codes_are_those_of_the_help() {
        let gone = || io::Error::from(io::ErrorKind::BrokenPipe);
        let cases = [
            (Failure::Refused(Box::new(Status::not_found("no such wire"))), EXIT_REFUSED),
            (Failure::Start("the address is in use".into()), EXIT_REFUSED),
            (Failure::Usage("an empty file".into()), EXIT_USAGE),
            (Failure::File { path: "x.toml".into(), why: "not there".into() }, EXIT_USAGE),
            (
                Failure::Unreachable { url: "http://127.0.0.1:1".into(), why: "refused".into() },
                EXIT_UNREACHABLE,
            ),
            (
                Failure::TooLate { url: "http://127.0.0.1:1".into(), after: Duration::from_secs(30) },
                EXIT_UNREACHABLE,
            ),
            (Failure::Print(gone()), EXIT_DONE),
        ];
        for (failure, code) in cases {
            assert_eq!(failure.exit_code(), code, "{failure}");
        }
        assert_eq!(Failure::Print(gone()).text(), None);
    }
}
