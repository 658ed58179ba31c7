//! Effects on receivers of events.

use crate::effect::{Effect, Fields, digest};
use crate::webhooks::NewWebhook;

fn row(webhook: &NewWebhook, gone: bool, created_us: i64) -> Fields {
    // Destructured without `..`: a new field must get its column.
    let NewWebhook { webhook_id, url, types, subject_prefix, secret } = webhook;
    vec![
        ("webhook_id", webhook_id.as_str().into()),
        ("url", url.as_str().into()),
        ("types", types.join(" ").into()),
        ("subject_prefix", subject_prefix.as_str().into()),
        ("secret", digest(secret.0.as_bytes())),
        ("state", if gone { "gone" } else { "active" }.into()),
        ("created_us", created_us.into()),
    ]
}

/// A receiver is new.
pub(in crate::tables) fn created(webhook: &NewWebhook, now_us: i64) -> Effect {
    Effect::Put { table: "webhooks", row: row(webhook, false, now_us) }
}

/// A receiver is no more.
pub(in crate::tables) fn removed(webhook: &NewWebhook, gone: bool, created_us: i64) -> Effect {
    Effect::Drop { table: "webhooks", row: row(webhook, gone, created_us) }
}

/// A receiver is gone for good.
pub(in crate::tables) fn gone(webhook_id: &str) -> Effect {
    let state = |word: &str| vec![("state", word.into())];
    let key = vec![("webhook_id", webhook_id.into())];
    Effect::Set { table: "webhooks", key, was: state("active"), to: state("gone") }
}
