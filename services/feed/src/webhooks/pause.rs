//! How long to wait before a receiver is tried again.

use std::time::Duration;

use becket_service_kit::WebhookSettings;
use sha2::{Digest, Sha256};

/// The pause after so many failed attempts: twice as long each time, up to the longest, of which between a half and the whole is waited. Where
/// in between follows from the receiver and the event, so that receivers that failed together do not come back together. What the
/// receiver asks for is kept to, up to the longest pause.
pub(crate) fn pause(
    settings: &WebhookSettings,
    webhook_id: &str,
    sequence: i64,
    attempts: i64,
    asked: Option<Duration>,
) -> Duration {
    let doublings = u32::try_from(attempts.saturating_sub(1)).unwrap_or(u32::MAX).min(30);
    let whole = settings.first_pause.saturating_mul(1 << doublings).min(settings.longest_pause);
    let digest: [u8; 32] = Sha256::digest(format!("{webhook_id} {sequence} {attempts}")).into();
    let [low, high, ..] = digest;
    let share = f64::from(u16::from_le_bytes([low, high])) / f64::from(u16::MAX);
    let wanted = whole.mul_f64(0.5 + share / 2.0);
    asked.map_or(wanted, |asked| asked.min(settings.longest_pause).max(wanted))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> WebhookSettings {
        WebhookSettings {
            allow_private_addresses: false,
            ca: None,
            timeout: Duration::from_secs(1),
            attempts: 5,
            first_pause: Duration::from_secs(1),
            longest_pause: Duration::from_secs(60),
            letter_retention: None,
        }
    }

    #[test]
    fn pauses_double_up_to_the_longest() {
        let s = Duration::from_secs;
        for (attempts, whole) in [(1, 1), (2, 2), (3, 4), (6, 32), (7, 60), (40, 60), (i64::MAX, 60)] {
            let waited = pause(&settings(), "erp", 7, attempts, None);
            assert!(waited >= s(whole) / 2 && waited <= s(whole), "{attempts}: {waited:?}");
        }
        let of = |id: &str| pause(&settings(), id, 7, 7, None);
        assert_ne!(of("erp"), of("crm"));
        assert_eq!(of("erp"), of("erp"));
    }

    #[test]
    fn what_a_receiver_asks_for_is_kept_to() {
        let of = |asked: u64| pause(&settings(), "erp", 7, 1, Some(Duration::from_secs(asked)));
        assert_eq!(of(30), Duration::from_secs(30));
        assert_eq!(of(3600), Duration::from_secs(60));
        assert!(of(0) >= Duration::from_millis(500));
    }
}
