//! Prints how the planner does beside plain heuristics, on generated problems with fixed seeds.
//!
//! ```sh
//! cargo run --release -p becket-planner --example planner_table            # 500 and 5 000 pieces
//! cargo run --release -p becket-planner --example planner_table -- 50000   # up to so many
//! ```
//!
//! # Generator
//!
//! Every problem has one wire (`manywires` has 14), 50 different lengths of 250 to 3200 mm drawn evenly in whole
//! millimetres (tenths in `fine`), each piece one of them at random; 250 mm is the smallest remnant. Families:
//!
//! - `whole`: sealed coils of 60 to 170 m, 10 % more than needed, no end trim;
//! - `fine`: the same with lengths in steps of 0.001 mm;
//! - `mixed`: 15 % of coils whole, the others opened, 1 to 20 m, 10 % more than needed, no end trim;
//! - `remnants`: opened coils of 1 to 6 m, 10 % more than needed, end trim 20 mm;
//! - `scarce`: opened coils of 1 to 6 m, 2 % more than needed, no end trim, every tail below 1 m is scrap;
//! - `groups`: opened coils of 3 to 8 m, 10 % more than needed, groups of 3 pieces of one length that must stay together;
//! - `short`: opened coils of 1 to 6 m with a tenth less than is needed, 8 serials, as many trays;
//! - `manywires`: 14 wires, 10 serials per 1600 pieces, 4 reel positions, 4 trays, sealed coils of 60 to 170 m.
//!
//! Heuristics: first fit and best fit, in the order given and by falling length, over the same coils in the order of their
//! list (opened ones first); they know one wire and no trays, so they are left out for `manywires`.

#![allow(clippy::expect_used, reason = "an example that has no plan has nothing to print")]

use std::time::Instant;

use becket_planner::{
    BestPlanner, Coil, FirstPlanner, GroupIndex, Level, Piece, PieceOrder, Planner, Policy, Problem,
    SerialIndex, Station, Unison, WireIndex, WireRule, check_plan,
};
use becket_units::Um;

/// A linear congruential generator (constants of D. Knuth's MMIX), so that every run measures the same problems.
struct Seeded(u64);

impl Seeded {
    /// A number from `low` to `high`.
    fn within(&mut self, low: i64, high: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + i64::try_from(self.0 >> 33).unwrap_or_default() % (high - low + 1)
    }
}

const FAMILIES: [&str; 8] = ["whole", "fine", "mixed", "remnants", "scarce", "groups", "short", "manywires"];

fn problem(family: &str, pieces: usize, seed: u64) -> Problem {
    let mut random = Seeded(seed * 7919 + 17);
    for _ in 0..8 {
        random.within(0, 1);
    }
    let unit = if family == "fine" { 1 } else { 1000 };
    let lengths: Vec<i64> = (0..50).map(|_| random.within(250_000 / unit, 3_200_000 / unit) * unit).collect();
    let wires = if family == "manywires" { 14 } else { 1 };
    let serials = match family {
        "short" => 8,
        "manywires" => u32::try_from(pieces.div_ceil(160)).unwrap_or(1),
        _ => 1,
    };
    let group_size = if family == "groups" { 3 } else { 1 };
    let mut list = Vec::with_capacity(pieces);
    let mut group = 0;
    while list.len() < pieces {
        let length = lengths[usize::try_from(random.within(0, 49)).unwrap_or(0)];
        let wire = u32::try_from(random.within(0, i64::from(wires) - 1)).unwrap_or(0);
        let serial = u32::try_from(list.len() * serials as usize / pieces).unwrap_or(0);
        for _ in 0..group_size {
            list.push(Piece {
                wire: WireIndex(wire),
                serial: SerialIndex(serial),
                length: Um::new(length / group_size),
                group: GroupIndex(group),
                rank: group,
                section: 0,
            });
        }
        group += 1;
    }
    let trim = if matches!(family, "remnants" | "manywires") { 20_000 } else { 0 };
    let keep = if family == "scarce" { 1_000_000 } else { 250_000 };
    Problem {
        coils: coils(family, &list, wires, trim, &mut random),
        wires: vec![WireRule { smallest_remnant: Um::new(keep) }; wires as usize],
        serials,
        pieces: list,
        station: Station { reel_positions: 4, trays: if family == "manywires" { 4 } else { 8 } },
        policy: Policy {
            unison: if family == "groups" { Unison::Hard } else { Unison::Off },
            end_trim: Um::new(trim),
            margin: Um::ZERO,
            piece_order: PieceOrder::BySize,
            ..Policy::default()
        },
    }
}

fn coils(family: &str, pieces: &[Piece], wires: u32, trim: i64, random: &mut Seeded) -> Vec<Coil> {
    let mut coils = Vec::new();
    for wire in (0..wires).map(WireIndex) {
        let needed: i64 = pieces.iter().filter(|p| p.wire == wire).map(|p| p.length.get()).sum();
        let percent = match family {
            "scarce" => 102,
            "short" => 90,
            _ => 110,
        };
        let mut have = 0;
        while have * 100 < needed * percent || coils.is_empty() {
            let sealed = match family {
                "whole" | "fine" | "manywires" => true,
                "mixed" => random.within(0, 99) < 15,
                _ => false,
            };
            let unit = if family == "fine" { 1 } else { 1000 };
            let (low, high) = match (family, sealed) {
                (_, true) => (60_000_000, 170_000_000),
                ("mixed", _) => (1_000_000, 20_000_000),
                ("groups", _) => (3_000_000, 8_000_000),
                _ => (1_000_000, 6_000_000),
            };
            let available = random.within(low / unit, high / unit) * unit;
            have += available - trim;
            let rank = u32::try_from(coils.len()).unwrap_or(0);
            coils.push(Coil {
                wire,
                available: Um::new(available),
                opened: !sealed,
                received_rank: rank,
                lot: rank / 10,
                mounted_at: None,
                margin: Um::ZERO,
            });
        }
        if family == "manywires" {
            // Many batches pay a trim each.
            let spare = coils.last().copied();
            coils.extend(spare);
        }
    }
    coils
}

