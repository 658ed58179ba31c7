//! Static tokens and listed certificates.

use std::collections::{BTreeSet, HashMap};
use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use becket_units::Fault;
use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::role::{Role, RoleSet};
use crate::{Caller, is_name};

/// What every static token begins with, so that one that is found in a log or a repository is recognised.
const PREFIX: &str = "becket_";
/// Longest token that is looked at, in bytes.
const LONGEST: usize = 256;

/// A token that is being made: what its owner gets, and what the shop's file keeps.
pub struct NewToken {
    /// The token. It is shown once and kept nowhere.
    pub secret: String,
    /// SHA-256 of the token in hexadecimal digits, for the file.
    pub sha256: String,
}

impl NewToken {
    /// Makes a token of 32 random bytes.
    #[must_use]
    pub fn from_random(bytes: [u8; 32]) -> Self {
        let secret = format!("{PREFIX}{}", URL_SAFE_NO_PAD.encode(bytes));
        let sha256 = hex(&Sha256::digest(secret.as_bytes()));
        Self { secret, sha256 }
    }
}

impl fmt::Debug for NewToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("NewToken").field("secret", &"…").field("sha256", &self.sha256).finish()
    }
}

/// Why a list of tokens is not accepted.
#[derive(Debug, thiserror::Error)]
pub enum TokenFault {
    /// It is not TOML of the expected shape.
    #[error("the list of tokens cannot be read: {0}")]
    Unreadable(#[from] toml::de::Error),
    /// Entries are faulty; all faults are listed.
    #[error("the list of tokens is faulty:{}", .0.iter().map(|fault| format!("\n  {fault}")).collect::<String>())]
    Faulty(Vec<Fault>),
}

/// The tokens and client certificates that a shop has listed.
#[derive(Debug, Clone, Default)]
pub struct TokenList {
    tokens: HashMap<[u8; 32], Caller>,
    certificates: HashMap<[u8; 32], Caller>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    token: Vec<Entry>,
    #[serde(default)]
    certificate: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: String,
    roles: Vec<String>,
    sha256: String,
}

impl TokenList {
    /// Reads a list: tables `[[token]]` and `[[certificate]]`, each with `name`, `roles` and `sha256`. Of a token it is the
    /// digest of the token's text, of a certificate the digest of its DER form, which tools call its SHA-256 fingerprint (colons
    /// are allowed).
    ///
    /// # Errors
    /// [`TokenFault`]; all faulty entries are told at once.
    pub fn read(toml: &str) -> Result<Self, TokenFault> {
        let file: File = toml::from_str(toml)?;
        let mut faults = Vec::new();
        let tokens = read_entries("token", file.token, &mut faults);
        let certificates = read_entries("certificate", file.certificate, &mut faults);
        if faults.is_empty() { Ok(Self { tokens, certificates }) } else { Err(TokenFault::Faulty(faults)) }
    }

    /// Who has this token. The token is looked up by its digest, so the time this takes tells nothing of any token.
    #[must_use]
    pub fn holder(&self, token: &str) -> Option<&Caller> {
        if token.len() > LONGEST {
            return None;
        }
        self.tokens.get(&<[u8; 32]>::from(Sha256::digest(token.as_bytes())))
    }

    /// Who has this client certificate, in DER.
    #[must_use]
    pub fn certified(&self, der: &[u8]) -> Option<&Caller> {
        self.certificates.get(&<[u8; 32]>::from(Sha256::digest(der)))
    }

    /// Whether a text looks like a static token, so that it is not taken for a JSON Web Token.
    #[must_use]
    pub fn looks_like_one(token: &str) -> bool {
        token.starts_with(PREFIX)
    }

    /// Number of tokens and of certificates.
    #[must_use]
    pub fn len(&self) -> (usize, usize) {
        (self.tokens.len(), self.certificates.len())
    }

    /// Whether there is neither.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == (0, 0)
    }
}

