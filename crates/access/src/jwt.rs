//! JSON Web Tokens (RFC 7519) of an identity provider, checked against its key set (RFC 7517).

use std::collections::HashMap;

use jsonwebtoken::jwk::{Jwk, JwkSet, KeyAlgorithm, PublicKeyUse};
use jsonwebtoken::{Algorithm, DecodingKey, Header, Validation};
use serde::Deserialize;

use crate::role::{Role, RoleSet};
use crate::{Caller, is_name};

/// Algorithms that are accepted: signatures with a public key only. With a shared secret (HS256 …) whoever can check a token
/// could make one, and "none" is no signature (RFC 8725, 3.1 and 3.2).
const ALGORITHMS: [Algorithm; 9] = [
    Algorithm::RS256,
    Algorithm::RS384,
    Algorithm::RS512,
    Algorithm::PS256,
    Algorithm::PS384,
    Algorithm::PS512,
    Algorithm::ES256,
    Algorithm::ES384,
    Algorithm::EdDSA,
];
/// How far the clocks of provider and service may differ, in seconds.
const LEEWAY_S: i64 = 60;
/// Longest token that is looked at, in bytes.
const LONGEST: usize = 8 * 1024;
/// Most keys of a set.
const MOST_KEYS: usize = 64;

/// What a token must say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JwtRules {
    /// Issuer (`iss`).
    pub issuer: String,
    /// Audience (`aud`) that must be among the token's.
    pub audience: String,
    /// Claim that holds the roles: one name or a list of names. Names that are no role of becket are passed over, since
    /// providers list groups of other programs too.
    pub roles_claim: String,
}

/// Why a token or a key set is not accepted. The texts name no part of a token.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum JwtError {
    /// The key set is not one.
    #[error("the key set cannot be read: {0}")]
    KeySet(String),
    /// The token is not a signed JSON Web Token.
    #[error("the token is not a signed JSON Web Token")]
    Malformed,
    /// It is signed in a way that is not accepted.
    #[error("the token is signed with an algorithm that is not accepted")]
    Algorithm,
    /// No key of the set has the token's key id. The set may be out of date.
    #[error("the token's key is not among the provider's")]
    UnknownKey,
    /// The signature is wrong, or issuer or audience are not as they must be.
    #[error("the token's signature, issuer or audience is not right")]
    Refused,
    /// It is not valid any more, or not yet.
    #[error("the token has expired or is not valid yet")]
    Expired,
    /// It names nobody, or has no role.
    #[error("the token names no subject of 1 to 64 printable ASCII characters, or none of becket's roles")]
    NoCaller,
}

/// Checks tokens against a key set.
#[derive(Debug, Clone)]
pub struct JwtVerifier {
    rules: JwtRules,
    keys: HashMap<String, (DecodingKey, Option<KeyAlgorithm>)>,
}

#[derive(Deserialize)]
struct Claims {
    sub: String,
    exp: f64,
    nbf: Option<f64>,
    #[serde(flatten)]
    others: HashMap<String, serde_json::Value>,
}

impl JwtVerifier {
    /// Takes the keys of a set (`{"keys": […]}`) that sign and have an id; other keys are passed over, as RFC 7517 asks.
    ///
    /// # Errors
    /// [`JwtError::KeySet`] if it is no key set, or has no key that can be used, or more than 64.
    pub fn new(rules: JwtRules, key_set_json: &str) -> Result<Self, JwtError> {
        let set: JwkSet =
            serde_json::from_str(key_set_json).map_err(|error| JwtError::KeySet(error.to_string()))?;
        if set.keys.len() > MOST_KEYS {
            return Err(JwtError::KeySet(format!("{} keys are more than {MOST_KEYS}", set.keys.len())));
        }
        let keys: HashMap<_, _> = set.keys.iter().filter_map(usable).collect();
        if keys.is_empty() {
            return Err(JwtError::KeySet("no key in it has an id and can check signatures".to_owned()));
        }
        Ok(Self { rules, keys })
    }

    /// Who a token says the caller is, `now_s` seconds after 1970-01-01T00:00:00Z.
    ///
    /// # Errors
    /// [`JwtError`], but not [`JwtError::KeySet`].
    pub fn caller(&self, token: &str, now_s: i64) -> Result<Caller, JwtError> {
        if token.len() > LONGEST {
            return Err(JwtError::Malformed);
        }
        let header = jsonwebtoken::decode_header(token).map_err(|_| JwtError::Malformed)?;
        let claims = self.signed_claims(token, &header)?;
        // Times are numbers that may have a fraction (RFC 7519, 2). The library would ask the clock of the machine.
        #[expect(clippy::cast_precision_loss, reason = "seconds of this era are exact in f64")]
        let (earliest, latest) = ((now_s - LEEWAY_S) as f64, (now_s + LEEWAY_S) as f64);
        let in_time = claims.exp > earliest && claims.nbf.is_none_or(|begin| begin <= latest);
        if !in_time {
            return Err(JwtError::Expired);
        }
        let roles = claims.others.get(&self.rules.roles_claim).map(roles_in).unwrap_or_default();
        if roles.is_empty() || !is_name(&claims.sub) {
            return Err(JwtError::NoCaller);
        }
        Ok(Caller { name: claims.sub, roles })
    }

    fn signed_claims(&self, token: &str, header: &Header) -> Result<Claims, JwtError> {
        if !ALGORITHMS.contains(&header.alg) {
            return Err(JwtError::Algorithm);
        }
        let kid = header.kid.as_ref().ok_or(JwtError::UnknownKey)?;
        let (key, stated) = self.keys.get(kid).ok_or(JwtError::UnknownKey)?;
        // A key is used with the algorithm that it is made for and no other (RFC 8725, 3.1).
        let matches = stated.is_none_or(|stated| stated.to_string() == format!("{:?}", header.alg));
        if !matches || !key.family().algorithms().contains(&header.alg) {
            return Err(JwtError::Algorithm);
        }
        let mut validation = Validation::new(header.alg);
        validation.set_issuer(&[&self.rules.issuer]);
        validation.set_audience(&[&self.rules.audience]);
        validation.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
        validation.validate_exp = false;
        let decoded = jsonwebtoken::decode(token, key, &validation).map_err(|_| JwtError::Refused)?;
        Ok(decoded.claims)
    }
}

fn usable(key: &Jwk) -> Option<(String, (DecodingKey, Option<KeyAlgorithm>))> {
    let signs = key.common.public_key_use.as_ref().is_none_or(|purpose| *purpose == PublicKeyUse::Signature);
    let id = key.common.key_id.clone().filter(|_| signs)?;
    let decoding = DecodingKey::from_jwk(key).ok()?;
    let public = ALGORITHMS.iter().any(|algorithm| decoding.family().algorithms().contains(algorithm));
    public.then_some((id, (decoding, key.common.key_algorithm)))
}

fn roles_in(claim: &serde_json::Value) -> RoleSet {
    let names: Vec<&str> = match claim {
        serde_json::Value::String(name) => vec![name.as_str()],
        serde_json::Value::Array(names) => names.iter().filter_map(serde_json::Value::as_str).collect(),
        _ => Vec::new(),
    };
    let roles: Vec<Role> = names.into_iter().filter_map(Role::of_name).collect();
    RoleSet::of(&roles)
}
