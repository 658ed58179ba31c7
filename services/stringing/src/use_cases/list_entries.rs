//! Reading the journal page by page.

use becket_api::convert::timestamp;
use becket_api::digest::hex;
use becket_api::journal::{Entry, ListEntriesRequest, ListEntriesResponse};
use becket_api::json::to_struct;
use becket_store::Page;

use crate::app::App;
use crate::error::UseCaseError;

impl App {
    /// Entries by rising sequence.
    pub(crate) async fn list_entries(
        &self,
        mut request: ListEntriesRequest,
    ) -> Result<ListEntriesResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let after =
            listing.page.after.as_deref().map_or(Ok(0), str::parse).map_err(|_| UseCaseError::PageToken)?;
        let subject = Some(request.subject.as_str()).filter(|subject| !subject.is_empty());
        // One more than is shown tells whether there is another page.
        let limit = listing.page.limit;
        let fetched = self.store.entries(after, limit.saturating_add(1), subject).await?;
        let page = Page::from_fetched(fetched, limit, |entry| entry.sequence.to_string());
        Ok(ListEntriesResponse {
            entries: page.items.into_iter().map(shown).collect::<Result<_, _>>()?,
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}

/// An entry as it is shown.
fn shown(entry: becket_store::Entry) -> Result<Entry, UseCaseError> {
    let becket_store::Entry {
        sequence,
        entry_us,
        actor,
        origin,
        request_id,
        method,
        subject,
        before,
        after,
        hash,
    } = entry;
    let object = |json: String| match serde_json::from_str(&json) {
        Ok(serde_json::Value::Object(object)) => Ok(to_struct(&object)),
        _ => Err(UseCaseError::Internal(format!("entry {sequence} of the journal is no JSON object"))),
    };
    Ok(Entry {
        sequence,
        entry_time: Some(timestamp(entry_us)),
        actor,
        origin,
        request_id,
        method,
        subject,
        before: before.map(object).transpose()?,
        after: after.map(object).transpose()?,
        hash: hex(&hash),
    })
}
