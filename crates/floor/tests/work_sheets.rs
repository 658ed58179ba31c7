//! Work sheets and trays.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests: what fails here ends the test")]

use std::collections::BTreeMap;

use becket_floor::{
    CoilId, CutList, ListId, LotId, NewCutList, PieceId, PieceKind, PlanPolicy, SerialId, SheetCoil,
    Shortage, SpoilCause, StationId, Step, StepKind, StepPiece, StepState, TailUse, WireId, WorkAction,
    trays, work_sheet,
};
use becket_units::Um;

fn mm(mm: i64) -> Um {
    Um::new(mm * 1000)
}

fn step(kind: StepKind, coil: &str, length: i64, remaining: i64) -> Step {
    Step {
        step_number: 0,
        kind,
        state: StepState::Pending,
        coil_id: CoilId::new(coil).unwrap(),
        lot_id: LotId::new("H1").unwrap(),
        wire_id: WireId::new("w16").unwrap(),
        reel_position: 1,
        piece: None,
        length: mm(length),
        remaining_after: mm(remaining),
        tail_use: None,
        opens_coil: false,
        spoil_cause: None,
        done_us: None,
        done_by: String::new(),
    }
}

fn cut(coil: &str, serial: &str, length: i64, remaining: i64) -> Step {
    let piece = StepPiece {
        serial_id: SerialId::new(serial).unwrap(),
        piece_id: PieceId::new("52.1+52.2").unwrap(),
        kind: PieceKind::LoopedPair,
        notes: vec![52],
        section: None,
        length: mm(length),
        recut: false,
    };
    Step { piece: Some(piece), ..step(StepKind::Cut, coil, length, remaining) }
}

fn off(coil: &str, scrapped: i64, remaining: i64) -> Step {
    let tail_use = Some(if remaining == 0 { TailUse::Scrap } else { TailUse::Keep });
    Step { tail_use, ..step(StepKind::Unmount, coil, scrapped, remaining) }
}

fn list(mut steps: Vec<Step>) -> CutList {
    for (number, step) in (1..).zip(&mut steps) {
        step.step_number = number;
    }
    let new = NewCutList {
        station_id: StationId::new("bench").unwrap(),
        serials: Vec::new(),
        policy: PlanPolicy::default(),
        steps,
        shortages: Vec::new(),
        quality: Default::default(),
    };
    new.named(ListId::numbered(1))
}

fn day() -> CutList {
    list(vec![
        step(StepKind::Mount, "A", 10, 5000),
        cut("A", "S-1", 700, 4300),
        cut("A", "S-1", 700, 3600),
        cut("A", "S-1", 650, 2950),
        cut("A", "S-2", 650, 2300),
        off("A", 0, 2300),
        step(StepKind::Mount, "B", 10, 1000),
        cut("B", "S-2", 900, 100),
        off("B", 100, 0),
    ])
}

#[test]
fn steps_are_grouped_as_a_person_works() {
    let coil = SheetCoil { linear_density_g_m: 5.0, set_aside: true };
    let mut day = day();
    day.shortages = vec![Shortage {
        wire_id: WireId::new("w1").unwrap(),
        serial_id: SerialId::new("S-2").unwrap(),
        piece_ids: vec![PieceId::new("7.1").unwrap(), PieceId::new("8.1").unwrap()],
        length: Um::new(1),
    }];
    let sheet = work_sheet(&day, &BTreeMap::from([(CoilId::new("A").unwrap(), coil)]));
    let shown: Vec<_> = sheet
        .iter()
        .map(|item| {
            (
                item.action,
                item.first_step,
                item.last_step,
                item.piece_ids.len(),
                item.remaining.get() / 1000,
                item.pieces_done,
            )
        })
        .collect();
    use WorkAction::{CheckRemainder, Cut, LabelRemnant, Mount, ScrapTail, SquareEnd, Unmount};
    assert_eq!(
        shown,
        [
            (Mount, 1, 1, 0, 5010, 0),
            (SquareEnd, 1, 1, 0, 5000, 0),
            (Cut, 2, 3, 2, 3600, 2),
            (Cut, 4, 4, 1, 2950, 3),
            (Cut, 5, 5, 1, 2300, 4),
            (CheckRemainder, 5, 5, 0, 2300, 4),
            (Unmount, 6, 6, 0, 2300, 4),
            (LabelRemnant, 6, 6, 0, 2300, 4),
            (Mount, 7, 7, 0, 1010, 4),
            (SquareEnd, 7, 7, 0, 1000, 4),
            (Cut, 8, 8, 1, 100, 5),
            (CheckRemainder, 8, 8, 0, 100, 5),
            (Unmount, 9, 9, 0, 100, 5),
            (ScrapTail, 9, 9, 0, 0, 5),
        ]
    );
    // 2.3 m of 5 g/m; of the other coil's wire nothing is known.
    assert_eq!(sheet[5].remaining_mass_g.map(|g| (g * 1000.0).round()), Some(11_500.0));
    assert_eq!(sheet[11].remaining_mass_g, None);
    assert_eq!(sheet[2].tray, Some((SerialId::new("S-1").unwrap(), 1)));
    assert_eq!(sheet[4].tray, Some((SerialId::new("S-2").unwrap(), 1)), "the first serial has left its tray");
    // The last line of each serial tells that its tray gets nothing more, and what it lacks.
    let ends: Vec<_> = sheet.iter().map(|item| item.tray_ends_lacking).collect();
    assert_eq!((ends[3], ends[10]), (Some(0), Some(2)));
    assert_eq!(ends.iter().flatten().count(), 2);
    let set_aside: Vec<&str> =
        sheet.iter().filter(|item| item.set_aside).map(|item| item.coil_id.as_str()).collect();
    assert_eq!(set_aside, ["A"; 8]);
}

#[test]
fn a_spoiled_piece_is_in_no_tray_and_no_count() {
    let mut list = day();
    list.steps[1].state = StepState::Done;
    list.steps[1].spoil_cause = Some(SpoilCause::Miscut);
    list.steps[1].state = StepState::Spoiled;
    let sheet = work_sheet(&list, &BTreeMap::new());
    assert_eq!((sheet[2].piece_ids.len(), sheet[2].pieces_done, sheet[2].done), (0, 0, true));
    assert_eq!((sheet[3].piece_ids.len(), sheet[3].pieces_done, sheet[3].done), (1, 1, false));
}

#[test]
fn a_tray_is_free_again_after_the_last_piece_of_its_serial() {
    let serials = ["S-1", "S-2", "S-1", "S-3", "S-2", "S-4", "S-3"];
    let list = list(serials.map(|serial| cut("A", serial, 100, 1000)).to_vec());
    let trays: Vec<(String, u32)> =
        trays(&list.steps).into_iter().map(|(serial, tray)| (serial.to_string(), tray)).collect();
    let expected = [("S-1", 1), ("S-2", 2), ("S-3", 1), ("S-4", 2)];
    assert_eq!(trays, expected.map(|(serial, tray)| (serial.to_owned(), tray)));
}
