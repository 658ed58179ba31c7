//! Reading the journal page by page.

use becket_api::convert::timestamp;
use becket_api::digest::hex;
use becket_api::journal::{Entry, ListEntriesRequest, ListEntriesResponse};
use becket_api::json::to_struct;
use becket_service_kit::{Listing, RequestError};
use becket_store::{Page, PageRequest};
use prost::Message as _;

use crate::Journal;
use crate::changes::changes;
use crate::error::JournalError;

/// A page ends with the entry that reaches this size, in bytes.
const PAGE_BYTES: usize = 2 * 1024 * 1024;

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
        let (mut entries, mut next, mut bytes) = (Vec::new(), page.next, 0);
        let count = page.items.len();
        for entry in page.items {
            let sequence = entry.sequence;
            let entry = shown(entry, request.show_changes)?;
            bytes += entry.encoded_len();
            entries.push(entry);
            if bytes >= PAGE_BYTES && entries.len() < count {
                next = Some(sequence.to_string());
                break;
            }
        }
        let next_page_token = listing.next_page_token(next.as_deref());
        Ok(ListEntriesResponse { entries, next_page_token })
    }
}

/// An entry as it is shown.
fn shown(entry: becket_store::Entry, show_changes: bool) -> Result<Entry, JournalError> {
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
        effects,
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
        changes: match effects {
            Some(effects) if show_changes => {
                changes(&effects).map_err(|_| JournalError::Damaged { sequence })?
            }
            _ => Vec::new(),
        },
    })
}
