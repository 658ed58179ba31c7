//! Digests: what makes two string sets, or two requests, the same.

use std::fmt::Write;

use sha2::{Digest, Sha256};

mod canonical;
mod later;
mod string_set;

pub use string_set::string_set_digest;

/// Returns the SHA-256 of a request under its method's name, by which a repeated request is told from another one under
/// the same request id.
///
/// `encoded` is the request as protobuf bytes with its `request_id` cleared. They come from the decoded message, so the
/// order of fields on the wire and unknown fields do not count.
#[must_use]
pub fn request_digest(method: &str, encoded: &[u8]) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update((method.len() as u64).to_le_bytes());
    hash.update(method.as_bytes());
    hash.update(encoded);
    hash.finalize().into()
}

/// Writes bytes as lower-case hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn method_and_body_are_kept_apart() {
        assert_ne!(request_digest("ab", b"c"), request_digest("a", b"bc"));
        assert_ne!(request_digest("a", b"b"), request_digest("a", b"c"));
        assert_eq!(request_digest("a", b"b"), request_digest("a", b"b"));
    }

    #[test]
    fn sha_256_of_nothing() {
        // FIPS 180-4 example value of the empty message, here behind the eight zero bytes of an empty method.
        let nothing: [u8; 32] = Sha256::digest(b"").into();
        assert_eq!(hex(&nothing), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        let zeros: [u8; 32] = Sha256::digest([0; 8]).into();
        assert_eq!(request_digest("", b""), zeros);
    }
}
