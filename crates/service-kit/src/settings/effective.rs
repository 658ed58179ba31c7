//! The settings as they are in effect, for people to look at.

use std::path::Path;

use super::reader::flattened;
use super::{Settings, SettingsError};

/// One key with its value and where that comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// The key, such as `limits.longest_deadline`.
    pub key: String,
    /// The value as TOML writes it; a password in an address is shown as `***`.
    pub value: String,
    /// A file, the environment or the built-in defaults.
    pub origin: String,
}

impl Settings {
    /// All keys in effect, by section and key. Secrets stand in files of their own, which are named and not shown; the one
    /// that can stand in a value is the password of an address, and it is masked.
    ///
    /// # Errors
    /// [`SettingsError::Unreadable`]. Values are not checked; [`Settings::load`] does that.
    pub fn effective(
        file: Option<&Path>,
        environment: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Vec<Setting>, SettingsError> {
        let values = flattened(Self::merged(file, environment)?);
        Ok(values
            .into_iter()
            .map(|(key, value)| {
                let origin = value.origin().unwrap_or("the built-in defaults").to_owned();
                let text = match &value.kind {
                    config::ValueKind::String(text) => format!("{:?}", without_password(text)),
                    other => other.to_string(),
                };
                Setting { key, value: text, origin }
            })
            .collect())
    }
}

/// Masks what stands between `user:` and `@` in an address (RFC 3986, 3.2.1), and a parameter `password`.
pub(super) fn without_password(text: &str) -> String {
    let mut shown = text.to_owned();
    if let Some(start) = shown.find("://").map(|at| at + 3) {
        let rest = &shown[start..];
        let end = rest.find(['/', '?', '#']).unwrap_or(rest.len());
        // A password may itself contain "@", so the last one counts.
        if let Some(at) = rest[..end].rfind('@')
            && let Some(colon) = rest[..at].find(':')
        {
            shown.replace_range(start + colon + 1..start + at, "***");
        }
    }
    if let Some(start) = shown.find("password=").map(|at| at + "password=".len()) {
        let end = shown[start..].find('&').map_or(shown.len(), |length| start + length);
        shown.replace_range(start..end, "***");
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passwords_are_masked() {
        for (text, shown) in [
            ("postgres://becket:s3cret@db/shop", "postgres://becket:***@db/shop"),
            ("postgres://becket:p@ss@db/shop", "postgres://becket:***@db/shop"),
            ("postgres://db/shop?user=a&password=s3cret&x=1", "postgres://db/shop?user=a&password=***&x=1"),
            ("postgres://becket@db/shop", "postgres://becket@db/shop"),
            ("http://127.0.0.1:7421", "http://127.0.0.1:7421"),
            ("becket.db", "becket.db"),
        ] {
            assert_eq!(without_password(text), shown);
        }
    }

    #[test]
    fn every_key_tells_where_it_comes_from() {
        let environment = [("BECKET__LIMITS__LONGEST_DEADLINE".to_owned(), "20s".to_owned())];
        let shown = Settings::effective(None, environment).unwrap();
        let of = |key: &str| shown.iter().find(|setting| setting.key == key).unwrap();
        assert_eq!(of("limits.longest_deadline").value, "\"20s\"");
        assert!(of("limits.longest_deadline").origin.contains("environment"));
        assert_eq!(of("telemetry.format").value, "\"text\"");
    }
}
