//! Prints what becomes of plans on a floor that does not agree with them.
//!
//! ```sh
//! cargo run --release -p becket-planner --example disturbance         # ten days of each kind
//! cargo run --release -p becket-planner --example disturbance -- 2    # two
//! ```

#![allow(clippy::expect_used, reason = "an example that has no plan has nothing to print")]

mod days;
mod shop;

use std::time::Instant;

use becket_planner::{BestPlanner, Plan, Planner, Problem, Replanner};

use days::{Day, day, grands};
use shop::{Chance, Shop, Tally, Trouble};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let days: u64 = arguments.next().and_then(|days| days.parse().ok()).unwrap_or(10);
    let only = arguments.next().and_then(|n| n.parse::<usize>().ok());
    println!(
        "| day | stock | trays | how the stringer meets it | pieces | missing | tails mm a coil, mean (worst) | trims mm a coil | \
         used up + remnants < 2 m | run-outs | re-plans | moved of untouched per re-plan | pieces ever moved | ms median / p99 / worst |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    let kinds = [
        (false, true, 10),
        (false, false, 10),
        (true, true, 10),
        (true, false, 10),
        (true, true, 3),
        (true, false, 3),
    ];
    for (n, (grands, whole, trays)) in kinds.into_iter().enumerate() {
        if only.is_some_and(|only| only != n) {
            continue;
        }
        let kind = Day { grands, whole, trays };
        let plans: Vec<(Problem, Plan)> = (0..days)
            .map(|seed| {
                let problem = day(kind, seed);
                let plan = BestPlanner::default().plan(&problem).expect("the day can be planned");
                (problem, plan)
            })
            .collect();
        for how in
            ["never re-planned", "run-outs only", "last 8 m", "last 8 m and 2.5 m", "last 8 m, bench 3 m"]
        {
            row(kind, &plans, how);
        }
    }
}

fn trouble(how: &str) -> Trouble {
    let checks = match how {
        "last 8 m" | "last 8 m, bench 3 m" => vec![8_000_000],
        "last 8 m and 2.5 m" => vec![8_000_000, 2_500_000],
        _ => Vec::new(),
    };
    let bench = if how == "last 8 m, bench 3 m" { 3_000_000 } else { 0 };
    let (spoilt_ppm, taken_ppm) = if how == "never re-planned" { (0, 0) } else { (10_000, 5_000) };
    Trouble { spread_ppm: 3_000, spoilt_ppm, taken_ppm, checks, bench, replan: true }
}

fn row(kind: Day, plans: &[(Problem, Plan)], how: &str) {
    let start = Instant::now();
    let mut times: Vec<u128> = Vec::new();
    let mut sum = Tally::default();
    let mut pieces = 0;
    for seed in 0..plans.len() {
        let tally = run(kind, plans, how, seed, &start, &mut times, &mut pieces);
        add(&mut sum, &tally);
    }
    times.sort_unstable();
    let at = |share: usize| {
        times.get((times.len() * share / 100).min(times.len().saturating_sub(1))).copied().unwrap_or(0)
    };
    let coils = sum.used.max(1);
    let mm = |um: i64, per: i64| um as f64 / 1000.0 / per as f64;
    println!(
        "| {} | {} | {} | {how} | {pieces} | {} | {:.1} ({:.0}) | {:.1} | {} + {} of {} | {} | {} | {:.2} % | {:.1} % | {:.1} / {:.1} / {:.1} |",
        if kind.grands { "10 grands, 14 wires" } else { "one wire, 50 lengths" },
        if kind.whole { "whole" } else { "mixed" },
        kind.trays,
        sum.missing,
        mm(sum.tails, coils),
        mm(sum.longest_tail, 1),
        mm(sum.trims, sum.used.max(1)),
        sum.used_up,
        sum.short_remnants,
        sum.used,
        sum.run_outs,
        sum.replans,
        100.0 * sum.moved as f64 / sum.untouched.max(1) as f64,
        100.0 * sum.ever_moved as f64 / pieces.max(1) as f64,
        at(50) as f64 / 1000.0,
        at(99) as f64 / 1000.0,
        at(100) as f64 / 1000.0,
    );
}

fn run(
    kind: Day,
    plans: &[(Problem, Plan)],
    how: &str,
    seed: usize,
    start: &Instant,
    times: &mut Vec<u128>,
    pieces: &mut usize,
) -> Tally {
    let problem = &plans[seed].0;
    let mut shop = Shop::new(problem, trouble(how), seed as u64 * 31 + 5);
    let replanner = Replanner::default();
    shop.steps.clone_from(&plans[seed].1.steps);
    let at_first = shop.coils.iter().map(|coil| coil.truth).sum();
    let never = how == "never re-planned";
    let rush_at = problem.pieces.len() / 2;
    let mut clock = || start.elapsed().as_micros();
    let mut rushed = never || !kind.grands;
    while let Some(mut changed) = shop.go_on() {
        if never && changed {
            // The stringer goes on with the next step.
            shop.steps.remove(0);
            continue;
        }
        let done = shop.cut_from.iter().flatten().count();
        if !rushed && done >= rush_at {
            rushed = true;
            changed = true;
            shop.rush(&grands(1, &mut Chance(seed as u64)));
        }
        if changed {
            let check = |change: &shop::Change<'_>| {
                times.push(change.micros);
                let faults = change.faults();
                assert!(faults.is_empty(), "an unsound plan: {faults:?}");
            };
            shop.replan(&replanner, &mut clock, check).expect("the rest can be planned");
        }
    }
    assert_eq!(shop.lost_count(at_first), 0, "wire is neither made nor lost");
    shop.close();
    *pieces += shop.pieces.len();
    shop.tally
}

fn add(sum: &mut Tally, day: &Tally) {
    sum.tails += day.tails;
    sum.longest_tail = sum.longest_tail.max(day.longest_tail);
    sum.trims += day.trims;
    sum.spoilt += day.spoilt;
    sum.used_up += day.used_up;
    sum.used += day.used;
    sum.short_remnants += day.short_remnants;
    sum.run_outs += day.run_outs;
    sum.replans += day.replans;
    sum.untouched += day.untouched;
    sum.moved += day.moved;
    sum.ever_moved += day.ever_moved;
    sum.missing += day.missing;
}
