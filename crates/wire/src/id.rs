//! Identifiers of wires.

use std::{borrow::Borrow, fmt, str::FromStr, sync::Arc};

use becket_units::{IdentifierError, check_identifier};

/// Identifier of a wire in the catalogue, such as `mw-in-13.5`.
///
/// One to 63 lower-case letters, digits, `.`, `-` and `_`, beginning with a letter or digit. Cloning is
/// cheap.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WireId(Arc<str>);

impl WireId {
    /// Accepts `text` as an identifier.
    ///
    /// # Errors
    /// [`IdentifierError`] if it breaks the rule for identifiers.
    pub fn new(text: &str) -> Result<Self, IdentifierError> {
        check_identifier(text)?;
        Ok(Self(text.into()))
    }

    /// Returns the text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for WireId {
    type Err = IdentifierError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::new(text)
    }
}

impl fmt::Display for WireId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl AsRef<str> for WireId {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

// Lets a catalogue be searched with a plain text; order, equality and hash are those of the text.
impl Borrow<str> for WireId {
    fn borrow(&self) -> &str {
        &self.0
    }
}
