//! Generated families of problems, planned with a proof: prints value, bound, gap and time.
//!
//! ```sh
//! cargo run --release -p becket-planner --example families                    # 500 and 5 000 pieces, seed 1
//! cargo run --release -p becket-planner --example families -- 50000           # up to so many
//! cargo run --release -p becket-planner --example families -- 30              # below 500 just so many
//! cargo run --release -p becket-planner --example families -- 5000 remnants 3 # one family, seeds 1 to 3
//! cargo run --release -p becket-planner --example families -- 5000 all 1 100  # told to stop after 100 ms
//! ```
//!
//! Where a search is told to stop, a line ends with the time from then until the plan was there.
//!
//! Every plan goes through [`check_plan`] and every report through [`check_quality`]; the program ends with an error if one
//! fails. A line has the first level that is not proven, and its gap; for scrap also in % of the length cut.
//!
//! # Generator
//!
//! Simple enough to be written again in any language. Random numbers are those of splitmix64 (G. L. Steele, D. Lea, C. H.
//! Flood, OOPSLA 2014), started at `seed · 1 000 003 + family · 1009 + pieces`, where families are counted from 0 in the order
//! below; all arithmetic is modulo 2^64:
//!
//! ```text
//! next():         state += 0x9E3779B97F4A7C15; z = state
//!                 z = (z ^ (z >> 30)) · 0xBF58476D1CE4E5B9; z = (z ^ (z >> 27)) · 0x94D049BB133111EB; return z ^ (z >> 31)
//! within(a, b):   a + next() mod (b − a + 1)
//! ```
//!
//! 1. W wires have 50 lengths each: for each wire in turn `within(250, 3200)` mm, 50 times.
//! 2. Until there are N pieces: `wire = within(0, W − 1)`, `kind = within(0, 49)`, `size = 1` or, in families with groups,
//!    `within(2, 4)`; then `size` pieces (no more than N in all) of that wire and length in a group of their own. The serial
//!    is `⌊(number of pieces so far) · S / N⌋` for S serials, the same for the whole group; the rank is the group's number.
//! 3. For each wire in turn, coils until their length less end trim is P % of what its pieces need: in `mixed`
//!    `within(0, 99) < 15` decides that a coil is whole; then its length is `within(low, high)` mm. Whole coils are sealed, all
//!    others opened. The order of receipt is that of the list; ten coils in a row are one lot.
//!
//! | number, family | W | S | coils, mm | P | end trim | trays | reels | unison |
//! |---|---|---|---|---|---|---|---|---|
//! | 0 whole | 1 | 1 | whole 60 000–170 000 | 110 | 0 | 1 | 4 | off |
//! | 1 mixed | 1 | 1 | 15 % whole 60 000–170 000, rest 1 000–20 000 | 110 | 0 | 1 | 4 | off |
//! | 2 remnants | 1 | 1 | 1 000–6 000 | 110 | 20 mm | 1 | 4 | off |
//! | 3 groups | 1 | 1 | whole 60 000–170 000 | 110 | 20 mm | 1 | 4 | hard |
//! | 4 onecoil | 1 | 1 | 4 000–15 000 | 115 | 20 mm | 1 | 4 | hard |
//! | 5 short | 1 | 8 | 1 000–6 000 | 90 | 0 | 8 | 4 | off |
//! | 6 batches | 1 | 8 | 1 000–6 000 | 110 | 20 mm | 2 | 4 | off |
//! | 7 reels | 14 | ⌈N / 160⌉ | whole 60 000–170 000 | 130 | 20 mm | 3 | 3 | preferred |
//!
//! The smallest remnant is 250 mm, there is no margin, pieces are wanted by size.

#![allow(clippy::expect_used, reason = "an example that has no plan has nothing to print")]

use std::time::{Duration, Instant};

use becket_planner::{
    BestPlan, BestPlanner, Coil, GroupIndex, Level, LevelOrder, Piece, PieceOrder, Policy, Problem,
    SerialIndex, Station, Unison, WireIndex, WireRule, check_plan, check_quality,
};
use becket_units::Um;

