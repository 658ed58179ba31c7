//! Receivers of events by HTTP.

use becket_api::feed::{DeadLetter, Webhook, WebhookState};

use super::{Sheet, left, names::time, right};

/// One row for each receiver.
pub(crate) fn webhook_sheet(webhooks: &[Webhook]) -> Sheet {
    let columns = [
        left("webhook"),
        left("url"),
        left("state"),
        right("told", ""),
        right("failed", ""),
        right("dead letters", ""),
        left("last error"),
    ];
    let rows = webhooks.iter().map(|webhook| {
        let state = if webhook.state == i32::from(WebhookState::Gone) { "gone" } else { "active" };
        vec![
            webhook.webhook_id.clone(),
            webhook.url.clone(),
            state.to_owned(),
            webhook.told_sequence.to_string(),
            webhook.failed_attempts.to_string(),
            webhook.dead_letters.to_string(),
            webhook.last_error.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each event that could not be told.
pub(crate) fn letter_sheet(letters: &[DeadLetter]) -> Sheet {
    let columns =
        [right("event", ""), right("attempts", ""), left("failed"), left("again"), left("last error")];
    let rows = letters.iter().map(|letter| {
        vec![
            letter.sequence.to_string(),
            letter.attempts.to_string(),
            time(letter.fail_time.as_ref()),
            if letter.queued { "yes" } else { "" }.to_owned(),
            letter.last_error.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn receivers_and_letters_are_rows() {
        let webhook = Webhook {
            webhook_id: "erp".into(),
            url: "https://erp.example/".into(),
            state: WebhookState::Gone.into(),
            told_sequence: 7,
            failed_attempts: 2,
            dead_letters: 1,
            last_error: "answered 500".into(),
            ..Webhook::default()
        };
        assert_eq!(
            webhook_sheet(&[webhook]).csv_rows().trim(),
            "erp,https://erp.example/,gone,7,2,1,answered 500"
        );
        let letter = DeadLetter { sequence: 8, attempts: 12, queued: true, ..DeadLetter::default() };
        assert!(letter_sheet(&[letter]).csv_rows().starts_with("8,12,"));
    }
}
