//! `watch`.

use std::time::Duration;

use becket_api::cutting::{CutListState, WatchCutListRequest, WatchCutListResponse};
use tonic::{Code, Status};

use crate::{
    cli::{Format, Watch},
    context::{Context, json_line, print},
    errors::Failure,
    output,
};

/// Pauses before the stream is opened again after it broke; after the last the server counts as gone.
const PAUSES: [Duration; 4] =
    [Duration::from_millis(200), Duration::from_secs(1), Duration::from_secs(3), Duration::from_secs(5)];

/// Follows a list until it has ended. A stream that breaks is taken up where it stopped.
///
/// # Errors
/// [`Failure`] of the stream or of printing.
pub(super) async fn watch(context: &Context, args: &Watch) -> Result<(), Failure> {
    let service = context.client.cut_lists();
    let mut resume_token = String::new();
    let mut pauses = PAUSES.iter();
    loop {
        let broken = match follow(context, &args.list_id, &mut resume_token).await {
            Ok(Followed::Ended) => return Ok(()),
            Ok(Followed::Broken { status, progressed }) => {
                if progressed {
                    pauses = PAUSES.iter();
                }
                status
            }
            Err(failure) => return Err(failure),
        };
        match pauses.next() {
            Some(pause) if broken.code() == Code::Unavailable => tokio::time::sleep(*pause).await,
            _ => return Err(service.failure(broken)),
        }
    }
}

enum Followed {
    /// The list has ended.
    Ended,
    /// The stream broke, after messages or before any.
    Broken { status: Status, progressed: bool },
}

async fn follow(context: &Context, list_id: &str, resume_token: &mut String) -> Result<Followed, Failure> {
    let request = WatchCutListRequest { list_id: list_id.to_owned(), resume_token: resume_token.clone() };
    let opened = context
        .client
        .cut_lists()
        .open(request, |mut client, request| async move { client.watch_cut_list(request).await })
        .await;
    let mut progressed = false;
    let mut stream = match opened {
        Ok(stream) => stream,
        Err(status) => return Ok(Followed::Broken { status, progressed }),
    };
    let mut ended = false;
    loop {
        match stream.message().await {
            Ok(Some(seen)) => {
                progressed = true;
                resume_token.clone_from(&seen.resume_token);
                ended = has_ended(&seen);
                if !seen.heartbeat {
                    print(&line(context, &seen)?)?;
                }
            }
            Ok(None) if ended => return Ok(Followed::Ended),
            Ok(None) => {
                let status = Status::unavailable("the server closed the stream before the list ended");
                return Ok(Followed::Broken { status, progressed });
            }
            Err(status) => return Ok(Followed::Broken { status, progressed }),
        }
    }
}

fn line(context: &Context, seen: &WatchCutListResponse) -> Result<String, Failure> {
    match context.format {
        Format::Json => json_line(seen),
        Format::Table => Ok(output::watch_line(seen, context.units)),
        Format::Csv => Ok(output::steps_sheet(&seen.next, context.units).csv_rows()),
    }
}

fn has_ended(seen: &WatchCutListResponse) -> bool {
    [CutListState::Finished, CutListState::Cancelled].into_iter().any(|state| seen.state == i32::from(state))
}
