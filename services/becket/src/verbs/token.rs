//! `token`.

use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use becket_access::NewToken;

use crate::{
    cli::Token,
    context::{print, tell},
    errors::Failure,
};

/// Makes a token.
///
/// # Errors
/// [`Failure::Usage`] for a name that cannot stand in the journal, [`Failure::File`], [`Failure::Print`].
pub(crate) fn run(args: &Token) -> Result<(), Failure> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes)
        .map_err(|error| Failure::Start(format!("the system gives no random bytes: {error}")))?;
    let token = NewToken::from_random(bytes);
    let lines = entry(&args.name, &args.roles, &token);
    // What is printed for the file is read as the server will read it, so that a name that it refuses is refused here.
    becket_access::TokenList::read(&lines).map_err(|fault| Failure::Usage(fault.to_string()))?;
    match &args.secret_to {
        Some(path) => write_secret(path, &token.secret)?,
        None => tell(&format!(
            "The token, which is shown only now:\n{}\n\nFor the file of access.tokens:",
            token.secret
        )),
    }
    print(&lines)
}

/// Makes a secret of 256 random bits, as 64 hexadecimal digits, in a file of its own.
///
/// # Errors
/// [`Failure::Start`], [`Failure::File`].
pub(super) fn new_secret(path: &Path) -> Result<String, Failure> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes)
        .map_err(|error| Failure::Start(format!("the system gives no random bytes: {error}")))?;
    let secret: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    write_secret(path, &secret)?;
    Ok(secret)
}

fn entry(name: &str, roles: &[becket_access::Role], token: &NewToken) -> String {
    let roles: Vec<String> = roles.iter().map(|role| format!("\"{role}\"")).collect();
    let name = name.replace('\\', "\\\\").replace('"', "\\\"");
    format!("[[token]]\nname = \"{name}\"\nroles = [{}]\nsha256 = \"{}\"\n", roles.join(", "), token.sha256)
}

fn write_secret(path: &Path, secret: &str) -> Result<(), Failure> {
    let error = |error: std::io::Error| Failure::File { path: path.to_owned(), why: error.to_string() };
    let mut file =
        std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path).map_err(error)?;
    writeln!(file, "{secret}").map_err(error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use becket_access::{Role, TokenList};

    #[test]
    fn the_lines_lead_to_the_tokens_holder() {
        let token = NewToken::from_random([3; 32]);
        for name in ["bench-1", "a \"quoted\" one", "back\\slash"] {
            let list = TokenList::read(&entry(name, &[Role::Station, Role::ErpReader], &token)).unwrap();
            let holder = list.holder(&token.secret).unwrap();
            assert_eq!(holder.name, name);
            assert_eq!(holder.roles.to_string(), "station, erp-reader");
        }
    }

    #[test]
    fn a_secret_is_for_its_owner_alone_and_overwrites_nothing() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bench-1.token");
        write_secret(&path, "becket_x").unwrap();
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(write_secret(&path, "becket_y").is_err());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "becket_x\n");
    }
}
