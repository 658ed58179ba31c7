//! Prints how many reel changes plans need, on generated days with fixed seeds.
//!
//! ```sh
//! cargo run --release -p becket-planner --example reels             # one day of each kind
//! cargo run --release -p becket-planner --example reels -- 5        # five seeds of each
//! ```
//!
//! # Generator
//!
//! Numbers come from splitmix64. Days:
//!
//! - `grands`: 10 serials, each with all 14 wires and 8 to 14 pieces of 400 to 2200 mm of each (about 1 500 pieces in all); per
//!   wire one opened coil of 20 to 60 m, two sealed coils of 80 to 160 m; end trim 30 mm, smallest remnant 400 mm;
//! - `remnants`: the same, but the wire is on opened coils of 8 to 30 m, 30 % more than needed;
//! - `sizes`: 24 serials of 6 models, each model with 6 to 12 of 30 wires at random, 4 to 9 pieces of each; stock as `grands`;
//! - `mixed`: 12 serials as in `sizes`, of 10 wires (2 to 4 each), stock as `remnants`.
//!
//! Columns: reel positions, trays, reel changes of the first planner, of the best planner, their lower bound, scrap and its
//! bound in mm, lots and bound, pieces out of order and bound, seconds.

#![allow(clippy::expect_used, reason = "an example that has no plan has nothing to print")]

use std::time::Instant;

use becket_planner::{
    BestPlanner, Coil, FirstPlanner, GroupIndex, Level, LevelReport, Piece, PieceOrder, Planner, Policy,
    Problem, SerialIndex, Station, Unison, WireIndex, WireRule, check_plan,
};
use becket_units::Um;

/// The generator of G. Steele, D. Lea and C. Flood (2014), from memory.
struct SplitMix(u64);

impl SplitMix {
    fn within(&mut self, low: i64, high: i64) -> i64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        low + i64::try_from(z % u64::try_from(high - low + 1).unwrap_or(1)).unwrap_or(0)
    }
}

const DAYS: [&str; 4] = ["grands", "remnants", "sizes", "mixed"];

fn day(kind: &str, seed: u64, reel_positions: u32, trays: u32) -> Problem {
    let mut random = SplitMix(seed);
    let (serials, wires) = match kind {
        "sizes" => (24u32, 30u32),
        "mixed" => (12, 10),
        _ => (10, 14),
    };
    let models: Vec<Vec<u32>> = (0..6)
        .map(|_| {
            if matches!(kind, "grands" | "remnants") {
                return (0..wires).collect();
            }
            let share = random.within(6, 12) * 100 / 30;
            let mut some: Vec<u32> = (0..wires).filter(|_| random.within(1, 100) <= share).collect();
            if some.is_empty() {
                some.push(0);
            }
            some
        })
        .collect();
    let mut pieces = Vec::new();
    let mut group = 0;
    for serial in 0..serials {
        let model = &models[usize::try_from(random.within(0, 5)).unwrap_or(0)];
        for wire in model {
            let (low, high) = if matches!(kind, "grands" | "remnants") { (8, 14) } else { (4, 9) };
            let longest = 2_200 - i64::from(wire * 1_500 / wires);
            for note in 0..random.within(low, high) {
                let length = (longest - 30 * note).max(100) * 1000 + random.within(0, 9) * 100;
                pieces.push(Piece {
                    wire: WireIndex(*wire),
                    serial: SerialIndex(serial),
                    length: Um::new(length),
                    group: GroupIndex(group / 2),
                    rank: wire * 20 + u32::try_from(note).unwrap_or(0),
                    section: wire / 5,
                });
                group += 1;
            }
            group += group % 2;
        }
    }
    let coils = coils(kind, wires, &pieces, &mut random);
    Problem {
        wires: vec![WireRule { smallest_remnant: Um::new(400_000) }; wires as usize],
        serials,
        pieces,
        coils,
        station: Station { reel_positions, trays },
        policy: Policy {
            unison: Unison::Preferred,
            end_trim: Um::new(30_000),
            piece_order: PieceOrder::UpTheScale,
            due_window: Some(trays - 1),
            ..Policy::default()
        },
    }
}

fn coils(kind: &str, wires: u32, pieces: &[Piece], random: &mut SplitMix) -> Vec<Coil> {
    let mut coils: Vec<Coil> = Vec::new();
    for wire in (0..wires).map(WireIndex) {
        let needed: i64 = pieces.iter().filter(|p| p.wire == wire).map(|p| p.length.get()).sum();
        let mut lengths = Vec::new();
        if matches!(kind, "grands" | "sizes") {
            lengths.push((true, random.within(20_000, 60_000)));
            lengths.push((false, random.within(80_000, 160_000)));
            lengths.push((false, random.within(80_000, 160_000)));
        } else {
            while lengths.iter().map(|(_, mm)| mm * 1000).sum::<i64>() * 10 < needed * 13 {
                lengths.push((true, random.within(8_000, 30_000)));
            }
        }
        for (opened, length) in lengths {
            let rank = u32::try_from(coils.len()).unwrap_or(0);
            coils.push(Coil {
                wire,
                available: Um::new(length * 1000),
                margin: Um::ZERO,
                opened,
                received_rank: rank,
                lot: rank / 2,
                mounted_at: None,
            });
        }
    }
    coils
}

fn main() {
    let seeds = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(1u64);
    println!(
        "| day | seed | pieces | R | T | first | changes | bound | scrap | bound | opened | bound | lots | bound | out of order | bound | s |"
    );
    println!("|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|");
    for kind in DAYS.into_iter().filter(|d| std::env::args().nth(2).is_none_or(|only| only == *d)) {
        for (reel_positions, trays) in [(2, 1), (4, 1), (2, 3), (4, 3)] {
            for seed in 1..=seeds {
                row(kind, seed, &day(kind, seed, reel_positions, trays));
            }
        }
    }
}

fn row(kind: &str, seed: u64, problem: &Problem) {
    let start = Instant::now();
    let best = BestPlanner::default().plan_until(problem, &|| false).expect("the problem is sound");
    let seconds = start.elapsed().as_secs_f64();
    check_plan(problem, &best.plan).expect("the plan is sound");
    let first = FirstPlanner.plan(problem).expect("the problem is sound");
    let level = |level| best.quality.level(level).map_or((0, 0), |r: &LevelReport| (r.value, r.lower_bound));
    let mm = |um: i64| um / 1000;
    let (changes, least) = level(Level::ReelChanges);
    let (scrap, least_scrap) = level(Level::Scrap);
    let (opened, least_opened) = level(Level::CoilsOpened);
    let (lots, least_lots) = level(Level::Lots);
    let (order, least_order) = level(Level::OutOfOrder);
    println!(
        "| {kind} | {seed} | {}{} | {} | {} | {} | {changes} | {least} | {} | {} | {opened} | {least_opened} | {lots} | {least_lots} | {order} | {least_order} | {seconds:.3} |",
        problem.pieces.len(),
        if best.plan.uncut.is_empty() {
            String::new()
        } else {
            format!(" ({} uncut)", best.plan.uncut.len())
        },
        problem.station.reel_positions,
        problem.station.trays,
        first.figures.reel_changes,
        mm(scrap),
        mm(least_scrap),
    );
}
