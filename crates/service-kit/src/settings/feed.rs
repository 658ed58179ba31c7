//! Sections `[feed]` and `[webhooks]`: what other programs are told, and how.

use std::path::PathBuf;
use std::time::Duration;

use super::HOUR;
use super::reader::Reader;

const DAY: Duration = Duration::from_secs(24 * 3600);

/// Section `[feed]`. The ranges stand in the commented defaults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedSettings {
    /// How far back events are told.
    pub retention: Duration,
    /// How long a reader may take nothing.
    pub slow_reader: Duration,
}

impl FeedSettings {
    pub(super) fn read(reader: &mut Reader) -> Option<Self> {
        // A year of humantime is 365.25 days.
        let retention = reader.duration("feed.retention", HOUR..=DAY * 36_525);
        let slow = reader.duration("feed.slow_reader", Duration::from_secs(1)..=HOUR);
        Some(Self { retention: retention?, slow_reader: slow? })
    }
}

/// Section `[webhooks]`. The ranges stand in the commented defaults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookSettings {
    /// Whether receivers may have private addresses.
    pub allow_private_addresses: bool,
    /// PEM file with authorities of receivers' certificates; absent, those of the system count.
    pub ca: Option<PathBuf>,
    /// How long a receiver may take to answer.
    pub timeout: Duration,
    /// How often an event is tried.
    pub attempts: u32,
    /// The pause after the first failed attempt.
    pub first_pause: Duration,
    /// The longest pause.
    pub longest_pause: Duration,
    /// How long dead letters are kept; `None` for ever.
    pub letter_retention: Option<Duration>,
}

impl WebhookSettings {
    pub(super) fn read(reader: &mut Reader) -> Option<Self> {
        let private = reader.truth("webhooks.allow_private_addresses");
        let ca = reader.optional_text("webhooks.ca");
        let timeout =
            reader.duration("webhooks.timeout", Duration::from_millis(100)..=Duration::from_secs(60));
        let attempts = reader.count("webhooks.attempts", 1..=100);
        let pause = Duration::from_millis(10)..=DAY;
        let first = reader.duration("webhooks.first_pause", pause.clone());
        let longest = reader.duration("webhooks.longest_pause", pause);
        let letters = reader.retention("webhooks.letter_retention");
        if let (Some(first), Some(longest)) = (first, longest)
            && first > longest
        {
            reader.note("webhooks.first_pause", "must not be longer than webhooks.longest_pause");
        }
        Some(Self {
            allow_private_addresses: private?,
            ca: ca?.map(PathBuf::from),
            timeout: timeout?,
            attempts: attempts?,
            first_pause: first?,
            longest_pause: longest?,
            letter_retention: letters?,
        })
    }
}
