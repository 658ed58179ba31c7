//! Who may call what.
//!
//! A caller proves who it is with a bearer token or a client certificate; each comes with roles of the shop ([`Role`]). One
//! table ([`PERMISSIONS`]) says for every RPC which roles may call it, and what is not in the table is refused: nothing is
//! allowed by default.
//!
//! Three proofs are known:
//!
//! * a **static token** ([`TokenList`]): 256 random bits that are shown once; the shop's file keeps only their SHA-256 digest.
//!   A slow password hash would add nothing, since nobody can guess 256 random bits, and would let anyone keep the server busy.
//! * a **JSON Web Token** ([`JwtVerifier`], RFC 7519) of an identity provider, checked against its published keys (RFC 7517).
//! * a **client certificate** that is listed by its SHA-256 fingerprint ([`TokenList`] again).
//!
//! The crate performs no input or output and reads no clock: files, key sets and the time are arguments.

mod jwt;
mod role;
mod table;
mod token;

pub use jwt::{JwtError, JwtRules, JwtVerifier};
pub use role::{Role, RoleSet};
pub use table::{PERMISSIONS, Permission, roles_of};
pub use token::{NewToken, TokenFault, TokenList};

/// Someone who has proved who they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    /// Name, as it stands in the journal: 1 to 64 printable ASCII characters.
    pub name: String,
    /// Roles.
    pub roles: RoleSet,
}

impl Caller {
    /// Whether the caller may call a method, given as `/package.Service/Method`.
    #[must_use]
    pub fn may_call(&self, path: &str) -> bool {
        roles_of(path).is_some_and(|allowed| allowed.meets(self.roles))
    }
}

/// Whether a name can stand in the journal: 1 to 64 printable ASCII characters.
fn is_name(name: &str) -> bool {
    (1..=64).contains(&name.len()) && name.bytes().all(|byte| (b' '..=b'~').contains(&byte))
}
