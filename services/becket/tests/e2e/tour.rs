//! `becket tour` in an empty folder, as a newcomer runs it.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output};

use expect_test::expect_file;

use crate::binary;

fn tour(folder: &Path) -> Output {
    Command::new(binary()).arg("tour").current_dir(folder).env_remove("BECKET_SERVER").output().unwrap()
}

/// Replaces what differs from run to run: ports, the folder, times.
fn masked(text: &str, folder: &Path) -> String {
    let text = text.replace(folder.to_str().unwrap(), "FOLDER");
    let mut out = String::new();
    for line in text.lines() {
        out.push_str(mask_times(&mask_ports(line)).trim_end());
        out.push('\n');
    }
    out
}

fn mask_ports(line: &str) -> String {
    let mut parts = line.split("127.0.0.1:");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        out.push_str("127.0.0.1:PORT");
        out.push_str(part.trim_start_matches(|c: char| c.is_ascii_digit()));
    }
    out
}

/// Replaces each time like 2026-11-25T08:15:00.123Z or "2026-11-25 08:15"; a day alone is data of the demo and stays.
fn mask_times(line: &str) -> String {
    let chars: Vec<char> = line.chars().collect();
    let mut out = String::new();
    let mut at = 0;
    while at < chars.len() {
        let length = time_length(&chars[at..]);
        if length > 0 {
            out.push_str("TIME");
            at += length;
        } else {
            out.push(chars[at]);
            at += 1;
        }
    }
    out
}

fn time_length(chars: &[char]) -> usize {
    const SHAPE: &str = "dddd-dd-dd?dd:dd";
    let fits = |(c, shape): (&char, char)| match shape {
        'd' => c.is_ascii_digit(),
        '?' => *c == 'T' || *c == ' ',
        other => *c == other,
    };
    if chars.len() < SHAPE.len() || !chars.iter().zip(SHAPE.chars()).all(fits) {
        return 0;
    }
    let rest = &chars[SHAPE.len()..];
    SHAPE.len() + rest.iter().take_while(|c| c.is_ascii_digit() || matches!(c, ':' | '.' | 'Z')).count()
}

/// Every file below a folder with its content.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.insert(path.display().to_string(), std::fs::read(&path).unwrap());
        }
    }
    found
}

#[test]
fn the_tour_shows_the_main_job_and_never_writes_over_another() {
    let folder = tempfile::tempdir().unwrap();
    let first = tour(folder.path());
    let (out, err) = (String::from_utf8(first.stdout).unwrap(), String::from_utf8_lossy(&first.stderr));
    assert!(first.status.success(), "{:?}\n{out}\n{err}", first.status);
    expect_file!["./tour.txt"].assert_eq(&masked(&out, folder.path()));

    let before = files(folder.path());
    assert!(!before.is_empty());
    let second = tour(folder.path());
    assert_eq!(second.status.code(), Some(2), "{}", String::from_utf8_lossy(&second.stdout));
    let text = String::from_utf8(second.stderr).unwrap();
    assert!(text.contains("becket-tour") && text.contains("--data"), "it says what to do: {text}");
    assert!(second.stdout.is_empty());
    assert!(files(folder.path()) == before, "the refused tour changed files");
}
