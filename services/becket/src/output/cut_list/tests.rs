use becket_api::{
    cutting::{CutStep, SerialDigest, SpoilCause, StepKind, StepState, TailUse},
    stringing::{Material, PieceKind, SizeNumber, SizeSeries, Wire},
};
use expect_test::expect;

use super::*;

fn step(number: i32, kind: StepKind, coil: &str, length_um: i64, left_um: i64) -> CutStep {
    CutStep {
        step_number: number,
        kind: kind.into(),
        state: StepState::Pending.into(),
        coil_id: coil.into(),
        lot_id: "H2604-11".into(),
        wire_id: "mw-in-16".into(),
        reel_position: 2,
        length_um,
        remaining_after_um: left_um,
        ..CutStep::default()
    }
}

fn cut(number: i32, coil: &str, serial: &str, piece: &str, length_um: i64, left_um: i64) -> CutStep {
    CutStep {
        serial_id: serial.into(),
        piece_id: piece.into(),
        piece_kind: PieceKind::LoopedPair.into(),
        ..step(number, StepKind::Cut, coil, length_um, left_um)
    }
}

fn list() -> CutList {
    let done = |step: CutStep| CutStep { state: StepState::Done.into(), ..step };
    let spoiled = CutStep {
        state: StepState::Spoiled.into(),
        spoil_cause: Some(SpoilCause::Broken.into()),
        ..cut(3, "R0104", "S1", "52.3+53.1", 1_198_000, 9_594_000)
    };
    let recut = CutStep { recut: true, ..cut(4, "R0104", "S1", "52.3+53.1", 1_198_000, 8_396_000) };
    let off = CutStep { tail_use: TailUse::Scrap.into(), ..step(7, StepKind::Unmount, "R0104", 96_000, 0) };
    CutList {
        list_id: "L-0007".into(),
        station_id: "bench-1".into(),
        state: CutListState::Running.into(),
        serials: [("S1", 1), ("S2", 2)]
            .map(|(id, tray)| SerialDigest {
                serial_id: id.into(),
                due_date: "2026-12-01".into(),
                tray,
                ..SerialDigest::default()
            })
            .into(),
        policy: Some(PlanPolicy {
            unison_rule: Some(UnisonRule::Preferred.into()),
            end_trim_mm: Some(10.0),
            coil_margin_mm: Some(0.0),
            piece_order: Some(PieceOrder::UpTheScale.into()),
            wound_cores: Some(true),
            ..PlanPolicy::default()
        }),
        steps: vec![
            done(step(1, StepKind::Mount, "R0104", 10_000, 12_000_000)),
            done(cut(2, "R0104", "S1", "52.1+52.2", 1_208_000, 10_792_000)),
            spoiled,
            recut,
            cut(5, "R0104", "S2", "52.1+52.2", 4_150_000, 4_246_000),
            cut(6, "R0104", "S2", "52.3+53.1", 4_150_000, 96_000),
            off,
            cut(8, "R0200", "S1", "88.1", 400_000, 50_000_000),
        ],
        shortages: vec![Shortage {
            wire_id: "mw-in-13".into(),
            serial_id: "S2".into(),
            piece_ids: ["87.1", "87.2", "87.3", "88.1", "88.2"].map(str::to_owned).into(),
            length_um: 2_000_000,
        }],
        figures: Some(PlanFigures {
            pieces: 5,
            cut_um: 11_106_000,
            scrap_um: 1_304_000,
            remnant_um: 50_000_000,
            coils_used: 2,
            coils_opened: 0,
            reel_changes: 1,
            unisons_split: 0,
        }),
        pieces_done: 1,
        pieces_pending: 4,
        ..CutList::default()
    }
}

fn wires(units: UnitSystem) -> WireNames {
    let wire = Wire {
        wire_id: "mw-in-16".into(),
        material: Material::SteelRound.into(),
        diameter_mm: 0.9398,
        size: Some(SizeNumber { series: SizeSeries::Inch.into(), number: 16.0 }),
        ..Wire::default()
    };
    WireNames::new(&[wire], units)
}

