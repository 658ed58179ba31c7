//! Takes values out of merged settings and notes everything that is wrong with them.

use std::collections::{BTreeMap, HashSet};
use std::net::SocketAddr;
use std::ops::RangeInclusive;
use std::time::Duration;

use config::{Config, Value, ValueKind};

use super::Problem;
use crate::secret::Secret;

/// The values that nobody has taken yet, and the problems found.
pub(super) struct Reader {
    values: BTreeMap<String, Value>,
    origins: BTreeMap<String, String>,
    problems: Vec<Problem>,
}

impl Reader {
    pub(super) fn new(merged: Config) -> Self {
        let values = flattened(merged);
        let origins = values
            .iter()
            .map(|(key, value)| (key.clone(), value.origin().unwrap_or("the built-in defaults").to_owned()))
            .collect();
        Self { values, origins, problems: Vec::new() }
    }

    /// Notes a problem of a key.
    pub(super) fn note(&mut self, key: &str, what: &str) {
        let origin = self.origins.get(key).cloned().unwrap_or_else(|| "nowhere".to_owned());
        self.problems.push(Problem { key: key.to_owned(), origin, what: what.to_owned() });
    }

    /// Ends the reading: what nobody took is unknown.
    pub(super) fn finish(mut self) -> Vec<Problem> {
        let noted: HashSet<String> = self.problems.iter().map(|problem| problem.key.clone()).collect();
        let unknown: Vec<String> = self.values.keys().filter(|key| !noted.contains(*key)).cloned().collect();
        for key in unknown {
            self.note(&key, "is not a known key");
        }
        self.problems
    }

    /// Takes a text that is not empty.
    pub(super) fn text(&mut self, key: &str) -> Option<String> {
        match self.values.remove(key).map(|value| value.kind) {
            Some(ValueKind::String(text)) if !text.trim().is_empty() => Some(text),
            Some(_) => {
                self.note(key, "must be a text in quotes that is not empty");
                None
            }
            None => {
                self.note(key, "is missing");
                None
            }
        }
    }

    /// Takes a text that is not shown, and may be empty.
    pub(super) fn secret(&mut self, key: &str) -> Option<Secret> {
        match self.values.remove(key).map(|value| value.kind) {
            Some(ValueKind::String(text)) => Some(Secret::new(&text)),
            Some(_) => {
                self.note(key, "must be a text in quotes");
                None
            }
            None => {
                self.note(key, "is missing");
                None
            }
        }
    }

    /// Takes a whole number. In the environment it is a text of digits.
    pub(super) fn count(&mut self, key: &str, range: RangeInclusive<u32>) -> Option<u32> {
        let number = match self.values.remove(key).map(|value| value.kind) {
            Some(ValueKind::I64(number)) => u32::try_from(number).ok(),
            Some(ValueKind::String(digits)) => digits.parse().ok(),
            _ => None,
        };
        let found = number.filter(|number| range.contains(number));
        if found.is_none() {
            self.note(key, &format!("must be a whole number from {} to {}", range.start(), range.end()));
        }
        found
    }

    /// Takes a truth value. In the environment it is a text.
    pub(super) fn truth(&mut self, key: &str) -> Option<bool> {
        let found = match self.values.remove(key).map(|value| value.kind) {
            Some(ValueKind::Boolean(truth)) => Some(truth),
            Some(ValueKind::String(text)) => text.parse().ok(),
            _ => None,
        };
        if found.is_none() {
            self.note(key, "must be true or false");
        }
        found
    }

    /// Takes a length of time with its unit.
    pub(super) fn duration(&mut self, key: &str, range: RangeInclusive<Duration>) -> Option<Duration> {
        let text = self.text(key)?;
        let found = humantime::parse_duration(&text).ok().filter(|duration| range.contains(duration));
        if found.is_none() {
            let (low, high) =
                (humantime::format_duration(*range.start()), humantime::format_duration(*range.end()));
            self.note(
                key,
                &format!("{text:?} must be a time with its unit, such as \"10s\", from {low} to {high}"),
            );
        }
        found
    }

