//! The one rule for identifiers that people type and files carry.

/// Longest identifier in characters.
const MAX_LEN: usize = 63;

/// Why a text is not an identifier.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{text:?} is not an identifier: 1 to 63 characters, lower-case letters a-z, digits, '.', '-' and '_', \
     beginning with a letter or digit"
)]
pub struct IdentifierError {
    /// The refused text; cut after 63 characters, since a hostile one may be long.
    pub text: String,
}

impl IdentifierError {
    /// The rule in words, as the `allowed` part of a fault.
    pub const ALLOWED: &str =
        "1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit";
}

/// Accepts `text` if it is 1 to 63 lower-case letters, digits, `.`, `-` and `_`, beginning with a letter or
/// digit.
///
/// # Errors
/// [`IdentifierError`] with the text; never panics.
///
/// # Examples
/// ```
/// use becket_units::check_identifier;
/// assert!(check_identifier("mw-in-13.5").is_ok());
/// assert!(check_identifier("MW 13").is_err());
/// ```
pub fn check_identifier(text: &str) -> Result<(), IdentifierError> {
    let word = |b: &u8| b.is_ascii_lowercase() || b.is_ascii_digit();
    let bytes = text.as_bytes();
    let first_ok = bytes.first().is_some_and(word);
    if first_ok && bytes.len() <= MAX_LEN && bytes.iter().all(|b| word(b) || b".-_".contains(b)) {
        Ok(())
    } else {
        Err(IdentifierError { text: text.chars().take(MAX_LEN).collect() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits() {
        let long = "a".repeat(63);
        for good in ["a", "0", "13.5", "mw-mm-13.5", "a_b", long.as_str()] {
            assert_eq!(check_identifier(good), Ok(()), "{good}");
        }
        let too_long = "a".repeat(64);
        for bad in ["", ".a", "-a", "_a", "A", "a b", "ä", "a/b", "a\n", too_long.as_str()] {
            assert!(check_identifier(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn error_text_is_bounded() {
        let error = check_identifier(&"é".repeat(10_000)).unwrap_err();
        assert_eq!(error.text.chars().count(), 63);
    }
}
