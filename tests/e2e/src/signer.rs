//! A provider of identities that tests play: its keys, and the tokens that it signs.
#![allow(clippy::expect_used, reason = "part of tests: without a key there is nothing to test")]

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use rcgen::{KeyPair, PKCS_ED25519, PublicKeyData as _};
use serde_json::json;

/// Who issues the tokens.
pub const ISSUER: &str = "https://id.shop.example";
/// For whom.
pub const AUDIENCE: &str = "becket";

/// A key of the provider.
#[derive(Debug)]
pub struct Signer {
    kid: &'static str,
    pair: KeyPair,
}

impl Signer {
    /// Makes a new key with this id.
    ///
    /// # Panics
    /// If the system gives no random numbers.
    #[must_use]
    pub fn new(kid: &'static str) -> Self {
        Self { kid, pair: KeyPair::generate_for(&PKCS_ED25519).expect("a key can be made") }
    }

    /// The key set with this key alone.
    #[must_use]
    pub fn set(&self) -> String {
        let x = URL_SAFE_NO_PAD.encode(self.pair.der_bytes());
        json!({ "keys": [{ "kty": "OKP", "crv": "Ed25519", "use": "sig", "kid": self.kid, "alg": "EdDSA", "x": x }] }).to_string()
    }

    /// A token of a station that is valid from one second since 1970-01-01T00:00:00Z to another one.
    ///
    /// # Panics
    /// If the key cannot sign.
    #[must_use]
    pub fn token(&self, from_s: i64, until_s: i64) -> String {
        let claims = json!({
            "iss": ISSUER, "aud": AUDIENCE, "sub": "bench-1", "nbf": from_s, "exp": until_s, "roles": ["station"],
        });
        let header = Header { kid: Some(self.kid.to_owned()), ..Header::new(Algorithm::EdDSA) };
        // The form of RFC 8410, section 7: fixed bytes, then the seed, which is where the generated key has it, too.
        let der = self.pair.serialize_der();
        let seed = der.windows(4).position(|bytes| bytes == [0x04, 0x22, 0x04, 0x20]).expect("a seed") + 4;
        let mut short = vec![
            0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
        ];
        short.extend(&der[seed..seed + 32]);
        jsonwebtoken::encode(&header, &claims, &EncodingKey::from_ed_der(&short)).expect("the key signs")
    }
}
