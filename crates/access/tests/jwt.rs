//! Tokens of an identity provider that the tests play themselves.

#![allow(clippy::unwrap_used, reason = "tests")]

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use becket_access::{JwtError, JwtRules, JwtVerifier, Role};
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use rsa::pkcs1::EncodeRsaPrivateKey as _;
use rsa::traits::PublicKeyParts as _;
use serde_json::{Value, json};

const NOW_S: i64 = 1_800_000_000;

// The example key of RFC 8037, appendix A: public part and seed.
const ED25519_X: &str = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo";
const ED25519_D: &str = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A";

/// The seed in the form of RFC 8410, section 7: fixed bytes, then the 32 bytes of the seed.
fn signing_key() -> EncodingKey {
    let mut der =
        vec![0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20];
    der.extend(URL_SAFE_NO_PAD.decode(ED25519_D).unwrap());
    EncodingKey::from_ed_der(&der)
}

fn key_set(kid: &str) -> String {
    json!({ "keys": [
        { "kty": "OKP", "crv": "Ed25519", "use": "sig", "kid": kid, "alg": "EdDSA", "x": ED25519_X },
        { "kty": "oct", "kid": "shared", "k": "c2VjcmV0" },
    ]})
    .to_string()
}

fn rules() -> JwtRules {
    JwtRules {
        issuer: "https://id.shop.example".into(),
        audience: "becket".into(),
        roles_claim: "roles".into(),
    }
}

fn verifier() -> JwtVerifier {
    JwtVerifier::new(rules(), &key_set("k1")).unwrap()
}

fn claims() -> Value {
    json!({
        "iss": "https://id.shop.example", "aud": ["becket", "other"], "sub": "bench-1", "exp": NOW_S + 300,
        "roles": ["station", "everyone"],
    })
}

fn token(change: impl FnOnce(&mut Header, &mut Value)) -> String {
    let mut header = Header::new(Algorithm::EdDSA);
    header.kid = Some("k1".to_owned());
    let mut claims = claims();
    change(&mut header, &mut claims);
    jsonwebtoken::encode(&header, &claims, &signing_key()).unwrap()
}

#[test]
fn a_good_token_names_its_caller() {
    let caller = verifier().caller(&token(|_, _| {}), NOW_S).unwrap();
    assert_eq!(caller.name, "bench-1");
    assert_eq!(caller.roles.roles().collect::<Vec<_>>(), [Role::Station]);
    let one = token(|_, claims| claims["roles"] = json!("purchasing"));
    assert!(verifier().caller(&one, NOW_S).unwrap().roles.has(Role::Purchasing));
}

#[test]
fn times_are_kept_with_a_minute_of_leeway() {
    let verifier = verifier();
    let fresh = token(|_, _| {});
    assert!(verifier.caller(&fresh, NOW_S + 300 + 59).is_ok());
    assert_eq!(verifier.caller(&fresh, NOW_S + 300 + 60), Err(JwtError::Expired));
    let later = token(|_, claims| claims["nbf"] = json!(NOW_S + 61));
    assert_eq!(verifier.caller(&later, NOW_S), Err(JwtError::Expired));
    assert!(verifier.caller(&later, NOW_S + 1).is_ok());
    let endless = token(|_, claims| {
        claims.as_object_mut().unwrap().remove("exp");
    });
    assert_eq!(verifier.caller(&endless, NOW_S), Err(JwtError::Refused));
}

#[test]
fn what_is_not_for_us_is_refused() {
    let verifier = verifier();
    let refused = |change: fn(&mut Header, &mut Value)| verifier.caller(&token(change), NOW_S).unwrap_err();
    assert_eq!(refused(|_, claims| claims["iss"] = json!("https://else.example")), JwtError::Refused);
    assert_eq!(refused(|_, claims| claims["aud"] = json!("other")), JwtError::Refused);
    assert_eq!(refused(|_, claims| claims["roles"] = json!(["everyone"])), JwtError::NoCaller);
    assert_eq!(refused(|_, claims| claims["roles"] = json!(7)), JwtError::NoCaller);
    assert_eq!(refused(|_, claims| claims["sub"] = json!("line\nbreak")), JwtError::NoCaller);
    assert_eq!(refused(|header, _| header.kid = Some("k2".into())), JwtError::UnknownKey);
    assert_eq!(refused(|header, _| header.kid = None), JwtError::UnknownKey);
}