/// The generator of random numbers that is described above.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn within(&mut self, low: u32, high: u32) -> u32 {
        low + u32::try_from(self.next() % u64::from(high - low + 1)).unwrap_or_default()
    }
}

/// One line of the table above; lengths in mm.
struct Family {
    name: &'static str,
    wires: u32,
    serials: u32,
    /// Percentage of coils that are whole.
    whole: u32,
    opened: (u32, u32),
    percent: i64,
    trim: i64,
    station: Station,
    unison: Unison,
}

const WHOLE: (u32, u32) = (60_000, 170_000);

const fn family(name: &'static str, whole: u32, opened: (u32, u32), trim: i64, unison: Unison) -> Family {
    let station = Station { reel_positions: 4, trays: 1 };
    Family { name, wires: 1, serials: 1, whole, opened, percent: 110, trim, station, unison }
}

const FAMILIES: [Family; 8] = [
    family("whole", 100, WHOLE, 0, Unison::Off),
    family("mixed", 15, (1_000, 20_000), 0, Unison::Off),
    family("remnants", 0, (1_000, 6_000), 20, Unison::Off),
    family("groups", 100, WHOLE, 20, Unison::Hard),
    Family { percent: 115, ..family("onecoil", 0, (4_000, 15_000), 20, Unison::Hard) },
    Family {
        serials: 8,
        percent: 90,
        station: Station { reel_positions: 4, trays: 8 },
        ..family("short", 0, (1_000, 6_000), 0, Unison::Off)
    },
    Family {
        serials: 8,
        station: Station { reel_positions: 4, trays: 2 },
        ..family("batches", 0, (1_000, 6_000), 20, Unison::Off)
    },
    Family {
        wires: 14,
        serials: 0,
        percent: 130,
        station: Station { reel_positions: 3, trays: 3 },
        ..family("reels", 100, WHOLE, 20, Unison::Preferred)
    },
];

fn mm(mm: u32) -> Um {
    Um::new(i64::from(mm) * 1000)
}

fn problem(number: u64, family: &Family, count: usize, seed: u64) -> Problem {
    let mut random = Random(seed * 1_000_003 + number * 1009 + count as u64);
    let lengths: Vec<Vec<Um>> =
        (0..family.wires).map(|_| (0..50).map(|_| mm(random.within(250, 3200))).collect()).collect();
    let serials =
        if family.serials > 0 { family.serials } else { u32::try_from(count.div_ceil(160)).unwrap_or(1) };
    let mut pieces = Vec::with_capacity(count);
    let mut group = 0;
    while pieces.len() < count {
        let wire = WireIndex(random.within(0, family.wires - 1));
        let length = lengths[wire.index()][random.within(0, 49) as usize];
        let size = if family.unison == Unison::Off { 1 } else { random.within(2, 4) as usize };
        let serial = SerialIndex(u32::try_from(pieces.len() * serials as usize / count).unwrap_or(0));
        for _ in 0..size.min(count - pieces.len()) {
            pieces.push(Piece { wire, serial, length, group: GroupIndex(group), rank: group, section: 0 });
        }
        group += 1;
    }
    Problem {
        coils: coils(family, &pieces, &mut random),
        wires: vec![WireRule { smallest_remnant: mm(250) }; family.wires as usize],
        serials,
        pieces,
        station: family.station,
        policy: Policy {
            unison: family.unison,
            end_trim: Um::new(family.trim * 1000),
            margin: Um::ZERO,
            piece_order: PieceOrder::BySize,
            due_window: None,
            fifo: false,
        },
    }
}

