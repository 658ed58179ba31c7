//! `becket verify`, beside a server, after it, and on a file that was changed by other means.

use std::{path::Path, process::Command};

use crate::serving::{Served, demo};

fn verify(data: &Path, more: &[&str]) -> (Option<i32>, String, String) {
    let output =
        Command::new(env!("CARGO_BIN_EXE_becket")).args(more).arg("verify").arg("--data").arg(data).output();
    let output = output.unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn what_was_changed_by_other_means_is_code_5() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let served = Served::start(&data, &[]);
    served.ok(&["load", "wires", "--standard", "inch"]);
    served.ok(&["load", "station", &demo("station.toml")]);
    let (code, text, error) = verify(&data, &[]);
    assert_eq!(code, Some(0), "{text}{error}");
    assert!(text.contains("replayed from entry 1\n"), "{text}");
    assert!(text.contains("the tables hold what the journal implies"), "{text}");
    served.terminate();

    let (code, text, error) = verify(&data, &["--format", "json"]);
    assert_eq!(code, Some(0), "{text}{error}");
    let report: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(report["difference_count"], 0);
    let stations = report["tables"].as_array().unwrap().iter().find(|table| table["table"] == "stations");
    assert_eq!(stations.unwrap()["stored_rows"], 1);

    let file = data.join("becket.db");
    let mut bytes = std::fs::read(&file).unwrap();
    let title = b"Wire bench by the stringing room";
    let places: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at..].starts_with(title)).collect();
    let mut told = Vec::new();
    for at in places {
        bytes[at] = b'V';
        std::fs::write(&file, &bytes).unwrap();
        let (code, text, error) = verify(&data, &[]);
        assert!(matches!(code, Some(0 | 5)), "{text}{error}");
        told.extend((code == Some(5)).then_some(text));
        bytes[at] = title[0];
    }
    // In the table, and in the two texts of its entry; the first answer to the request has it too, and is not compared.
    assert_eq!(told.len(), 3, "{told:?}");
    let of = |what: &str| told.iter().filter(|text| text.contains(what)).count();
    assert_eq!(
        (of("stations bench-1: title is"), of("does not follow on the one before")),
        (2, 2),
        "{told:?}"
    );
    std::fs::write(&file, &bytes).unwrap();
    assert_eq!(verify(&data, &[]).0, Some(0));
}

#[test]
fn a_file_that_is_not_there_is_not_made() {
    let folder = tempfile::tempdir().unwrap();
    let (code, text, error) = verify(folder.path(), &[]);
    assert_eq!((code, text.as_str()), (Some(1), ""));
    assert!(error.contains("becket.db is not there"), "{error}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

fn run(words: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_becket")).args(words).output().unwrap();
    let (out, error) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    (output.status.code(), format!("{out}{error}"))
}

#[test]
fn a_backup_is_taken_beside_the_server_and_restored_without_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (data, copy, other) = (at("data"), at("monday.db"), at("other"));
    let served = Served::start(Path::new(&data), &[]);
    served.ok(&["load", "station", &demo("station.toml")]);
    let backup = ["backup", "--to", copy.as_str(), "--data", &data];
    let (code, text) = run(&backup);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("holds the shop up to entry 1 of the journal"), "{text}");
    let (code, text) = run(&backup);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("monday.db is there already"), "{text}");

    // What comes after the backup is not in it.
    served.ok(&["load", "wires", "--standard", "inch"]);
    let (code, text) = run(&["restore", "--from", &copy, "--data", &other]);
    assert_eq!(code, Some(0), "{text}");
    let again = Served::start(Path::new(&other), &[]);
    assert!(again.ok(&["show", "station", "bench-1"]).contains("4 reel positions"));
    assert!(!again.ok(&["list", "wires"]).contains("mw-in-16"));
    again.terminate();

    // A served database is not replaced, and nothing is without --replace.
    let (code, text) = run(&["restore", "--from", &copy, "--data", &data]);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("is there already; --replace"), "{text}");
    let replace = ["restore", "--from", copy.as_str(), "--replace", "--data", &data];
    let (code, text) = run(&replace);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("in use by another process"), "{text}");
    assert!(served.ok(&["list", "wires"]).contains("mw-in-16"), "the server goes on");
    served.terminate();
    let (code, text) = run(&replace);
    assert_eq!(code, Some(0), "{text}");
    assert!(folder.path().join("data/becket.db.replaced").exists());
    let restored = Served::start(Path::new(&data), &[]);
    assert!(!restored.ok(&["list", "wires"]).contains("mw-in-16"));
    restored.terminate();
    let left: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(left.iter().all(|name| !name.to_string_lossy().contains(".part")), "{left:?}");
}

#[test]
fn a_backup_that_was_changed_is_not_restored() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (data, copy, other) = (at("data"), at("monday.db"), at("other"));
    let served = Served::start(Path::new(&data), &[]);
    served.ok(&["load", "station", &demo("station.toml")]);
    served.terminate();
    assert_eq!(run(&["backup", "--to", &copy, "--data", &data]).0, Some(0));
    let mut bytes = std::fs::read(&copy).unwrap();
    let title = b"Wire bench by the stringing room";
    for at in (0..bytes.len()).filter(|at| bytes[*at..].starts_with(title)).collect::<Vec<_>>() {
        bytes[at] = b'V';
    }
    std::fs::write(&copy, &bytes).unwrap();
    let (code, text) = run(&["restore", "--from", &copy, "--data", &other]);
    assert_eq!(code, Some(5), "{text}");
    assert!(text.contains("nothing was written"), "{text}");
    assert_eq!(std::fs::read_dir(&other).unwrap().count(), 0);
    let (code, text) = run(&["restore", "--from", &demo("station.toml"), "--data", &other]);
    assert_eq!(code, Some(1), "{text}");
}
