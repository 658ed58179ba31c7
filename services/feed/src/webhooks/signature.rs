//! What shows a receiver that an event comes from this shop and was sent just now.
//!
//! The header `becket-signature` is `t=SECONDS,v1=HEX`: the time of the sending in seconds since 1970 (UTC), and the HMAC-SHA-256 in
//! hexadecimal, with the receiver's key, over the same digits, a full stop and the body. A receiver computes it over the bytes that it got, compares in
//! constant time, and refuses what is older than some minutes.

use becket_api::digest::hex;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// Bytes of a block of SHA-256.
const BLOCK: usize = 64;

/// The value of the header.
pub(crate) fn sign(key: &str, unix_s: i64, body: &[u8]) -> String {
    // HMAC (RFC 2104) takes the digest of a key that is longer than a block, and pads a shorter one with zeros.
    let mut block = [0; BLOCK];
    let digest: [u8; 32];
    let key = if key.len() > BLOCK {
        digest = Sha256::digest(key.as_bytes()).into();
        &digest[..]
    } else {
        key.as_bytes()
    };
    block.iter_mut().zip(key).for_each(|(to, from)| *to = *from);
    let mut mac = Hmac::<Sha256>::new(&block.into());
    mac.update(unix_s.to_string().as_bytes());
    mac.update(b".");
    mac.update(body);
    let tag: [u8; 32] = mac.finalize().into_bytes().into();
    format!("t={unix_s},v1={}", hex(&tag))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The value is an interface. Computed with `printf '1764000000.{"a":1}' | openssl dgst -sha256 -hmac KEY`.
    #[test]
    fn it_is_what_other_programs_compute() {
        let key = "0123456789abcdef0123456789abcdef";
        assert_eq!(
            sign(key, 1_764_000_000, br#"{"a":1}"#),
            "t=1764000000,v1=020c626f1ccd9fdc1fb78034d6735bdca794ce2de3efea76942a018a08ac78bc"
        );
        assert_eq!(
            sign(&key.repeat(4), 1_764_000_000, br#"{"a":1}"#),
            "t=1764000000,v1=326e3c8d56566db1b78e001dc3394f3f29f4b2c43064b108bd4ea32f0c56ca78"
        );
    }
}
