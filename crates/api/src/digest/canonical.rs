//! A byte form of values that is the same on every platform and in every version.
//!
//! Protobuf bytes would not do: the format leaves the order of fields to the writer. Here every value has one form:
//! integers as 8 bytes, little end first; doubles as the 8 bytes of IEEE 754, negative zero as zero; texts and lists
//! behind their length; an absent value as 0, one that is there behind 1.

use sha2::{Digest, Sha256};

/// Hashes values one after the other.
pub(super) struct Canonical(Sha256);

impl Canonical {
    /// Begins with the name of what is hashed, so that two kinds of things never share a digest.
    pub(super) fn new(domain: &str) -> Self {
        let mut canonical = Self(Sha256::new());
        canonical.text(domain);
        canonical
    }

    pub(super) fn integer(&mut self, value: i64) {
        self.0.update(value.to_le_bytes());
    }

    pub(super) fn number(&mut self, value: f64) {
        // Adding zero turns negative zero into zero and leaves every other number alone.
        self.0.update((value + 0.0).to_bits().to_le_bytes());
    }

    pub(super) fn text(&mut self, value: &str) {
        self.length(value.len());
        self.0.update(value.as_bytes());
    }

    fn length(&mut self, length: usize) {
        self.0.update((length as u64).to_le_bytes());
    }

    pub(super) fn optional<T>(&mut self, value: Option<T>, mut hash: impl FnMut(&mut Self, T)) {
        self.0.update([u8::from(value.is_some())]);
        if let Some(value) = value {
            hash(self, value);
        }
    }

    pub(super) fn list<T>(&mut self, values: &[T], mut hash: impl FnMut(&mut Self, &T)) {
        self.length(values.len());
        for value in values {
            hash(self, value);
        }
    }

    pub(super) fn finish(self) -> [u8; 32] {
        self.0.finalize().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn digest(hash: impl FnOnce(&mut Canonical)) -> [u8; 32] {
        let mut canonical = Canonical::new("test");
        hash(&mut canonical);
        canonical.finish()
    }

    #[test]
    fn what_differs_has_other_bytes() {
        let texts = |parts: &[&str]| digest(|hash| hash.list(parts, |hash, part| hash.text(part)));
        assert_ne!(texts(&["ab", "c"]), texts(&["a", "bc"]));
        assert_ne!(texts(&[]), texts(&[""]));
        let optional = |value| digest(|hash| hash.optional(value, Canonical::number));
        assert_ne!(optional(None), optional(Some(0.0)));
        assert_ne!(optional(Some(1.0)), optional(Some(1.0 + f64::EPSILON)));
        assert_ne!(digest(|hash| hash.integer(1)), digest(|hash| hash.number(f64::from_bits(2))));
        assert_ne!(Canonical::new("a").finish(), Canonical::new("b").finish());
    }

    #[test]
    fn zero_has_one_form() {
        assert_eq!(digest(|hash| hash.number(-0.0)), digest(|hash| hash.number(0.0)));
    }
}
