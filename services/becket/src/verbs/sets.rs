//! `show sets`: the sets of many serials, one after the other as they are computed.

use becket_api::stringing::{
    ComputeJobSetsRequest, ComputeJobSetsResponse, SetView, compute_job_sets_response::Result as Outcome,
};

use crate::{
    cli::{Format, Sets},
    context::{Context, json_line, print},
    errors::Failure,
    output,
};

/// Prints each set as it arrives. A serial without a set is a line of its own, and the others follow.
///
/// # Errors
/// [`Failure`] of the stream or of printing.
pub(super) async fn run(context: &Context, args: &Sets) -> Result<(), Failure> {
    // Only json shows more than a summary.
    let whole = args.whole && context.format == Format::Json;
    let view = if whole { SetView::Full } else { SetView::Summary };
    let request = ComputeJobSetsRequest { serial_ids: args.serial_ids.clone(), view: Some(view.into()) };
    let service = context.client.string_sets();
    let opened = service
        .open(request, |mut client, request| async move { client.compute_job_sets(request).await })
        .await;
    let mut stream = opened.map_err(|status| service.failure(status))?;
    let mut seen = Vec::new();
    while let Some(answer) = stream.message().await.map_err(|status| service.failure(status))? {
        match context.format {
            Format::Json => print(&json_line(&answer)?)?,
            // A table's columns are as wide as their widest row, so it waits for all; summaries are short.
            Format::Table | Format::Csv => seen.push(answer),
        }
    }
    match context.format {
        Format::Json => Ok(()),
        Format::Csv => print(&output::sets_sheet(&seen, context.units).csv()),
        Format::Table => print(&table(&seen, context)),
    }
}

fn table(seen: &[ComputeJobSetsResponse], context: &Context) -> String {
    let mut text = output::sets_sheet(seen, context.units).table();
    for answer in seen {
        if let Some(Outcome::Refusal(refusal)) = &answer.result {
            text.push_str(&format!("{}: {}\n", answer.serial_id, refusal.message));
        }
    }
    text
}
