//! Reading of ids and days from requests.

use becket_floor::{IdError, is_iso_date};
use becket_units::Fault;

/// Reads an id that must be there.
pub(crate) fn id<T>(
    field: &str,
    text: &str,
    new: impl FnOnce(String) -> Result<T, IdError>,
) -> Result<T, Fault> {
    new(text.to_owned()).map_err(|error| Fault::new(field, error.text, error.allowed))
}

/// Reads an id of a filter; an empty one filters nothing.
pub(crate) fn optional_id<T>(
    field: &str,
    text: &str,
    new: impl FnOnce(String) -> Result<T, IdError>,
) -> Result<Option<T>, Fault> {
    if text.is_empty() { Ok(None) } else { id(field, text, new).map(Some) }
}

/// Checks a day.
pub(crate) fn day(field: &str, text: &str) -> Result<(), Fault> {
    if is_iso_date(text) {
        return Ok(());
    }
    let shown: String = text.chars().take(63).collect();
    Err(Fault::new(field, shown, "a day in ISO 8601, such as 2026-11-30"))
}

/// Checks the length of a note for the journal.
pub(crate) fn note(field: &str, text: &str) -> Result<(), Fault> {
    const LONGEST: usize = 500;
    let length = text.chars().count();
    if length <= LONGEST {
        return Ok(());
    }
    Err(Fault::new(field, format!("{length} characters"), format!("up to {LONGEST} characters")))
}

/// Takes what is good out of results and notes the faults of the others.
pub(crate) fn keep<T>(result: Result<T, Fault>, faults: &mut Vec<Fault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}