    /// Takes how long something is kept: a day or more, or for ever, which is `Some(None)`.
    #[expect(clippy::option_option, reason = "not allowed, for ever, a time")]
    pub(super) fn retention(&mut self, key: &str) -> Option<Option<Duration>> {
        const DAY: Duration = Duration::from_secs(24 * 3600);
        let text = self.text(key)?;
        if text == "forever" {
            return Some(None);
        }
        // A year of humantime is 365.25 days.
        let range = DAY..=DAY * 36_525;
        let found = humantime::parse_duration(&text).ok().filter(|duration| range.contains(duration));
        if found.is_none() {
            self.note(key, &format!("{text:?} must be \"forever\", or a time from 1day to 100years"));
        }
        found.map(Some)
    }

    /// Takes a size in bytes with its unit.
    pub(super) fn size(&mut self, key: &str, range: RangeInclusive<usize>) -> Option<usize> {
        let text = self.text(key)?;
        let found = parse_size(&text).filter(|size| range.contains(size));
        if found.is_none() {
            let what = format!(
                "{text:?} must be a size with its unit B, KiB or MiB, such as \"4MiB\", from {} to {} bytes",
                range.start(),
                range.end()
            );
            self.note(key, &what);
        }
        found
    }

    /// Takes a text that may be empty, which means that nothing is set. The outer option says whether it is allowed.
    #[expect(clippy::option_option, reason = "not allowed, not set, set")]
    pub(super) fn optional_text(&mut self, key: &str) -> Option<Option<String>> {
        match self.values.get(key).map(|value| &value.kind) {
            Some(ValueKind::String(text)) if text.trim().is_empty() => {
                self.values.remove(key);
                Some(None)
            }
            _ => self.text(key).map(Some),
        }
    }

    /// Takes an address with its port. `lacking` says what must be set before it may be other than loopback.
    pub(super) fn address(&mut self, key: &str, lacking: Option<&str>) -> Option<SocketAddr> {
        let text = self.text(key)?;
        match (text.parse::<SocketAddr>(), lacking) {
            (Ok(address), Some(lacking)) if !address.ip().is_loopback() => {
                self.note(key, &format!("{address} can be reached from other machines: {lacking}"));
                None
            }
            (Ok(address), _) => Some(address),
            (Err(_), _) => {
                self.note(
                    key,
                    &format!("{text:?} must be an IP address and a port, such as \"127.0.0.1:7421\""),
                );
                None
            }
        }
    }

    /// Takes a URL: `https://name:port`, or `http://address:port` with a loopback address.
    pub(super) fn endpoint(&mut self, key: &str) -> Option<String> {
        let text = self.text(key)?;
        if let Some(authority) = text.strip_prefix("https://") {
            if authority.parse::<http::uri::Authority>().is_ok() {
                return Some(text);
            }
        } else if let Some(address) =
            text.strip_prefix("http://").map(|address| address.trim_end_matches('/'))
        {
            match address.parse::<SocketAddr>() {
                Ok(address) if address.ip().is_loopback() => return Some(format!("http://{address}")),
                Ok(_) => {
                    self.note(key, &format!("{text:?} goes to another machine: it must begin with https://"));
                    return None;
                }
                Err(_) => {}
            }
        }
        self.note(key, &format!("{text:?} must be https:// with a name and a port, or http:// with a loopback address and a port"));
        None
    }
}

/// All values by dotted key.
pub(super) fn flattened(merged: Config) -> BTreeMap<String, Value> {
    let mut values = BTreeMap::new();
    if let ValueKind::Table(sections) = merged.cache.kind {
        for (section, value) in sections {
            flatten(&section, value, &mut values);
        }
    }
    values
}

/// Lays nested tables out as dotted keys.
fn flatten(prefix: &str, value: Value, into: &mut BTreeMap<String, Value>) {
    match value.kind {
        ValueKind::Table(table) => {
            for (key, inner) in table {
                flatten(&format!("{prefix}.{key}"), inner, into);
            }
        }
        _ => {
            into.insert(prefix.to_owned(), value);
        }
    }
}

/// Reads "512B", "512KiB" or "4MiB".
fn parse_size(text: &str) -> Option<usize> {
    let split = text.find(|c: char| !c.is_ascii_digit())?;
    let (digits, unit) = text.split_at(split);
    let factor = match unit.trim_start() {
        "B" => 1,
        "KiB" => super::KIB,
        "MiB" => super::MIB,
        _ => return None,
    };
    digits.parse::<usize>().ok()?.checked_mul(factor)
}
