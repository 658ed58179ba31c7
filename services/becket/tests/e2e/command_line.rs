//! The command line against a real server: forms of output and exit codes.

use std::path::Path;
use std::process::{Command, Output};

use becket_api::cutting::GetSerialRecordResponse;
use becket_api::json::from_json;
use becket_e2e::demo;

use crate::{Fresh, binary};

fn becket(url: &str, words: &[&str]) -> Output {
    Command::new(binary()).args(["--server", url]).args(words).output().unwrap()
}

/// Runs a command, checks its exit code and returns what it printed.
fn run(url: &str, words: &[&str], code: i32) -> String {
    let output = becket(url, words);
    let (out, err) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert_eq!(output.status.code(), Some(code), "becket {words:?}\n{out}\n{err}");
    if code == 0 { out } else { out + &err }
}

/// Whoever stops reading what went wrong, such as `head`, still gets the exit code.
#[test]
fn a_refusal_that_nobody_reads_is_a_refusal() {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let missing =
        Command::new(binary()).args(["plan-file", "no-such-file.toml"]).stderr(writer).status().unwrap();
    let told = Command::new(binary()).args(["plan-file", "no-such-file.toml"]).output().unwrap();
    assert!(!told.stderr.is_empty());
    assert_eq!(missing.code(), told.status.code());
    assert!(matches!(missing.code(), Some(1..=10)), "{missing:?}");
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn load_wires(fresh: &Fresh) {
    let url = fresh.server.url();
    run(url, &["load", "wires", "--standard", "inch"], 0);
    run(url, &["load", "wires", text(&fresh.file("wires.toml", demo::WIRES))], 0);
}

/// The rows of a csv text, all as wide as its header.
fn rows(text: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    assert!(reader.headers().unwrap().len() > 1, "{text}");
    reader.records().map(Result::unwrap).collect()
}

#[test]
fn a_shop_is_loaded_and_works_by_the_command_line_alone() {
    let fresh = Fresh::start();
    let url = fresh.server.url();
    load_wires(&fresh);
    for (name, content) in [("concert.toml", demo::CONCERT), ("small.toml", demo::SMALL)] {
        run(url, &["load", "scale", text(&fresh.file(name, content)), "--release"], 0);
    }
    run(url, &["load", "coils", text(&fresh.file("coils.toml", demo::COILS))], 0);
    run(url, &["load", "station", text(&fresh.file("station.toml", demo::STATION))], 0);
    run(url, &["load", "jobs", text(&fresh.file("jobs.toml", demo::JOBS))], 0);

    // Planned, cut in part, recorded.
    let planned = run(url, &["plan", "bench-1", "C27-0107"], 0);
    assert!(planned.contains("L-0001"), "{planned}");
    run(url, &["start", "L-0001"], 0);
    run(url, &["confirm", "L-0001", "1", "--count", "5"], 0);

    let json = run(url, &["--format", "json", "show", "record", "C27-0107"], 0);
    let record: GetSerialRecordResponse = from_json(&serde_json::from_str(&json).unwrap()).unwrap();
    assert_eq!(record.serial_id, "C27-0107");
    assert!(record.lines.iter().any(|line| line.cut.is_some()));

    assert!(rows(&run(url, &["--format", "csv", "list", "coils"], 0)).len() > 100);
    assert_eq!(rows(&run(url, &["--format", "csv", "list", "jobs"], 0)).len(), 4);
    assert_eq!(rows(&run(url, &["--format", "csv", "show", "set", "C27-0107", "--strings"], 0)).len(), 236);
    assert!(rows(&run(url, &["--format", "csv", "show", "set", "C27-0107", "--pieces"], 0)).len() > 118);
    assert!(rows(&run(url, &["--format", "csv", "show", "cut-list", "L-0001"], 0)).len() > 100);
    assert!(!rows(&run(url, &["--format", "csv", "show", "record", "C27-0107"], 0)).is_empty());
    let schedule = fresh.file("schedule.toml", demo::SCHEDULE);
    assert!(!rows(&run(url, &["--format", "csv", "estimate", text(&schedule), "--weeks"], 0)).is_empty());
    let lot = &record.lines.iter().find_map(|line| line.cut.as_ref()).unwrap().lot_id;
    let traced = run(url, &["--format", "csv", "trace", lot], 0);
    assert!(rows(&traced).iter().any(|row| row.iter().any(|cell| cell == "C27-0107")), "{traced}");

    // What a person reads at the bench ends with the note on safety.
    for words in [["show", "set", "C27-0107"], ["show", "cut-list", "L-0001"]] {
        let shown = run(url, &words, 0);
        assert!(shown.contains("EN 166") && shown.contains("qualified"), "{shown}");
    }
}

#[test]
fn the_exit_code_says_what_happened() {
    let fresh = Fresh::start();
    let url = fresh.server.url();
    // 1: refused by the server, with reason and every fault.
    let refused = run(url, &["show", "record", "C27-0107"], 1);
    assert!(refused.contains("NOT_FOUND"), "{refused}");
    load_wires(&fresh);
    let faulty = demo::SMALL.replacen("string_count = 3", "string_count = 9", 3);
    let faulty = fresh.file("faulty.toml", &faulty);
    let refused = run(url, &["load", "scale", text(&faulty), "--check"], 1);
    assert!(refused.contains("FIELD_INVALID"), "{refused}");
    let faults = refused.lines().filter(|line| line.trim_start().starts_with("scale.notes["));
    assert_eq!(faults.filter(|line| line.contains("].string_count: ")).count(), 3, "{refused}");
    // 2: the words make no sense, or a file does not.
    run(url, &["show", "everything"], 2);
    run(url, &["load", "jobs", text(&fresh.file("broken.toml", "jobs = ["))], 2);
    run(url, &["load", "jobs", "/does/not/exist.toml"], 2);
    // 3: nobody answers.
    let nobody = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    run(&format!("http://{nobody}"), &["list", "jobs"], 3);
    // 4: planned, but the stock is short. There is a station here and not one coil.
    run(url, &["load", "scale", text(&fresh.file("concert.toml", demo::CONCERT)), "--release"], 0);
    run(url, &["load", "scale", text(&fresh.file("small.toml", demo::SMALL)), "--release"], 0);
    run(url, &["load", "station", text(&fresh.file("station.toml", demo::STATION))], 0);
    run(url, &["load", "jobs", text(&fresh.file("jobs.toml", demo::JOBS))], 0);
    let short = run(url, &["plan", "bench-1", "C27-0107", "--dry-run"], 4);
    assert!(short.contains("mw-in-16"), "{short}");
}

#[test]
fn only_this_machine_is_served() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(binary())
        .args(["serve", "--listen", "0.0.0.0:0", "--data"])
        .arg(folder.path().join("data"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(text.contains("encrypted") && text.contains("127.0.0.1"), "{text}");
}
