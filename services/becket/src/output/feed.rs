//! Events of the feed.

use serde_json::Value;

use super::{Sheet, left};

/// One line for an event.
pub(crate) fn event_line(event: &Value) -> String {
    let [id, time, kind, subject] = fields(event);
    format!("{id:>8}  {time}  {kind:<34}  {subject}")
}

/// An event as a row.
pub(crate) fn event_sheet(event: &Value) -> Sheet {
    let columns = [left("id"), left("time"), left("type"), left("subject")];
    Sheet::of(columns, std::iter::once(fields(event).map(str::to_owned).to_vec()))
}

fn fields(event: &Value) -> [&str; 4] {
    ["id", "time", "type", "subject"].map(|name| event.get(name).and_then(Value::as_str).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_one_line() {
        let event = serde_json::json!({
            "id": "12", "time": "2026-12-01T08:00:00Z", "type": "becket.coil.received.v1", "subject": "coils/C1", "data": {}
        });
        assert_eq!(
            event_line(&event),
            "      12  2026-12-01T08:00:00Z  becket.coil.received.v1             coils/C1"
        );
        assert_eq!(
            event_sheet(&event).csv_rows().trim(),
            "12,2026-12-01T08:00:00Z,becket.coil.received.v1,coils/C1"
        );
    }
}
