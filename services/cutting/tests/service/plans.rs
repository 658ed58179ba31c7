//! Plans of what a request states.

use std::time::{Duration, Instant};

use becket_api::cutting::{
    ListCoilsRequest, ListCutListsRequest, PieceBatch, PieceOrder, PlanCoil, PlanCutsRequest,
    PlanCutsResponse, PlanLevel, PlanPolicy, PlanSerial, PlanWire, SegmentKind, StepKind, TailUse,
    UncutReason, UnisonRule,
};
use tonic::Code;

use crate::world::{World, assert_faults};

fn batch(piece_id: &str, wire_id: &str, mm: i64, count: i32) -> PieceBatch {
    PieceBatch {
        piece_id: piece_id.to_owned(),
        wire_id: wire_id.to_owned(),
        length_um: mm * 1000,
        count: Some(count),
        ..PieceBatch::default()
    }
}

fn serial(serial_id: &str, pieces: Vec<PieceBatch>) -> PlanSerial {
    PlanSerial { serial_id: serial_id.to_owned(), pieces }
}

fn wire(wire_id: &str, mm: i64) -> PlanWire {
    PlanWire { wire_id: wire_id.to_owned(), smallest_remnant_um: mm * 1000 }
}

fn coil(coil_id: &str, wire_id: &str, mm: i64) -> PlanCoil {
    PlanCoil {
        coil_id: coil_id.to_owned(),
        wire_id: wire_id.to_owned(),
        length_um: mm * 1000,
        ..PlanCoil::default()
    }
}

/// Two serials, two wires, one reel: everything fits.
fn small() -> PlanCutsRequest {
    PlanCutsRequest {
        serials: vec![
            serial("S-1", vec![batch("n52", "w16", 700, 3), batch("n60", "w14", 400, 2)]),
            serial("S-2", vec![batch("n52", "w16", 700, 3)]),
        ],
        wires: vec![wire("w16", 200), wire("w14", 200)],
        coils: vec![coil("C-16", "w16", 5000), coil("C-14", "w14", 900)],
        reel_positions: 1,
        trays: 2,
        policy: None,
        without_steps: false,
        without_pictures: false,
    }
}

/// A search that takes far longer than a test waits: remnants of which no two are alike, and much work allowed.
fn hard(rounds: i32) -> PlanCutsRequest {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = |low: i64, high: i64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + i64::try_from(state >> 33).unwrap() % (high - low)
    };
    let pieces = (0..400)
        .map(|n| PieceBatch { length_um: random(250_000, 3_200_000), ..batch(&format!("p{n}"), "w", 0, 1) });
    let pieces = pieces.collect();
    let coils = (0..260)
        .map(|n| PlanCoil { length_um: random(1_000_000, 6_000_000), ..coil(&format!("C{n}"), "w", 0) })
        .collect();
    let policy = PlanPolicy { search_rounds: Some(rounds), ..PlanPolicy::default() };
    PlanCutsRequest {
        serials: vec![serial("S", pieces)],
        wires: vec![wire("w", 250)],
        coils,
        policy: Some(policy),
        ..small()
    }
}

async fn plan(world: &World, request: PlanCutsRequest) -> PlanCutsResponse {
    let answer = world.plans().plan_cuts(request).await.unwrap().into_inner();
    PlanCutsResponse { search_us: 0, ..answer }
}

#[tokio::test]
async fn a_plan_says_what_is_cut_from_which_coil_and_how_good_it_is() {
    let world = World::empty().await;
    let answer = plan(&world, small()).await;
    let figures = answer.figures.unwrap();
    assert_eq!((figures.pieces, figures.cut_um, figures.coils_opened), (8, 5_000_000, 2));
    // Two trims of 10 mm, and 90 mm of the thin wire that are too short to keep.
    assert_eq!((figures.scrap_um, figures.remnant_um), (110_000, 790_000));
    assert_eq!((answer.uncut.len(), answer.stopped), (0, false));
    assert_eq!(answer.levels.len(), 8);
    let level = |level: PlanLevel| *answer.levels.iter().find(|report| report.level() == level).unwrap();
    let uncut = level(PlanLevel::PiecesUncut);
    assert_eq!((uncut.value, uncut.lower_bound, uncut.proven), (0, 0, true));
    let scrap = level(PlanLevel::Scrap);
    assert_eq!(scrap.value, 110_000);
    assert!((20_000..=110_000).contains(&scrap.lower_bound), "{scrap:?}");

    let cuts: i32 = answer.steps.iter().map(|step| step.count).sum();
    assert_eq!(cuts, 8);
    let thick: Vec<_> = answer
        .steps
        .iter()
        .filter(|step| step.coil_id == "C-16")
        .map(|step| {
            (step.kind(), step.serial_id.as_str(), step.count, step.remaining_after_um, step.tail_use())
        })
        .collect();
    let no = TailUse::Unspecified;
    assert_eq!(
        thick,
        [
            (StepKind::Mount, "", 0, 4_990_000, no),
            (StepKind::Cut, "S-1", 3, 2_890_000, no),
            (StepKind::Cut, "S-2", 3, 790_000, no),
            (StepKind::Unmount, "", 0, 790_000, TailUse::Keep),
        ]
    );
    assert_eq!(answer.coils.iter().map(|coil| coil.coil_id.as_str()).collect::<Vec<_>>(), ["C-16", "C-14"]);
    for picture in &answer.coils {
        let sum: i64 = picture.segments.iter().map(|part| part.length_um * i64::from(part.count)).sum();
        assert_eq!(sum, picture.length_um, "{picture:?}");
    }
    let kinds: Vec<_> = answer.coils[1].segments.iter().map(|part| part.kind()).collect();
    assert_eq!(kinds, [SegmentKind::Trim, SegmentKind::Cut, SegmentKind::Scrap]);

    let request = PlanCutsRequest { without_steps: true, without_pictures: true, ..small() };
    let short = plan(&world, request).await;
    assert_eq!((short.steps.len(), short.coils.len(), short.figures), (0, 0, Some(figures)));
}

