//! Designs, comparisons, tunings, bands and special strings by the command line, on the shop of the demo.

use std::path::{Path, PathBuf};
use std::process::Command;

use becket_api::json::from_json;
use becket_api::stringing::{
    CompareSetsResponse, ComputeBandsResponse, ComputeStretchResponse, DesignBassResponse,
    DesignPlainWiresResponse, ListSpecialStringsResponse, MatchReplacementResponse,
};
use prost::{Message, Name};

use crate::{Fresh, binary};

/// Runs a command, checks its exit code and returns what it printed.
fn run(fresh: &Fresh, words: &[&str], code: i32) -> String {
    let output = Command::new(binary()).args(["--server", fresh.server.url()]).args(words).output().unwrap();
    let (out, err) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert_eq!(output.status.code(), Some(code), "becket {words:?}\n{out}\n{err}");
    if code == 0 { out } else { err }
}

/// The answer of a command as a message; its table and its csv are there too.
fn answer<M: Message + Name + Default>(fresh: &Fresh, words: &[&str]) -> M {
    let json = run(fresh, &[&["--format", "json"], words].concat(), 0);
    let csv = run(fresh, &[&["--format", "csv"], words].concat(), 0);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let wide = reader.headers().unwrap().len();
    assert!(wide > 4 && reader.records().all(|row| row.unwrap().len() == wide), "{csv}");
    let table = run(fresh, words, 0);
    assert!(!table.contains("NaN"), "{table}");
    from_json(&serde_json::from_str(&json).unwrap()).unwrap()
}

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo").join(name)
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn wires_are_chosen_from_question_files() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let bass: DesignBassResponse = answer(&fresh, &["design", "bass", text(&demo("design-bass.toml"))]);
    assert_eq!(bass.notes.len(), 20);
    assert!(bass.notes.iter().all(|choice| choice.load_share <= 0.65), "{bass:?}");
    assert!(bass.notes.iter().all(|choice| choice.core_wire_id.starts_with("hex-")), "{bass:?}");
    let changes = bass.notes.windows(2).filter(|pair| pair[0].core_wire_id != pair[1].core_wire_id).count();
    assert!(changes <= 6, "cores step in runs: {changes}");
    // Steps from note to note stay well below what a set is warned about.
    let tensions: Vec<f64> = bass.notes.iter().map(|choice| choice.tension_n).collect();
    assert!(tensions.windows(2).all(|pair| (pair[1] / pair[0] - 1.0).abs() < 0.1), "{tensions:?}");

    let plain: DesignPlainWiresResponse =
        answer(&fresh, &["design", "plain", text(&demo("design-plain.toml"))]);
    assert_eq!(plain.notes.len(), 62);
    assert!(plain.notes.iter().all(|choice| choice.load_share <= 0.7), "{plain:?}");

    // With copper of 0.2 mm at most, the lowest strings stay slack on every core.
    let question = std::fs::read_to_string(demo("design-bass.toml")).unwrap();
    let question = question.replace("max_winding_mm = 2.0", "max_winding_mm = 0.2");
    let refused = run(&fresh, &["design", "bass", text(&fresh.file("slack.toml", &question))], 1);
    assert!(refused.contains("TARGET_UNREACHABLE") && refused.contains("notes[0]"), "{refused}");

    let words = ["replace", "16", "977", "1.00", "--hex", "--layer", "2.80,18,963"];
    let found: MatchReplacementResponse = answer(&fresh, &words);
    assert_eq!(found.candidates[0].core_wire_id, "hex-1.00");
    // 2.80 mm over a hexagon of 1.00 mm: 0.85 mm is the nearest copper of the catalogue.
    assert_eq!(found.candidates[0].winding_wire_ids, ["cu-0.85"]);
    run(&fresh, &["replace", "16", "977", "1.00", "--layer", "2.80,18"], 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn changes_and_special_strings_are_told() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let same: CompareSetsResponse = answer(&fresh, &["compare", "small-160/a", "small-160/a"]);
    assert!(same.rows.is_empty());
    let words = ["compare", "small-160/a", "small-160/a", "--new-a4", "442"];
    let sharp: CompareSetsResponse = answer(&fresh, &words);
    assert_eq!(sharp.unchanged_strings, 0);
    let scale = std::fs::read_to_string(demo("scales/small-160.toml")).unwrap();
    let longer = fresh.file("longer.toml", &scale.replace("speaking_mm = 345.0", "speaking_mm = 347.0"));
    let longer: CompareSetsResponse = answer(&fresh, &["compare", "small-160/a", text(&longer)]);
    assert_eq!(longer.rows.iter().map(|row| row.note).collect::<Vec<_>>(), [52; 3]);

    // Four notes with measured lengths, and one whose larger pins take up more wire.
    let special: ListSpecialStringsResponse = answer(&fresh, &["special", "S16-0412"]);
    let note = |one: &becket_api::stringing::SpecialString| one.difference.as_ref().unwrap().note;
    let mut notes: Vec<i32> = special.strings.iter().map(note).collect();
    notes.dedup();
    assert_eq!(notes, [33, 41, 52, 60, 84]);
    let usual: ListSpecialStringsResponse = answer(&fresh, &["special", "C27-0108"]);
    assert_eq!((usual.strings.len(), usual.standard_strings), (0, 236));
}

#[tokio::test(flavor = "multi_thread")]
async fn bands_and_tunings_are_told() {
    let (fresh, _shop) = Fresh::with_demo().await;
    // Note 1 has two layers.
    let words =
        ["bands", "small-160/a", "1", "52", "--core", "0.0004in", "--winding", "0.01", "--length", "1"];
    let bands: ComputeBandsResponse = answer(&fresh, &words);
    assert_eq!(bands.notes[0].winding_wire_ids.len(), 2);
    assert_eq!(bands.notes[0].tension_n.as_ref().unwrap().parts.len(), 4);
    assert_eq!(bands.notes[1].tension_n.as_ref().unwrap().parts.len(), 2);
    let words = ["bands", "S16-0412", "--core", "0.01", "--winding", "0.01"];
    let all: ComputeBandsResponse = answer(&fresh, &words);
    assert_eq!(all.notes.len(), 88);
    let refused = run(&fresh, &["bands", "small-160/a"], 1);
    assert!(refused.contains("tolerances: "), "{refused}");

    let tuned = fresh.file("tuned.toml", "");
    let words = ["stretch", "small-160", "a", "--save", text(&tuned), "--as", "b"];
    let stretch: ComputeStretchResponse = answer(&fresh, &words);
    assert_eq!(stretch.scale_notes.len(), 88);
    run(&fresh, &["load", "scale", text(&tuned), "--release"], 0);
    let tuned: CompareSetsResponse = answer(&fresh, &["compare", "small-160/a", "small-160/b"]);
    assert!(tuned.rows.len() > 200, "{}", tuned.rows.len());
    assert!(tuned.rows.iter().all(|row| row.frequency_hz.is_some() && row.wire.is_none()));
    let missing = run(&fresh, &["stretch", "small-160", "z"], 1);
    assert!(missing.contains("NOT_FOUND"), "{missing}");
}
