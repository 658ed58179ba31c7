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
