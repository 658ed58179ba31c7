//! First answers to requests, and requests whose answer was dropped.

use super::corrupt;
use crate::context::WriteContext;
use crate::error::StoreError;

/// What is known of a request, by caller ($1), method ($2) and request id ($3): its digest and first answer while they are kept, and the
/// sequence of an entry that it made. Both engines read it.
pub const FIND_ANSWER_SQL: &str = "SELECT digest, answer, 0 AS sequence FROM answers \
    WHERE actor = $1 AND method = $2 AND request_id = $3 UNION ALL SELECT NULL, NULL, made.sequence FROM \
    (SELECT sequence FROM journal WHERE request_id = $3 AND method = $2 AND actor = $1 LIMIT 1) AS made";

/// A row of [`FIND_ANSWER_SQL`].
pub type FoundAnswer = (Option<Vec<u8>>, Option<Vec<u8>>, i64);

/// The first answer to a request by what was found of it; `None` if it is new.
///
/// # Errors
/// [`StoreError::RequestIdReused`], [`StoreError::AnswerDropped`].
pub fn answer_of(found: Vec<FoundAnswer>, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
    let mut made = None;
    for row in found {
        match row {
            (Some(digest), Some(answer), _) if digest == ctx.request_digest => return Ok(Some(answer)),
            (Some(_), Some(_), _) => return Err(StoreError::RequestIdReused),
            (None, None, sequence) => made = Some(sequence),
            _ => return Err(corrupt("a first answer without its digest")),
        }
    }
    match made {
        Some(sequence) => Err(StoreError::AnswerDropped { sequence }),
        None => Ok(None),
    }
}