fn coils(family: &Family, pieces: &[Piece], random: &mut Random) -> Vec<Coil> {
    let mut coils = Vec::new();
    for wire in (0..family.wires).map(WireIndex) {
        let needed: i64 = pieces.iter().filter(|p| p.wire == wire).map(|p| p.length.get()).sum();
        let mut have = 0;
        while have * 100 < needed * family.percent {
            let sealed = match family.whole {
                0 => false,
                100 => true,
                percent => random.within(0, 99) < percent,
            };
            let (low, high) = if sealed { WHOLE } else { family.opened };
            let available = mm(random.within(low, high));
            have += available.get() - family.trim * 1000;
            let rank = u32::try_from(coils.len()).unwrap_or(0);
            coils.push(Coil {
                wire,
                available,
                opened: !sealed,
                received_rank: rank,
                lot: rank / 10,
                mounted_at: None,
                margin: Um::ZERO,
            });
        }
    }
    coils
}

/// Plans a problem; returns the plan, how long that took, and how long it took after the search was told to stop, if it was.
fn timed(problem: &Problem, stop_after: Option<Duration>) -> (BestPlan, Duration, Option<Duration>) {
    let start = Instant::now();
    let is_over = || stop_after.is_some_and(|limit| start.elapsed() >= limit);
    let best = BestPlanner::default().plan_until(problem, &is_over).expect("the problem is sound");
    let took = start.elapsed();
    (best, took, stop_after.and_then(|limit| took.checked_sub(limit)))
}

fn line(family: &str, problem: &Problem, seed: u64, best: &BestPlan, seconds: f64, late: Option<Duration>) {
    let figures = best.plan.figures;
    let gap = match best.quality.gap() {
        None => "all proven".to_string(),
        Some((Level::Scrap, gap)) => {
            let percent = 100.0 * Um::new(gap).as_mm() / figures.cut_length.as_mm().max(1.0);
            format!("Scrap +{:.3} mm = {percent:.6} %", Um::new(gap).as_mm())
        }
        Some((level, gap)) => format!("{level:?} +{gap}"),
    };
    let of = |level| best.quality.level(level).map_or((0, 0), |report| (report.value, report.lower_bound));
    let (scrap, least_scrap) = of(Level::Scrap);
    let (changes, least_changes) = of(Level::ReelChanges);
    let late = late.map_or_else(String::new, |late| format!("; {:.1} ms late", late.as_secs_f64() * 1000.0));
    println!(
        "{family:9} {:8} {seed:4} {:6} {:>13.3} {:>13.3} {:>6} {changes:>7} {least_changes:>7} {seconds:>8.3}  {gap}{late}",
        problem.pieces.len(),
        best.plan.uncut.len(),
        Um::new(scrap).as_mm(),
        Um::new(least_scrap).as_mm(),
        figures.coils_opened,
    );
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let most = arguments.first().and_then(|text| text.parse().ok()).unwrap_or(5_000usize);
    let only = arguments.get(1).filter(|name| *name != "all");
    let seeds = arguments.get(2).and_then(|text| text.parse().ok()).unwrap_or(1u64);
    let stop_after = arguments.get(3).and_then(|text| text.parse().ok()).map(Duration::from_millis);
    println!(
        "{:9} {:>8} {:>4} {:>6} {:>13} {:>13} {:>6} {:>7} {:>7} {:>8}  first level not proven, its gap",
        "family", "pieces", "seed", "uncut", "scrap mm", "bound mm", "opened", "changes", "bound", "seconds"
    );
    for (number, family) in (0u64..).zip(&FAMILIES) {
        if only.is_some_and(|only| only != family.name) {
            continue;
        }
        let sizes = [500, 1_600, 5_000, 50_000, 160_000, 1_600_000].into_iter().filter(|size| *size <= most);
        for count in (most < 500).then_some(most).into_iter().chain(sizes) {
            for seed in 1..=seeds {
                let problem = problem(number, family, count, seed);
                let (best, took, late) = timed(&problem, stop_after);
                check_plan(&problem, &best.plan).expect("the plan is sound");
                check_quality(&problem, &best.plan, &LevelOrder::default(), &best.quality)
                    .expect("the report is true");
                line(family.name, &problem, seed, &best, took.as_secs_f64(), late);
            }
        }
    }
}