/// What a heuristic comes to: pieces left, scrap in µm, sealed coils opened, coils used.
struct Plain {
    left: usize,
    scrap: i64,
    opened: usize,
    used: usize,
}

/// First fit or best fit, in the given order or by falling length; groups as one.
fn plain(problem: &Problem, best_fit: bool, decreasing: bool) -> Plain {
    let mut blocks: Vec<(u32, i64, usize)> = Vec::new();
    for piece in &problem.pieces {
        match blocks.last_mut() {
            Some((group, length, count)) if *group == piece.group.0 => {
                *length += piece.length.get();
                *count += 1;
            }
            _ => blocks.push((piece.group.0, piece.length.get(), 1)),
        }
    }
    if decreasing {
        blocks.sort_by_key(|(_, length, _)| -length);
    }
    let trim = problem.policy.end_trim.get();
    let mut order: Vec<&Coil> = problem.coils.iter().collect();
    order.sort_by_key(|coil| !coil.opened);
    let mut rooms: Vec<i64> = order.iter().map(|coil| coil.available.get() - trim).collect();
    let mut used = vec![false; rooms.len()];
    let mut left = 0;
    for (_, length, count) in blocks {
        let fits = rooms.iter().enumerate().filter(|(_, room)| **room >= length);
        let found = if best_fit {
            // A used coil before an unused one, else every coil would be begun.
            fits.min_by_key(|(i, room)| (!used[*i], if used[*i] { **room } else { 0 })).map(|(i, _)| i)
        } else {
            fits.map(|(i, _)| i).next()
        };
        match found {
            Some(i) => {
                rooms[i] -= length;
                used[i] = true;
            }
            None => left += count,
        }
    }
    let keep = problem.wires[0].smallest_remnant.get();
    let ends = || rooms.iter().zip(&used).filter(|(_, used)| **used).map(|(room, _)| *room);
    let scrap = ends().map(|room| trim + if room < keep { room } else { 0 }).sum();
    let opened = order.iter().zip(&used).filter(|(coil, used)| **used && !coil.opened).count();
    Plain { left, scrap, opened, used: ends().count() }
}

fn row(family: &str, pieces: usize, method: &str, cells: [String; 5], seconds: f64) {
    let [left, scrap, opened, changes, proof] = cells;
    println!(
        "{family:10} {pieces:8} {method:12} {left:>7} {scrap:>14} {opened:>7} {changes:>8} {seconds:>9.3}  {proof}"
    );
}

fn millimetres(um: i64) -> String {
    format!("{}.{:03}", um / 1000, um % 1000)
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let most = arguments.first().and_then(|text| text.parse().ok()).unwrap_or(5_000usize);
    let only = arguments.get(1);
    println!(
        "{:10} {:>8} {:12} {:>7} {:>14} {:>7} {:>8} {:>9}  first unproven level, gap in % of the length cut (scrap) or count",
        "family", "pieces", "method", "uncut", "scrap mm", "opened", "changes", "seconds"
    );
    for family in FAMILIES.iter().filter(|family| only.is_none_or(|only| only == *family)) {
        for pieces in [500, 5_000, 50_000, 160_000, 1_600_000].into_iter().filter(|pieces| *pieces <= most) {
            compare(family, &problem(family, pieces, 1));
        }
    }
}

fn compare(family: &str, problem: &Problem) {
    let pieces = problem.pieces.len();
    let start = Instant::now();
    let best = BestPlanner::default().plan_until(problem, &|| false).expect("the problem is sound");
    let seconds = start.elapsed().as_secs_f64();
    check_plan(problem, &best.plan).expect("the plan is sound");
    let figures = best.plan.figures;
    let proof = match best.quality.gap() {
        None => "all proven".to_string(),
        Some((Level::Scrap, gap)) => {
            format!("Scrap +{:.6} %", 100.0 * Um::new(gap).as_mm() / figures.cut_length.as_mm().max(1.0))
        }
        Some((level, gap)) => format!("{level:?} +{gap}"),
    };
    let cells = |uncut: usize, scrap: i64, opened: String, changes: String, proof: String| {
        [uncut.to_string(), millimetres(scrap), opened, changes, proof]
    };
    let of_plan = |plan: &becket_planner::Plan, proof| {
        let f = plan.figures;
        cells(plan.uncut.len(), f.scrap.get(), f.coils_opened.to_string(), f.reel_changes.to_string(), proof)
    };
    row(family, pieces, "best", of_plan(&best.plan, proof), seconds);
    if pieces.saturating_mul(problem.coils.len()) > 4_000_000_000 {
        return;
    }
    let start = Instant::now();
    let first = FirstPlanner.plan(problem).expect("the problem is sound");
    row(family, pieces, "first", of_plan(&first, String::new()), start.elapsed().as_secs_f64());
    if problem.wires.len() > 1 {
        return;
    }
    for (method, best_fit, decreasing) in [
        ("first fit", false, false),
        ("best fit", true, false),
        ("first fit d.", false, true),
        ("best fit d.", true, true),
    ] {
        let start = Instant::now();
        let plain = plain(problem, best_fit, decreasing);
        let seconds = start.elapsed().as_secs_f64();
        let cells =
            cells(plain.left, plain.scrap, plain.opened.to_string(), plain.used.to_string(), String::new());
        row(family, pieces, method, cells, seconds);
    }
}
