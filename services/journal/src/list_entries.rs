//! Reading the journal page by page.

use becket_api::convert::timestamp;
use becket_api::digest::hex;
use becket_api::journal::{Entry, ListEntriesRequest, ListEntriesResponse};
use becket_api::json::to_struct;
use becket_service_kit::{Listing, RequestError};
use becket_store::{Page, PageRequest};

use crate::Journal;
use crate::error::JournalError;

impl Journal {
    /// Entries by rising sequence.
    pub(crate) async fn entries(
        &self,
        mut request: ListEntriesRequest,
    ) -> Result<ListEntriesResponse, JournalError> {
        let listing = Listing::begin(&self.tokens, &mut request)?;
        let PageRequest { after, limit } = &listing.page;
        let after = after.as_deref().map(str::parse).transpose().map_err(|_| RequestError::PageToken)?;
        let subject = Some(request.subject.as_str()).filter(|subject| !subject.is_empty());
        // One more than is shown tells whether there is another page.
        let fetched = self.store.entries(after.unwrap_or(0), limit.saturating_add(1), subject).await?;
        let page = Page::from_fetched(fetched, *limit, |entry| entry.sequence.to_string());
        let next_page_token = listing.next_page_token(page.next.as_deref());
        Ok(ListEntriesResponse {
            entries: page.items.into_iter().map(shown).collect::<Result<_, _>>()?,
            next_page_token,
        })
    }
}

/// An entry as it is shown.
fn shown(entry: becket_store::Entry) -> Result<Entry, JournalError> {
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
        // For verification, which reads the database itself.
        effects: _,
        hash,
    } = entry;
    let object = |json: String| match serde_json::from_str(&json) {
        Ok(serde_json::Value::Object(object)) => Ok(to_struct(&object)),
        _ => Err(JournalError::Damaged { sequence }),
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