fn read_entries(table: &str, entries: Vec<Entry>, faults: &mut Vec<Fault>) -> HashMap<[u8; 32], Caller> {
    let mut known = HashMap::new();
    let mut names = BTreeSet::new();
    for (i, entry) in entries.into_iter().enumerate() {
        let field = |name: &str| format!("{table}[{i}].{name}");
        let before = faults.len();
        if !is_name(&entry.name) {
            faults.push(Fault::new(field("name"), &entry.name, "1 to 64 printable ASCII characters"));
        } else if !names.insert(entry.name.clone()) {
            faults.push(Fault::new(field("name"), &entry.name, "a name that no other entry has"));
        }
        let roles: Vec<Option<Role>> = entry.roles.iter().map(|name| Role::of_name(name)).collect();
        for (name, role) in entry.roles.iter().zip(&roles) {
            if role.is_none() {
                faults.push(Fault::new(field("roles"), name, Role::names()));
            }
        }
        if entry.roles.is_empty() {
            faults.push(Fault::new(field("roles"), "[]", "at least one role"));
        }
        let digest = unhex(&entry.sha256);
        if digest.is_none() {
            faults.push(Fault::new(field("sha256"), &entry.sha256, "64 hexadecimal digits"));
        }
        let (Some(digest), true) = (digest, faults.len() == before) else { continue };
        let roles: Vec<Role> = roles.into_iter().flatten().collect();
        let caller = Caller { name: entry.name, roles: RoleSet::of(&roles) };
        if known.insert(digest, caller).is_some() {
            faults.push(Fault::new(field("sha256"), &entry.sha256, "a digest that no other entry has"));
        }
    }
    known
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Option<[u8; 32]> {
    let digits: Vec<u8> = text.bytes().filter(|byte| *byte != b':').collect();
    let mut bytes = [0; 32];
    if digits.len() != 64 {
        return None;
    }
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_leads_to_its_holder_and_to_nobody_else() {
        let token = NewToken::from_random([7; 32]);
        let list = format!(
            "[[token]]\nname = 'bench-1'\nroles = ['station']\nsha256 = '{}'\n\
             [[certificate]]\nname = 'office'\nroles = ['purchasing', 'stock-keeper']\nsha256 = '{}'",
            token.sha256,
            hex(&Sha256::digest(b"a certificate"))
        );
        let list = TokenList::read(&list).unwrap();
        assert_eq!(list.holder(&token.secret).unwrap().name, "bench-1");
        assert!(list.holder(&token.sha256).is_none());
        assert!(list.holder(&"x".repeat(LONGEST + 1)).is_none());
        let office = list.certified(b"a certificate").unwrap();
        assert!(office.roles.has(Role::StockKeeper) && !office.roles.has(Role::Administrator));
        assert!(list.certified(token.secret.as_bytes()).is_none());
        assert!(TokenList::looks_like_one(&token.secret));
    }

    // FIPS 180-4's digest of "abc", as published by NIST among the examples of SHA-256.
    #[test]
    fn the_digest_is_sha_256() {
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let list = format!("[[token]]\nname = 'x'\nroles = ['station']\nsha256 = '{abc}'");
        assert!(TokenList::read(&list).unwrap().holder("abc").is_some());
    }

    #[test]
    fn all_faults_are_told_at_once() {
        let digest = "0".repeat(64);
        let list = format!(
            "[[token]]\nname = ''\nroles = ['boss', 'station']\nsha256 = 'ab'\n\
             [[token]]\nname = 'a'\nroles = []\nsha256 = '{digest}'\n\
             [[token]]\nname = 'a'\nroles = ['station']\nsha256 = '{digest}'"
        );
        let Err(TokenFault::Faulty(faults)) = TokenList::read(&list) else { panic!() };
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(
            fields,
            ["token[0].name", "token[0].roles", "token[0].sha256", "token[1].roles", "token[2].name"]
        );
        assert!(matches!(
            TokenList::read("[[token]]\nname = 'a'\nrole = 'x'"),
            Err(TokenFault::Unreadable(_))
        ));
    }

    #[test]
    fn a_secret_is_not_shown_by_debug() {
        let token = NewToken::from_random([9; 32]);
        assert!(!format!("{token:?}").contains(&token.secret));
    }
}
