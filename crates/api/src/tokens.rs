//! Page tokens: where the next page begins, in a form that a caller can only hand back.
//!
//! A token is url-safe base64 of one version byte, sixteen bytes of HMAC-SHA-256 and the cursor. The keyed hash covers
//! method, filter and cursor, so that a changed token, or one of another list or filter, is told from a good one and
//! never reads as a position. The cursor is not secret: it names the last thing that the caller was shown.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// Version of the layout; another one is refused as a changed token.
const VERSION: u8 = 1;
/// Bytes of the hash that are kept. 128 bits: forging one takes some 2^127 calls.
const TAG_LEN: usize = 16;
/// Longest token that is looked at; cursors are identifiers, far shorter.
const MAX_LEN: usize = 1024;

/// The token is not one of this service for this method and filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the page token is not one that this list gave with this filter; begin again with an empty one")]
pub struct TokenError;

/// Makes and checks page tokens with one key.
#[derive(Clone)]
pub struct PageTokens {
    key: [u8; 32],
}

// The key must not reach a log.
impl std::fmt::Debug for PageTokens {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PageTokens").finish_non_exhaustive()
    }
}

impl PageTokens {
    /// Takes the key: 32 random bytes that stay the same for as long as tokens should stay valid.
    #[must_use]
    pub const fn new(key: [u8; 32]) -> Self {
        Self { key }
    }

    /// Makes the token of the page that begins after `cursor`.
    ///
    /// `method` is the full name of the method, `filter` whatever decides what the list holds: the encoded request
    /// without page size and token, for instance.
    #[must_use]
    pub fn encode(&self, method: &str, filter: &[u8], cursor: &str) -> String {
        let tag = self.mac(method, filter, cursor).finalize().into_bytes();
        let mut bytes = vec![VERSION];
        bytes.extend(tag.iter().take(TAG_LEN));
        bytes.extend(cursor.as_bytes());
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// Returns the cursor of a token that [`PageTokens::encode`] made with the same key, method and filter.
    ///
    /// # Errors
    /// [`TokenError`] for anything else. The comparison takes the same time wherever the tokens differ.
    pub fn decode(&self, method: &str, filter: &[u8], token: &str) -> Result<String, TokenError> {
        if token.len() > MAX_LEN {
            return Err(TokenError);
        }
        let bytes = URL_SAFE_NO_PAD.decode(token).map_err(|_| TokenError)?;
        let (&version, rest) = bytes.split_first().ok_or(TokenError)?;
        if version != VERSION {
            return Err(TokenError);
        }
        let (tag, cursor) = rest.split_at_checked(TAG_LEN).ok_or(TokenError)?;
        let cursor = std::str::from_utf8(cursor).map_err(|_| TokenError)?;
        self.mac(method, filter, cursor).verify_truncated_left(tag).map_err(|_| TokenError)?;
        Ok(cursor.to_owned())
    }

    fn mac(&self, method: &str, filter: &[u8], cursor: &str) -> Hmac<Sha256> {
        // HMAC pads a short key with zeros to the hash's block; padding it here leaves no error to handle.
        let mut block = [0; 64];
        for (to, from) in block.iter_mut().zip(self.key) {
            *to = from;
        }
        let mut mac = Hmac::<Sha256>::new(&block.into());
        mac.update(&[VERSION]);
        for part in [method.as_bytes(), filter, cursor.as_bytes()] {
            // Lengths go in, so that no two triples give the same bytes.
            mac.update(&(part.len() as u64).to_le_bytes());
            mac.update(part);
        }
        mac
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const METHOD: &str = "becket.stringing.v1.WireService/ListWires";

    fn tokens() -> PageTokens {
        PageTokens::new([7; 32])
    }

    proptest! {
        #[test]
        fn a_token_reads_back(method in ".{0,40}", filter: Vec<u8>, cursor in ".{0,60}") {
            let token = tokens().encode(&method, &filter, &cursor);
            prop_assert!(token.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'));
            prop_assert_eq!(tokens().decode(&method, &filter, &token), Ok(cursor));
        }

        #[test]
        fn no_changed_token_passes(cursor in "[a-z0-9.-]{1,30}", at: prop::sample::Index, flip in 1_u8..=255) {
            let token = tokens().encode(METHOD, b"filter", &cursor);
            let mut bytes = URL_SAFE_NO_PAD.decode(token).unwrap();
            let at = at.index(bytes.len());
            bytes[at] ^= flip;
            let changed = URL_SAFE_NO_PAD.encode(bytes);
            prop_assert_eq!(tokens().decode(METHOD, b"filter", &changed), Err(TokenError));
        }

        #[test]
        fn garbage_is_refused(token in ".{0,80}") {
            prop_assert_eq!(tokens().decode(METHOD, b"", &token), Err(TokenError));
        }
    }

    #[test]
    fn a_token_belongs_to_its_method_filter_and_key() {
        let token = tokens().encode(METHOD, b"steel", "mw-in-13");
        assert!(tokens().decode(METHOD, b"steel", &token).is_ok());
        assert!(tokens().decode(METHOD, b"copper", &token).is_err());
        assert!(tokens().decode("other", b"steel", &token).is_err());
        assert!(PageTokens::new([8; 32]).decode(METHOD, b"steel", &token).is_err());
        // Moving a byte from the filter to the cursor must not give the same hash.
        assert_ne!(tokens().encode("m", b"ab", "c"), tokens().encode("m", b"a", "bc"));
    }

    #[test]
    fn short_and_long_ones_are_refused() {
        let token = tokens().encode(METHOD, b"", "x");
        for end in 0..token.len() {
            assert_eq!(tokens().decode(METHOD, b"", &token[..end]), Err(TokenError), "{end}");
        }
        assert_eq!(tokens().decode(METHOD, b"", &"A".repeat(MAX_LEN + 1)), Err(TokenError));
    }

    #[test]
    fn the_key_is_not_shown() {
        assert_eq!(format!("{:?}", tokens()), "PageTokens { .. }");
    }
}
