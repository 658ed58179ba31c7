//! Reading the journal page by page.

use becket_api::convert::timestamp;
use becket_api::digest::hex;
use becket_api::journal::{Entry, ListEntriesRequest, ListEntriesResponse};
use becket_api::json::to_struct;
use becket_store::Page;
use becket_units::Fault;
use prost::Message;

use crate::Journal;
use crate::error::JournalError;

const METHOD: &str = "becket.journal.v1.JournalService/ListEntries";
/// Largest page.
const MAX_PAGE_SIZE: i32 = 500;
/// Size of a page if the caller states none.
const DEFAULT_PAGE_SIZE: i32 = 100;

impl Journal {
    /// Entries by rising sequence.
    pub(crate) async fn entries(
        &self,
        mut request: ListEntriesRequest,
    ) -> Result<ListEntriesResponse, JournalError> {
        let limit = limit(std::mem::take(&mut request.page_size))?;
        let token = std::mem::take(&mut request.page_token);
        // What is left of the request is the filter.
        let filter = request.encode_to_vec();
        let after = if token.is_empty() { 0 } else { self.after(&filter, &token)? };
        let subject = Some(request.subject.as_str()).filter(|subject| !subject.is_empty());
        // One more than is shown tells whether there is another page.
        let fetched = self.store.entries(after, limit.saturating_add(1), subject).await?;
        let page = Page::from_fetched(fetched, limit, |entry| entry.sequence.to_string());
        let next = page.next.map(|cursor| self.tokens.encode(METHOD, &filter, &cursor));
        Ok(ListEntriesResponse {
            entries: page.items.into_iter().map(shown).collect::<Result<_, _>>()?,
            next_page_token: next.unwrap_or_default(),
        })
    }

    /// Sequence of the last entry of the page before.
    fn after(&self, filter: &[u8], token: &str) -> Result<i64, JournalError> {
        let cursor = self.tokens.decode(METHOD, filter, token).map_err(|_| JournalError::PageToken)?;
        cursor.parse().map_err(|_| JournalError::PageToken)
    }
}

fn limit(page_size: i32) -> Result<u32, JournalError> {
    let size = if page_size == 0 { DEFAULT_PAGE_SIZE } else { page_size };
    u32::try_from(size).ok().filter(|_| (1..=MAX_PAGE_SIZE).contains(&size)).ok_or_else(|| {
        let allowed = format!("1 to {MAX_PAGE_SIZE}, or 0 for {DEFAULT_PAGE_SIZE}");
        JournalError::PageSize(Fault::new("page_size", size, allowed))
    })
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
