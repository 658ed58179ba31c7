//! Versions and times of stored things.

use prost_types::Timestamp;

/// Version and times that the store keeps beside a thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamps {
    /// Version, from 1.
    pub version: i64,
    /// When it was created, in µs since 1970 (UTC).
    pub create_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub update_us: i64,
}

impl Stamps {
    /// The etag that stands for the version.
    #[must_use]
    pub fn etag(&self) -> String {
        self.version.to_string()
    }

    /// Time of creation.
    #[must_use]
    pub fn create_time(&self) -> Timestamp {
        timestamp(self.create_us)
    }

    /// Time of the last change.
    #[must_use]
    pub fn update_time(&self) -> Timestamp {
        timestamp(self.update_us)
    }
}

/// The version for which an etag stands; `None` if it is none that [`Stamps::etag`] gives, and so not the current one.
#[must_use]
pub fn etag_version(etag: &str) -> Option<i64> {
    etag.parse().ok().filter(|version: &i64| *version > 0 && version.to_string() == etag)
}

const US_PER_S: i64 = 1_000_000;

/// A time in µs since 1970 (UTC) as a timestamp.
#[must_use]
pub fn timestamp(us: i64) -> Timestamp {
    // Below one million, so that a thousandfold fits.
    let nanos = i32::try_from(us.rem_euclid(US_PER_S)).unwrap_or_default() * 1_000;
    Timestamp { seconds: us.div_euclid(US_PER_S), nanos }
}

/// A timestamp in µs since 1970 (UTC), whole microseconds; `None` if it does not fit or its nanoseconds are not 0 to 999999999.
#[must_use]
pub fn micros(time: &Timestamp) -> Option<i64> {
    let Timestamp { seconds, nanos } = *time;
    if !(0..1_000_000_000).contains(&nanos) {
        return None;
    }
    seconds.checked_mul(US_PER_S)?.checked_add(i64::from(nanos / 1_000))
}