/// Without a stock, sections are numbers of the request.
#[tokio::test]
async fn pieces_are_cut_section_by_section() {
    let world = World::empty().await;
    let of = |section, batch: PieceBatch| PieceBatch { section: Some(section), ..batch };
    let pieces = vec![
        of(2, batch("a", "w16", 500, 1)),
        of(1, batch("b", "w16", 400, 2)),
        of(2, batch("c", "w16", 900, 1)),
        of(1, batch("d", "w16", 700, 1)),
    ];
    let mut cut = Vec::new();
    for order in [PieceOrder::BySection, PieceOrder::ByLength, PieceOrder::UpTheScale] {
        let policy = Some(PlanPolicy { piece_order: Some(order.into()), ..PlanPolicy::default() });
        let serials = vec![serial("S", pieces.clone())];
        let answer = plan(&world, PlanCutsRequest { serials, policy, ..small() }).await;
        assert_eq!(answer.policy.unwrap().piece_order, Some(order.into()));
        let steps = answer.steps.iter().filter(|step| step.kind() == StepKind::Cut);
        cut.push(steps.map(|step| step.piece_id.as_str()).collect::<String>());
    }
    assert_eq!(cut, ["dbca", "cdab", "abcd"]);
}

#[tokio::test]
async fn nothing_is_read_stored_or_reserved() {
    let world = World::with_jobs(&["S-1"]).await;
    let coils =
        || async { world.coils().list_coils(ListCoilsRequest::default()).await.unwrap().into_inner() };
    let before = coils().await;
    plan(&world, small()).await;
    assert_eq!(coils().await, before);
    let lists = world.lists().list_cut_lists(ListCutListsRequest::default()).await.unwrap().into_inner();
    assert_eq!(lists.cut_lists, []);
}

#[tokio::test]
async fn what_no_coil_can_give_is_left_uncut_with_a_reason() {
    let world = World::empty().await;
    let of_note = |batch: PieceBatch| PieceBatch { group_id: "n1".to_owned(), ..batch };
    let request = PlanCutsRequest {
        serials: vec![serial(
            "S-1",
            vec![
                batch("long", "w16", 5001, 2),
                batch("none", "w13", 100, 1),
                of_note(batch("note", "w16", 2000, 3)),
                batch("fits", "w16", 1000, 4),
                batch("short", "w16", 800, 3),
            ],
        )],
        wires: vec![wire("w16", 200), wire("w13", 0)],
        coils: vec![coil("C-16", "w16", 5000)],
        policy: Some(PlanPolicy { unison_rule: Some(UnisonRule::Hard.into()), ..PlanPolicy::default() }),
        ..small()
    };
    let answer = plan(&world, request).await;
    let uncut: Vec<_> =
        answer.uncut.iter().map(|part| (part.piece_id.as_str(), part.count, part.reason())).collect();
    assert_eq!(
        &uncut[..3],
        [
            ("long", 2, UncutReason::LongerThanEveryCoil),
            ("none", 1, UncutReason::NoCoil),
            ("note", 3, UncutReason::GroupLongerThanEveryCoil),
        ]
    );
    let short: i32 = uncut[3..].iter().map(|(_, count, _)| count).sum();
    assert!(uncut[3..].iter().all(|(_, _, reason)| *reason == UncutReason::StockShort), "{uncut:?}");
    // 4990 mm give three pieces of 800 and two of 1000, or 2 and 3 of them: five of the seven.
    assert_eq!((short, answer.figures.unwrap().pieces), (2, 5));
}

