//! Names of models, revisions and sections, and the small ids of strings and pieces.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use becket_units::{IdentifierError, check_identifier};

/// Lowest note number of any compass: C0.
pub const LOWEST_NOTE: i16 = -8;

/// Highest note number of any compass: C8.
pub const HIGHEST_NOTE: i16 = 88;

/// Largest number of strings tuned alike in one note.
pub const MAX_UNISONS: u8 = 4;

/// Refusal of a text that is not the id of a string or piece.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{value:?} is not {kind}: {allowed}")]
pub struct IdError {
    /// What was wanted, such as "a string id".
    pub kind: &'static str,
    /// The text that was given.
    pub value: String,
    /// What is allowed.
    pub allowed: &'static str,
}

macro_rules! text_id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// Takes a text that keeps to the rule of [`check_identifier`].
            ///
            /// # Errors
            /// [`IdentifierError`] with the text, if it does not keep to the rule.
            pub fn new(text: &str) -> Result<Self, IdentifierError> {
                check_identifier(text)?;
                Ok(Self(text.into()))
            }

            /// The id as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl FromStr for $name {
            type Err = IdentifierError;

            fn from_str(text: &str) -> Result<Self, IdentifierError> {
                Self::new(text)
            }
        }
    };
}

text_id!(
    /// Id of a model; cheap to clone.
    ModelId
);
text_id!(
    /// Id of a revision of a model; cheap to clone.
    RevisionId
);
text_id!(
    /// Id of a section of a scale; cheap to clone.
    SectionId
);

/// A string within its set: the note and the number of the string in its note, written "52.3".
///
/// Sorts by note, then by number. It is two small numbers and not a text, so that a set is computed without
/// putting texts together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StringId {
    note: i16,
    number: u8,
}

impl StringId {
    /// The string `number` (1 to 4) of `note` (−8 to 88); `None` outside those ranges.
    pub fn new(note: i16, number: u8) -> Option<Self> {
        let known = (LOWEST_NOTE..=HIGHEST_NOTE).contains(&note) && (1..=MAX_UNISONS).contains(&number);
        known.then_some(Self { note, number })
    }

    /// For rows of a validated scale, whose ranges are known to hold.
    pub(crate) const fn of_row(note: i16, number: u8) -> Self {
        Self { note, number }
    }

    /// Note, −8 to 88.
    pub const fn note(self) -> i16 {
        self.note
    }

    /// Number of the string in its note, from 1.
    pub const fn number(self) -> u8 {
        self.number
    }
}

impl fmt::Display for StringId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.note, self.number)
    }
}

const STRING_ID_RULE: &str = "note (-8 to 88), dot, number of the string (1 to 4), such as \"52.3\"";

impl FromStr for StringId {
    type Err = IdError;

    /// Reads "52.3". Only the form that [`StringId`] displays is taken: "052.3" and "+52.3" are refused, so that one
    /// string has one id.
    fn from_str(text: &str) -> Result<Self, IdError> {
        let read = || {
            let (note, number) = text.split_once('.')?;
            Self::new(note.parse().ok()?, number.parse().ok()?)
        };
        read().filter(|id| id.to_string() == text).ok_or_else(|| IdError {
            kind: "a string id",
            value: text.to_owned(),
            allowed: STRING_ID_RULE,
        })
    }
}

/// A piece within its set: the strings that it makes, joined by '+' and written "52.3" or "52.3+53.1".
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PieceId {
    first: StringId,
    second: Option<StringId>,
}

impl PieceId {
    /// The piece of one string.
    pub const fn single(string: StringId) -> Self {
        Self { first: string, second: None }
    }

    /// The looped piece of two strings; `None` unless `first` comes before `second`.
    pub fn pair(first: StringId, second: StringId) -> Option<Self> {
        (first < second).then_some(Self { first, second: Some(second) })
    }

    /// For rows of a validated scale, which are known to rise.
    pub(crate) const fn of_rows(first: StringId, second: Option<StringId>) -> Self {
        Self { first, second }
    }

    /// First, or only, string.
    pub const fn first(self) -> StringId {
        self.first
    }

    /// Second string of a looped pair.
    pub const fn second(self) -> Option<StringId> {
        self.second
    }

    /// The strings in order.
    pub fn strings(self) -> impl Iterator<Item = StringId> {
        std::iter::once(self.first).chain(self.second)
    }
}

impl fmt::Display for PieceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.second {
            Some(second) => write!(f, "{}+{second}", self.first),
            None => self.first.fmt(f),
        }
    }
}

impl FromStr for PieceId {
    type Err = IdError;

    fn from_str(text: &str) -> Result<Self, IdError> {
        let refuse = || IdError {
            kind: "a piece id",
            value: text.to_owned(),
            allowed: "one string id, or two in rising order joined by '+', such as \"52.3+53.1\"",
        };
        match text.split_once('+') {
            None => text.parse().map(Self::single).map_err(|_| refuse()),
            Some((first, second)) => {
                let first = first.parse().map_err(|_| refuse())?;
                let second = second.parse().map_err(|_| refuse())?;
                Self::pair(first, second).ok_or_else(refuse)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_ids_keep_to_the_rule() {
        for good in ["a", "7", "concert-270", "tenor_low.2", &"x".repeat(63)] {
            assert_eq!(SectionId::new(good).unwrap().as_str(), good);
        }
        for bad in ["", "-a", ".a", "_a", "A", "a b", "ä", "a\n", &"x".repeat(64)] {
            assert!(ModelId::new(bad).is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn ids_have_one_spelling() {
        for bad in [
            "", "52", "52.", ".3", "052.3", "+52.3", "52.03", "52.0", "52.5", "89.1", "-9.1", "52.3 ",
            "52.3.1",
        ] {
            assert!(bad.parse::<StringId>().is_err(), "{bad:?} was taken");
        }
        for bad in ["52.3+", "+53.1", "53.1+52.3", "52.3+52.3", "52.3+53.1+53.2", "52.3 + 53.1"] {
            assert!(bad.parse::<PieceId>().is_err(), "{bad:?} was taken");
        }
        assert_eq!("52.3+53.1".parse::<PieceId>().unwrap().to_string(), "52.3+53.1");
        assert_eq!("-8.1".parse::<PieceId>().unwrap().first().note(), -8);
    }

    proptest! {
        #[test]
        fn string_and_piece_ids_read_back(a in -8i16..=88, i in 1u8..=4, b in -8i16..=88, j in 1u8..=4) {
            let (first, second) = (StringId::new(a, i).unwrap(), StringId::new(b, j).unwrap());
            prop_assert_eq!(first.to_string().parse::<StringId>().unwrap(), first);
            let single = PieceId::single(first);
            prop_assert_eq!(single.to_string().parse::<PieceId>().unwrap(), single);
            match PieceId::pair(first, second) {
                Some(pair) => prop_assert_eq!(pair.to_string().parse::<PieceId>().unwrap(), pair),
                None => prop_assert!(first >= second),
            }
        }

        #[test]
        fn no_text_makes_ids_panic(text in ".*") {
            let _ = text.parse::<StringId>();
            let _ = text.parse::<PieceId>();
        }
    }
}