#[test]
fn a_changed_token_is_refused() {
    let good = token(|_, _| {});
    let parts: Vec<&str> = good.split('.').collect();
    let other = URL_SAFE_NO_PAD.encode(
        json!({ "iss": "https://id.shop.example", "aud": "becket", "sub": "x", "exp": NOW_S + 300, "roles": ["administrator"] })
            .to_string(),
    );
    let changed = format!("{}.{other}.{}", parts[0], parts[2]);
    assert_eq!(verifier().caller(&changed, NOW_S), Err(JwtError::Refused));
    for broken in ["", "a.b.c", "....", &"x".repeat(9000)] {
        assert_eq!(verifier().caller(broken, NOW_S), Err(JwtError::Malformed));
    }
}

/// RFC 8725, 2.1: a token that says that it is not signed, or is signed with what everyone knows.
#[test]
fn neither_no_signature_nor_a_shared_secret_is_one() {
    let header = URL_SAFE_NO_PAD.encode(r#"{"alg":"none","kid":"k1"}"#);
    let unsigned = format!("{header}.{}.", URL_SAFE_NO_PAD.encode(claims().to_string()));
    assert_eq!(verifier().caller(&unsigned, NOW_S), Err(JwtError::Malformed));
    for (kid, secret) in [("k1", ED25519_X), ("shared", "secret")] {
        let mut header = Header::new(Algorithm::HS256);
        header.kid = Some(kid.to_owned());
        let key = EncodingKey::from_secret(secret.as_bytes());
        let forged = jsonwebtoken::encode(&header, &claims(), &key).unwrap();
        assert_eq!(verifier().caller(&forged, NOW_S), Err(JwtError::Algorithm));
    }
}

#[test]
fn keys_are_rotated_by_a_new_set() {
    let old = token(|_, _| {});
    let new = JwtVerifier::new(rules(), &key_set("k2")).unwrap();
    assert_eq!(new.caller(&old, NOW_S), Err(JwtError::UnknownKey));
    assert!(new.caller(&token(|header, _| header.kid = Some("k2".into())), NOW_S).is_ok());
}

#[test]
fn a_set_without_usable_keys_is_refused() {
    let shared = json!({ "keys": [{ "kty": "oct", "kid": "shared", "k": "c2VjcmV0" }] }).to_string();
    let encrypts = key_set("k1").replace("\"sig\"", "\"enc\"");
    for set in ["", "[]", "{}", r#"{"keys":[]}"#, &shared, &encrypts] {
        assert!(matches!(JwtVerifier::new(rules(), set), Err(JwtError::KeySet(_))), "{set}");
    }
}

/// Most providers sign with RSA.
#[test]
fn rsa_signatures() {
    let key = rsa::RsaPrivateKey::new(&mut rsa::rand_core::OsRng, 2048).unwrap();
    let part = |number: &rsa::BigUint| URL_SAFE_NO_PAD.encode(number.to_bytes_be());
    let set =
        json!({ "keys": [{ "kty": "RSA", "kid": "r", "n": part(key.n()), "e": part(key.e()) }] }).to_string();
    let verifier = JwtVerifier::new(rules(), &set).unwrap();
    let signing = EncodingKey::from_rsa_der(key.to_pkcs1_der().unwrap().as_bytes());
    for algorithm in [Algorithm::RS256, Algorithm::PS512] {
        let mut header = Header::new(algorithm);
        header.kid = Some("r".to_owned());
        let good = jsonwebtoken::encode(&header, &claims(), &signing).unwrap();
        assert_eq!(verifier.caller(&good, NOW_S).unwrap().name, "bench-1");
        let (start, _) = good.rsplit_once('.').unwrap();
        assert_eq!(verifier.caller(&format!("{start}.AAAA"), NOW_S), Err(JwtError::Refused));
    }
}
