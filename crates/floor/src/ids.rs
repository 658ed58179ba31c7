//! Names of the things on the floor.
//!
//! The floor gives names only to lists. All others come from outside and are opaque here; what is checked is that they
//! can be shown, sorted and used as keys.

use std::borrow::Borrow;
use std::fmt;

/// Refusal of a text that is not an id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is not {kind}: {allowed}")]
pub struct IdError {
    /// What was wanted, such as "a coil id".
    pub kind: &'static str,
    /// The refused text, cut after 63 characters.
    pub text: String,
    /// What is allowed.
    pub allowed: &'static str,
}

const NAME_RULE: &str =
    "1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit";
const PIECE_RULE: &str = "1 to 63 letters A-Z and a-z, digits, '.', '-', '_' and '+'";

fn is_name(text: &str) -> bool {
    let first_ok = text.bytes().next().is_some_and(|b| b.is_ascii_alphanumeric());
    first_ok && text.len() <= 63 && text.bytes().all(|b| b.is_ascii_alphanumeric() || b".-_".contains(&b))
}

/// A piece of note -3 begins with '-'.
fn is_piece(text: &str) -> bool {
    (1..=63).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphanumeric() || b".-_+".contains(&b))
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident, $kind:literal, $check:ident, $rule:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(String);

        impl $name {
            /// The rule in words, as the `allowed` part of a fault.
            pub const ALLOWED: &'static str = $rule;

            /// Takes a text that keeps to the rule of [`ALLOWED`](Self::ALLOWED).
            ///
            /// # Errors
            /// [`IdError`] with the text, if it does not keep to the rule.
            pub fn new(text: impl Into<String>) -> Result<Self, IdError> {
                let text = text.into();
                if $check(&text) {
                    Ok(Self(text))
                } else {
                    Err(IdError { kind: $kind, text: text.chars().take(63).collect(), allowed: $rule })
                }
            }

            /// The id as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        // Lets maps be searched with a plain text; order, equality and hash are those of the text.
        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    };
}

id!(
    /// A coil.
    CoilId, "a coil id", is_name, NAME_RULE
);
id!(
    /// A lot or heat of wire.
    LotId, "a lot id", is_name, NAME_RULE
);
id!(
    /// A wire of the catalogue, by its name there.
    WireId, "a wire id", is_name, NAME_RULE
);
id!(
    /// An instrument, by its serial number.
    SerialId, "a serial id", is_name, NAME_RULE
);
id!(
    /// A section of a scale.
    SectionId, "a section id", is_name, NAME_RULE
);
id!(
    /// A wire station.
    StationId, "a station id", is_name, NAME_RULE
);
id!(
    /// A cut list.
    ListId, "a list id", is_name, NAME_RULE
);
id!(
    /// A piece within the string set of its serial, such as "52.3+53.1".
    PieceId, "a piece id", is_piece, PIECE_RULE
);

impl ListId {
    /// The name of the list with this number: "L-0007"; more than four digits where they are needed.
    #[must_use]
    pub fn numbered(number: u32) -> Self {
        Self(format!("L-{number:04}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_hold() {
        let long = "a".repeat(63);
        for good in ["a", "0", "C-17", "Lot_9.b", long.as_str()] {
            assert_eq!(CoilId::new(good).unwrap().as_str(), good);
        }
        let too_long = "a".repeat(64);
        for bad in ["", "-a", ".a", "a b", "a/b", "ä", "a+b", "a\n", too_long.as_str()] {
            assert!(SerialId::new(bad).is_err(), "{bad:?}");
        }
        for good in ["52.3+53.1", "-3.1", "88.3"] {
            assert!(PieceId::new(good).is_ok(), "{good:?}");
        }
        for bad in ["", "52 3", "52/3"] {
            assert!(PieceId::new(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn lists_are_numbered() {
        assert_eq!(ListId::numbered(7).as_str(), "L-0007");
        assert_eq!(ListId::numbered(123_456).as_str(), "L-123456");
    }
}
