//! Section `[feed]`: what other programs are told, and how.

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