#[test]
fn the_bench_sees_reels_and_cuts() {
    let units = UnitSystem::Metric;
    let view = ListView::default();
    expect![[r#"
        L-0007 at bench-1: running, 1 piece cut, 4 to cut
          tray 1    S1           due 2026-12-01
          tray 2    S2           due 2026-12-01
          unisons from one coil preferred, pieces up the scale, with wound cores, trim 10.0 mm, margin 0.0 mm
          5 pieces from 2 coils (0 newly opened), 1 reel change
          11.11 m cut, 1.30 m scrap (10.51 %), 50.00 m left on the coils; 0 unisons over more than one coil

        The stock does not cover:
         wire       serial   pieces   length   which
                                           m
        ─────────────────────────────────────────────────────────────
         mw-in-13   S2            5     2.00   87.1 87.2 87.3 88.1 …


        Step 1: Mount coil R0104 on reel 2 (wire No. 16, .037 in = 0.940 mm, lot H2604-11), trim 10.0 mm  [done]
         step   length   pieces      notes    section   serial   tray     left on coil   state
                    mm                                                              mm
        ─────────────────────────────────────────────────────────────────────────────────────────────────
            2   1208.0   52.1+52.2   C5                 S1       tray 1        10792.0   done
            3   1198.0   52.3+53.1   C5 C#5             S1       tray 1         9594.0   spoiled: broken
            4   1198.0   52.3+53.1   C5 C#5             S1       tray 1         8396.0   cut again
            5   4150.0   52.1+52.2   C5                 S2       tray 2         4246.0
            6   4150.0   52.3+53.1   C5 C#5             S2       tray 2           96.0

        Step 7: Take coil R0104 off reel 2, scrap the last 96.0 mm

        Cut from coil R0200 on reel 2 (wire No. 16, .037 in = 0.940 mm, lot H2604-11)
         step   length   pieces   notes   section   serial   tray     left on coil   state
                    mm                                                          mm
        ───────────────────────────────────────────────────────────────────────────────────
            8    400.0   88.1     C8                S1       tray 1        50000.0

        Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
        wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
        These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
        qualified piano technician.
    "#]].assert_eq(&cut_list_text(&list(), &wires(units), view, units));
}

#[test]
fn the_summary_groups_equal_cuts() {
    let units = UnitSystem::Inch;
    let view = ListView { pending: true, summary: true };
    expect![[r#"

        Cut from coil R0104 on reel 2 (wire No. 16, .037 in, lot H2604-11)
         step    length   pieces      notes    section   serial   tray     left on coil   state
                     in                                                              in
        ────────────────────────────────────────────────────────────────────────────────────────────
            4    47.165   52.3+53.1   C5 C#5             S1       tray 1        330.551   cut again
          5–6   163.386   2 ×         C5 C#5             S2       tray 2          3.780

        Step 7: Take coil R0104 off reel 2, scrap the last 3.780 in

        Cut from coil R0200 on reel 2 (wire No. 16, .037 in, lot H2604-11)
         step   length   pieces   notes   section   serial   tray     left on coil   state
                    in                                                          in
        ───────────────────────────────────────────────────────────────────────────────────
            8   15.748   88.1     C8                S1       tray 1       1968.504
    "#]]
    .assert_eq(&bench::steps_text(&list(), &wires(units), view, units));
}

#[test]
fn a_plan_tells_what_is_short() {
    expect![[r#"
        L-0007 at bench-1: running, 1 piece cut, 4 to cut
          tray 1    S1           due 2026-12-01
          tray 2    S2           due 2026-12-01
          unisons from one coil preferred, pieces up the scale, with wound cores, trim 10.0 mm, margin 0.0 mm
          5 pieces from 2 coils (0 newly opened), 1 reel change
          11.11 m cut, 1.30 m scrap (10.51 %), 50.00 m left on the coils; 0 unisons over more than one coil

        The stock does not cover:
         wire       serial   pieces   length   which
                                           m
        ─────────────────────────────────────────────────────────────
         mw-in-13   S2            5     2.00   87.1 87.2 87.3 88.1 …

        See all steps with: becket show cut-list L-0007

        Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
        wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
        These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
        qualified piano technician.
    "#]].assert_eq(&plan_text(&list(), UnitSystem::Metric));
}

#[test]
fn steps_are_rows_of_csv() {
    let view = ListView { pending: true, ..ListView::default() };
    expect![[r#"
        step,do,state,coil,lot,wire,reel,serial,piece,notes,section,kind,length_mm,left_on_coil_mm,tail,recut,spoiled,done,by
        4,cut,pending,R0104,H2604-11,mw-in-16,2,S1,52.3+53.1,C5 C#5,,looped pair,1198.0,8396.0,,yes,,,
        5,cut,pending,R0104,H2604-11,mw-in-16,2,S2,52.1+52.2,C5,,looped pair,4150.0,4246.0,,,,,
        6,cut,pending,R0104,H2604-11,mw-in-16,2,S2,52.3+53.1,C5 C#5,,looped pair,4150.0,96.0,,,,,
        7,unmount,pending,R0104,H2604-11,mw-in-16,2,,,,,,96.0,0.0,scrap,,,,
        8,cut,pending,R0200,H2604-11,mw-in-16,2,S1,88.1,C8,,looped pair,400.0,50000.0,,,,,
    "#]].assert_eq(&cut_list_sheet(&list(), view, UnitSystem::Metric).csv());
}

#[test]
fn lists_and_watching_are_lines() {
    expect![[r#"
         list     station   state     serials   cut   to cut   planned
        ───────────────────────────────────────────────────────────────
         L-0007   bench-1   running   S1 S2       1        4
    "#]]
    .assert_eq(&lists_sheet(&[list()], UnitSystem::Metric).table());
    let seen = WatchCutListResponse {
        state: CutListState::Running.into(),
        next: list().steps.get(4).cloned(),
        pieces_done: 1,
        pieces_pending: 4,
        ..WatchCutListResponse::default()
    };
    expect![[r#"
        running: 1 cut, 4 to cut; next: step 5, cut 4150.0 mm from coil R0104 on reel 2 for S2 (C5)
    "#]]
    .assert_eq(&watch_line(&seen, UnitSystem::Metric));
    let ended = WatchCutListResponse { state: CutListState::Finished.into(), next: None, ..seen };
    expect![[r#"
        finished: 1 cut, 4 to cut; nothing is pending
    "#]]
    .assert_eq(&watch_line(&ended, UnitSystem::Metric));
}
