//! Texts that must not be seen.

use std::fmt;

/// A text that neither logs nor errors nor dumps of settings show.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Takes a text. White space around it, such as the line's end of a file, is no part of it.
    #[must_use]
    pub fn new(text: &str) -> Self {
        Self(text.trim().to_owned())
    }

    /// The text itself, for whoever must send it.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_empty() { "(none)" } else { "(hidden)" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_not_shown() {
        let secret = Secret::new("hunter2\n");
        assert_eq!(format!("{secret:?}"), "(hidden)");
        assert_eq!(format!("{:?}", Secret::new("")), "(none)");
        assert_eq!(secret.reveal(), "hunter2");
    }
}
