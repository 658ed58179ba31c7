//! Cut lists, and what serials need.

use becket_floor::{self as floor, CoilId, ListId, LotId, PieceId, SerialId, StationId, WireId};
use becket_units::Um;
use expect_test::expect;
use prost_types::Timestamp;

use super::*;
use crate::cutting::{self, CutStep, LevelReport};
use crate::stringing::{Piece, StringFigures, StringSet};

fn step() -> floor::Step {
    floor::Step {
        step_number: 7,
        kind: floor::StepKind::Cut,
        state: floor::StepState::Spoiled,
        coil_id: CoilId::new("R1").unwrap(),
        lot_id: LotId::new("H1").unwrap(),
        wire_id: WireId::new("mw-in-13").unwrap(),
        reel_position: 2,
        piece: Some(floor::StepPiece {
            serial_id: SerialId::new("C27").unwrap(),
            piece_id: PieceId::new("52.3+53.1").unwrap(),
            kind: floor::PieceKind::LoopedPair,
            notes: vec![52, 53],
            section: Some(floor::Section { number: 2, section_id: floor::SectionId::new("tenor").unwrap() }),
            length: Um::new(1_000),
            recut: true,
        }),
        length: Um::new(1_500),
        remaining_after: Um::new(9_000),
        tail_use: None,
        opens_coil: false,
        spoil_cause: Some(floor::SpoilCause::Broken),
        done_us: Some(2_000_001),
        done_by: "anna".to_owned(),
    }
}

#[test]
fn a_list_is_shown() {
    let shown = CutStep::from(&step());
    let expected = CutStep {
        step_number: 7,
        kind: cutting::StepKind::Cut.into(),
        state: cutting::StepState::Spoiled.into(),
        coil_id: "R1".to_owned(),
        lot_id: "H1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        reel_position: 2,
        serial_id: "C27".to_owned(),
        piece_id: "52.3+53.1".to_owned(),
        piece_kind: crate::stringing::PieceKind::LoopedPair.into(),
        length_um: 1_500,
        remaining_after_um: 9_000,
        tail_use: 0,
        recut: true,
        spoil_cause: Some(cutting::SpoilCause::Broken.into()),
        done_time: Some(Timestamp { seconds: 2, nanos: 1_000 }),
        done_by: "anna".to_owned(),
        section_id: "tenor".to_owned(),
        section_number: 2,
    };
    assert_eq!(shown, expected);

    let list = floor::NewCutList {
        station_id: StationId::new("bench-1").unwrap(),
        serials: Vec::new(),
        policy: floor::PlanPolicy::default(),
        steps: vec![step()],
        shortages: Vec::new(),
        quality: becket_planner::Quality {
            levels: vec![becket_planner::LevelReport {
                level: becket_planner::Level::Scrap,
                value: 20,
                lower_bound: 10,
                proven: false,
            }],
            stopped: true,
        },
    }
    .named(ListId::numbered(7));
    let stamps = Stamps { version: 99, create_us: 0, update_us: 0 };
    let shown = cut_list(&list, &stamps);
    assert_eq!((shown.list_id.as_str(), shown.etag.as_str(), shown.steps.len()), ("L-0007", "1", 1));
    assert_eq!(shown.state, i32::from(cutting::CutListState::Planned));
    assert_eq!((shown.start_time, shown.figures.unwrap().scrap_um), (None, 1_500));
    let scrap = LevelReport { level: 4, value: 20, lower_bound: 10, proven: false };
    assert_eq!((shown.levels, shown.search_stopped), (vec![scrap], true));
    assert_eq!(cut_list_header(&list.header, &stamps).steps, []);
}

fn strings(sections: &[(i32, &str)]) -> Vec<StringFigures> {
    let string =
        |&(note, id): &(i32, &str)| StringFigures { note, section_id: id.to_owned(), ..Default::default() };
    sections.iter().map(string).collect()
}

#[test]
fn needs_of_a_serial() {
    let piece = |piece_id: &str, strings: &[&str], kind: i32, length_um| Piece {
        section_id: "tenor".to_owned(),
        piece_id: piece_id.to_owned(),
        kind,
        wire_id: "mw-in-13".to_owned(),
        string_ids: strings.iter().map(|&id| id.to_owned()).collect(),
        length_um,
        ..Piece::default()
    };
    let set = StringSet {
        serial_id: "C27".to_owned(),
        digest: "ab".to_owned(),
        strings: strings(&[(53, "tenor"), (2, "bass"), (52, "tenor"), (70, "alto")]),
        pieces: vec![
            piece("52.1+52.2", &["52.1", "52.2"], 1, 900),
            piece("52.3+53.1", &["52.3", "53.1"], 1, 800),
        ],
        ..StringSet::default()
    };
    let need = serial_need(&set, "2026-12-01").unwrap();
    assert_eq!((need.serial.serial_id.as_str(), need.serial.set_digest.as_str()), ("C27", "ab"));
    let notes: Vec<&[i32]> = need.pieces.iter().map(|piece| piece.notes.as_slice()).collect();
    assert_eq!(notes, [&[52][..], &[52, 53]]);
    assert_eq!(need.pieces[1].length, Um::new(800));
    // Sections are counted from the bass, whatever their names.
    let section = need.pieces[1].section.clone().unwrap();
    assert_eq!((section.number, section.section_id.as_str()), (2, "tenor"));

    let bad = StringSet {
        strings: strings(&[(1, "tenor")]),
        pieces: vec![
            piece("52.1", &["52.1"], 0, 900),
            piece("5/2", &["52.1"], 2, 1),
            piece("1.1", &["x"], 2, 1),
            piece("1.1", &["1.1"], 2, 0),
            Piece { section_id: "alto".to_owned(), ..piece("1.1", &["1.1"], 2, 1) },
            Piece { section_id: "al/to".to_owned(), ..piece("1.1", &["1.1"], 2, 1) },
        ],
        ..StringSet::default()
    };
    check(
        &serial_need(&bad, "2026-12-01").unwrap_err(),
        &expect![[r#"
            serial_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
            pieces[0].kind: "unspecified" is not allowed; allowed: one of looped_pair, tied_single, wound_core
            pieces[1].piece_id: "5/2" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-', '_' and '+'
            pieces[2].string_ids[0]: "x" is not allowed; allowed: note (-8 to 88), dot, number of the string (1 to 4), such as "52.3"
            pieces[3].length_um: "0" is not allowed; allowed: more than 0
            pieces[4].section_id: "alto" is not allowed; allowed: the section of a string
            pieces[5].section_id: "al/to" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit"#]],
    );
}
