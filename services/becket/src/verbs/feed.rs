//! `feed`.

use std::{path::Path, time::Duration};

use becket_api::feed::{StartPosition, WatchEventsRequest, WatchEventsResponse};
use tonic::{Code, Status};

use crate::{
    cli::{Feed, Format},
    context::{Context, print},
    errors::Failure,
    output,
};

/// Pauses before the stream is opened again after it broke; after the last the server counts as gone.
const PAUSES: [Duration; 4] =
    [Duration::from_millis(200), Duration::from_secs(1), Duration::from_secs(3), Duration::from_secs(5)];

/// Follows the feed. A stream that breaks is taken up where it stopped.
///
/// # Errors
/// [`Failure`] of the stream, of the file with the position or of printing.
pub(super) async fn feed(context: &Context, args: &Feed) -> Result<(), Failure> {
    let mut reader = Reader { context, args, resume_token: kept(args.position.as_deref())? };
    let mut pauses = PAUSES.iter();
    loop {
        let before = reader.resume_token.clone();
        let Some(broken) = reader.follow().await? else { return Ok(()) };
        if reader.resume_token != before {
            pauses = PAUSES.iter();
        }
        // A reader that was too slow resumes at once, too.
        let resumable = matches!(broken.code(), Code::Unavailable | Code::Aborted);
        match pauses.next() {
            Some(pause) if resumable => tokio::time::sleep(*pause).await,
            _ => return Err(context.client.feed().failure(broken)),
        }
    }
}

struct Reader<'a> {
    context: &'a Context,
    args: &'a Feed,
    resume_token: String,
}

impl Reader<'_> {
    /// Prints until the stream breaks, which is returned, or everything is printed that is wanted.
    async fn follow(&mut self) -> Result<Option<Status>, Failure> {
        let start =
            if self.resume_token.is_empty() { self.args.from.api() } else { StartPosition::Unspecified };
        let request = WatchEventsRequest {
            resume_token: self.resume_token.clone(),
            start_position: start.into(),
            types: self.args.types.clone(),
            subject_prefix: self.args.subject.clone(),
        };
        let service = self.context.client.feed();
        let opened =
            service.open(request, |mut client, request| async move { client.watch_events(request).await });
        let mut stream = match opened.await {
            Ok(stream) => stream,
            Err(status) => return Ok(Some(status)),
        };
        loop {
            match stream.message().await {
                Ok(Some(message)) => {
                    let caught_up = message.event.is_none();
                    self.take(message)?;
                    if caught_up && self.args.until_now {
                        return Ok(None);
                    }
                }
                Ok(None) => return Ok(Some(Status::unavailable("the server closed the stream"))),
                Err(status) => return Ok(Some(status)),
            }
        }
    }

    /// Prints an event, and only then says that it was.
    fn take(&mut self, message: WatchEventsResponse) -> Result<(), Failure> {
        if let Some(event) = &message.event {
            let json = becket_api::cloud_event::to_json(event);
            print(&match self.context.format {
                Format::Table if !self.args.json => output::event_line(&json),
                Format::Csv => output::event_sheet(&json).csv_rows(),
                Format::Table | Format::Json => json.to_string(),
            })?;
        }
        self.resume_token = message.resume_token;
        match &self.args.position {
            Some(path) => keep(path, &self.resume_token),
            None => Ok(()),
        }
    }
}

fn kept(path: Option<&Path>) -> Result<String, Failure> {
    let Some(path) = path else { return Ok(String::new()) };
    match std::fs::read_to_string(path) {
        Ok(text) => Ok(text.trim().to_owned()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(String::new()),
        Err(error) => Err(file(path, &error)),
    }
}

/// Replaces the file as a whole, so that a reader that is killed finds the old token or the new one.
fn keep(path: &Path, token: &str) -> Result<(), Failure> {
    let new = path.with_added_extension("new");
    std::fs::write(&new, format!("{token}\n"))
        .and_then(|()| std::fs::rename(&new, path))
        .map_err(|error| file(path, &error))
}

fn file(path: &Path, error: &std::io::Error) -> Failure {
    Failure::File { path: path.to_owned(), why: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_position_is_kept_over_starts() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("erp.position");
        assert_eq!(kept(Some(&path)).unwrap(), "");
        for token in ["AQ", "Ab"] {
            keep(&path, token).unwrap();
            assert_eq!(kept(Some(&path)).unwrap(), token);
        }
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
        assert!(kept(Some(folder.path())).is_err());
    }
}