#[tokio::test]
async fn every_fault_is_told_by_its_path() {
    let world = World::empty().await;
    let grouped = |batch: PieceBatch| PieceBatch { group_id: "g".to_owned(), ..batch };
    let request = PlanCutsRequest {
        serials: vec![
            serial(
                "S 1",
                vec![
                    batch("a", "w16", 0, 3),
                    batch("a", "w99", -7, 1),
                    grouped(batch("b", "w16", 10, 0)),
                    grouped(batch("c", "w14", 10, 1)),
                    PieceBatch { rank: Some(-1), ..batch("d", "w16", 10, 1) },
                ],
            ),
            serial("S-2", vec![]),
            serial("S-2", vec![]),
        ],
        wires: vec![wire("w16", -1), wire("w14", 0), wire("w14", 0)],
        coils: vec![
            PlanCoil { reel_position: 1, ..coil("C", "w16", 5) },
            PlanCoil { reel_position: 1, ..coil("C", "w17", -5) },
            PlanCoil { reel_position: 3, lot_id: "a lot".to_owned(), margin_um: -1, ..coil("D", "w16", 5) },
            PlanCoil { reel_position: -3, ..coil("E", "w16", 1_000_000_000_001) },
        ],
        reel_positions: 2,
        trays: 0,
        policy: Some(PlanPolicy { time_budget_ms: Some(0), ..PlanPolicy::default() }),
        ..small()
    };
    let fields = [
        "policy.time_budget_ms",
        "trays",
        "wires[2].wire_id",
        "coils[1].coil_id",
        "coils[1].wire_id",
        "coils[2].lot_id",
        "coils[3].reel_position",
        "serials[0].serial_id",
        "serials[0].pieces[1].piece_id",
        "serials[0].pieces[1].wire_id",
        "serials[0].pieces[2].count",
        "serials[0].pieces[4].rank",
        "serials[2].serial_id",
        "wires[0].smallest_remnant_um",
        "serials[0].pieces[0].length_um",
        "serials[0].pieces[1].length_um",
        "serials[0].pieces[3].group_id",
        "coils[1].length_um",
        "coils[1].reel_position",
        "coils[2].margin_um",
        "coils[2].reel_position",
        "coils[3].length_um",
    ];
    assert_faults(world.plans().plan_cuts(request).await, &fields);
    // Where nothing but the planner has something to say, it is told alike.
    let request = PlanCutsRequest { serials: vec![serial("S", vec![batch("a", "w16", 0, 2)])], ..small() };
    assert_faults(world.plans().plan_cuts(request).await, &["serials[0].pieces[0].length_um"]);
}

#[tokio::test]
async fn sizes_are_limited_before_anything_else() {
    let world = World::empty().await;
    let empty = PlanCutsRequest::default();
    assert_faults(world.plans().plan_cuts(empty).await, &["serials", "wires", "serials"]);
    let much = serial("S", vec![batch("a", "w16", 0, 1_500_000), batch("b", "w16", 1, 500_001)]);
    let request = PlanCutsRequest { serials: vec![much], ..small() };
    assert_faults(world.plans().plan_cuts(request).await, &["serials"]);
}

#[tokio::test]
async fn a_budget_ends_the_search_with_the_best_plan_so_far() {
    let world = World::empty().await;
    let quick = hard(20);
    assert_eq!(plan(&world, quick.clone()).await, plan(&world, quick.clone()).await, "the same plan");
    let mut request = hard(1_000_000);
    request.policy.as_mut().unwrap().time_budget_ms = Some(400);
    let begin = Instant::now();
    let answer = plan(&world, request).await;
    assert!(begin.elapsed() < Duration::from_secs(20), "{:?}", begin.elapsed());
    assert!(answer.stopped);
    assert_eq!(answer.levels.len(), 8);
    assert!(answer.levels.iter().all(|level| level.lower_bound <= level.value), "{:?}", answer.levels);
    let uncut: i32 = answer.uncut.iter().map(|part| part.count).sum();
    assert_eq!(answer.figures.unwrap().pieces + uncut, 400);
    // The deadline of the call is a budget, too.
    let mut request = tonic::Request::new(hard(1_000_000));
    request.set_timeout(Duration::from_secs(8));
    assert!(world.plans().plan_cuts(request).await.unwrap().into_inner().stopped);
}

#[tokio::test]
async fn a_call_that_is_given_up_frees_its_place() {
    let world = World::empty().await;
    // More than there are places for computations.
    let mut waiting = Vec::new();
    for _ in 0..4 {
        let mut plans = world.plans();
        waiting.push(tokio::spawn(async move {
            let mut request = tonic::Request::new(hard(1_000_000));
            request.set_timeout(Duration::from_secs(55));
            plans.plan_cuts(request).await
        }));
    }
    tokio::time::sleep(Duration::from_millis(500)).await;
    let mut request = tonic::Request::new(small());
    request.set_timeout(Duration::from_millis(1500));
    let status = world.plans().plan_cuts(request).await.unwrap_err();
    assert!(
        matches!(status.code(), Code::DeadlineExceeded | Code::Cancelled),
        "all places are taken: {status:?}"
    );
    for call in waiting {
        call.abort();
    }
    let begin = Instant::now();
    plan(&world, small()).await;
    assert!(begin.elapsed() < Duration::from_secs(20), "{:?}", begin.elapsed());
}
