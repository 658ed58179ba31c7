//! The exit codes that the help promises, from the program itself.

use std::process::{Command, Output};

fn becket(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_becket")).args(words).env_remove("BECKET_SERVER").output().unwrap()
}

fn check(words: &[&str], code: i32, said: &str) {
    let output = becket(words);
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{words:?}: {error}");
    assert!(error.contains(said), "{words:?} does not say {said:?} but {error}");
    assert!(output.stdout.is_empty(), "{words:?} prints to standard output");
}

#[test]
fn wrong_words_are_code_2() {
    check(&["shew", "coils"], 2, "unrecognized subcommand");
    check(&["show", "set"], 2, "required");
    check(&["set-rule", "mw-in-16", "long"], 2, "does not begin with a number");
    check(&["load", "wires"], 2, "required");
    check(&["confirm", "L-0001", "1", "--count", "501"], 2, "501 is not in 1..=500");
}

#[test]
fn addresses_that_are_none_are_code_2() {
    for option in ["--server", "--stringing", "--cutting"] {
        for url in ["notaurl", "127.0.0.1:7420", "http://", "ftp://127.0.0.1:7420", "https://", "a b"] {
            check(&[option, url, "list", "coils"], 2, option);
        }
    }
}

#[test]
fn files_that_cannot_be_read_are_code_2() {
    check(&["load", "scale", "no-such-file.toml"], 2, "no-such-file.toml: ");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("schedule.toml");
    std::fs::write(&path, "[[lines]]\nmodel = \"m\"\ncount = 1.5\n").unwrap();
    check(&["estimate", path.to_str().unwrap()], 2, "line 2: lines[0].model");
    check(&["estimate", path.to_str().unwrap()], 2, "line 3: lines[0].count");
}

#[test]
fn a_server_that_is_not_there_is_code_3() {
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let url = format!("http://127.0.0.1:{port}");
    check(&["--server", &url, "list", "coils"], 3, "becket serve");
}

#[test]
fn a_server_is_started_only_for_this_machine() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    check(&["serve", "--listen", "0.0.0.0:0", "--data", data.to_str().unwrap()], 2, "tls.certificate");
    assert!(!data.exists(), "data were made for a server that never ran");
}
