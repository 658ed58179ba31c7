//! A day at the wire station: ten grands, about 1600 pieces of 14 wires, 40 coils.

#![allow(missing_docs, reason = "the macros of the benchmark harness make public functions")]
#![allow(clippy::expect_used, reason = "a benchmark that has no plan has nothing to measure")]

use std::hint::black_box;

use becket_planner::{
    Coil, FirstPlanner, GroupIndex, Piece, PieceOrder, Planner, Policy, Problem, SerialIndex, Station,
    Unison, WireIndex, WireRule, check_plan,
};
use becket_units::Um;
use criterion::{Criterion, criterion_group, criterion_main};

const SERIALS: u32 = 10;
const WIRES: u32 = 14;
/// Looped three-string notes pair up: two notes, three pieces, one group.
const PAIRS_OF_NOTES: u32 = 34;
const CORES: u32 = 58;

/// A linear congruential generator (constants of D. Knuth's MMIX), so that every run measures the same day.
struct Seeded(u64);

impl Seeded {
    /// A number from 0 to `below` − 1.
    fn below(&mut self, below: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from(self.0 >> 33).unwrap_or_default() % below
    }
}

/// Ten grands of slightly different scale.
fn pieces(random: &mut Seeded) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut groups = (0u32..).map(GroupIndex);
    for serial in (0..SERIALS).map(SerialIndex) {
        for pair in 0..PAIRS_OF_NOTES {
            let wire = WireIndex(pair * 9 / PAIRS_OF_NOTES);
            let group = groups.next().expect("endless");
            // Two legs of 250 to 1350 mm, pins included.
            let length = 2 * (250_000 + i64::from(PAIRS_OF_NOTES - pair) * 32_000 + random.below(5_000));
            let piece = |i: i64| Piece {
                wire,
                serial,
                length: Um::new(length + i * 1_000),
                group,
                rank: 100 + pair,
                section: 1,
            };
            pieces.extend((0..3).map(piece));
        }
        for core in 0..CORES {
            let wire = WireIndex(9 + core * 5 / CORES);
            let length = Um::new(1_400_000 + i64::from(CORES - core) * 12_000 + random.below(5_000));
            // The two strings of a note in the upper bass, single strings below.
            let group = if core % 2 == 1 && core > 20 {
                pieces.last().map(|p: &Piece| (p.wire, p.group)).filter(|(w, _)| *w == wire).map(|(_, g)| g)
            } else {
                None
            };
            let group = group.or_else(|| groups.next()).expect("endless");
            pieces.push(Piece { wire, serial, length, group, rank: core, section: 0 });
        }
    }
    pieces
}

/// Per wire one sealed coil that is long enough for all, and remnants of 2 to 40 m.
fn coils(random: &mut Seeded) -> Vec<Coil> {
    (0..40u32)
        .map(|c| {
            let sealed = c < WIRES;
            let available = if sealed { 320_000_000 } else { 2_000_000 + random.below(38_000_000) };
            Coil {
                wire: WireIndex(c % WIRES),
                available: Um::new(available),
                opened: !sealed,
                received_rank: c,
                lot: c / 3,
                mounted_at: None,
                margin: Um::ZERO,
            }
        })
        .collect()
}

fn day() -> Problem {
    let mut random = Seeded(88);
    Problem {
        wires: vec![WireRule { smallest_remnant: Um::new(400_000) }; WIRES as usize],
        serials: SERIALS,
        pieces: pieces(&mut random),
        coils: coils(&mut random),
        station: Station { reel_positions: 4, trays: 4 },
        policy: Policy {
            unison: Unison::Preferred,
            end_trim: Um::new(30_000),
            margin: Um::new(300_000),
            piece_order: PieceOrder::UpTheScale,
            ..Policy::default()
        },
    }
}

fn plan_day(criterion: &mut Criterion) {
    let problem = day();
    let plan = FirstPlanner.plan(&problem).expect("the day is sound");
    check_plan(&problem, &plan).expect("the plan is sound");
    println!("{} pieces, {} uncut, {:?}", problem.pieces.len(), plan.uncut.len(), plan.figures);
    criterion.bench_function("plan_day/first", |b| b.iter(|| FirstPlanner.plan(black_box(&problem))));
    criterion
        .bench_function("plan_day/check", |b| b.iter(|| check_plan(black_box(&problem), black_box(&plan))));
}

criterion_group!(benches, plan_day);
criterion_main!(benches);
