//! The table of the mix, as Markdown.

use std::fmt;
use std::time::Duration;

use hdrhistogram::Histogram;

use super::{Case, Round, Sample};
use crate::report::median;

/// What is told of all cases.
#[derive(Debug)]
pub(crate) struct Report {
    pub(crate) stations: usize,
    pub(crate) readers: usize,
    pub(crate) slice: Duration,
    /// By how much flushes of the log were slowed down.
    pub(crate) flush_ms: u32,
    pub(crate) cases: Vec<Case>,
}

type Pick = fn(&Round) -> &Sample;

const LINES: [(&str, Pick); 5] = [
    ("bare transactions", |round| &round.bare),
    ("confirming, alone", |round| &round.alone),
    ("confirming, in the mix", |round| &round.confirms),
    ("ERP reading, in the mix", |round| &round.reads),
    ("purchasing estimating, in the mix", |round| &round.estimates),
];

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rounds = self.cases.first().map_or(0, |case| case.rounds.len());
        writeln!(
            f,
            "{} stations, {} ERP readers, 1 purchaser, each calling again as soon as it is answered; {rounds} rounds of {} s for each \
             measurement. Rates and ratios are medians over rounds, latencies are over all calls.\n",
            self.stations,
            self.readers,
            self.slice.as_secs()
        )?;
        if self.flush_ms > 0 {
            writeln!(f, "Every flush of the log takes {} ms longer.\n", self.flush_ms)?;
        }
        writeln!(f, "| engine | replicas | what | calls a second | over bare | p50 ms | p95 ms | p99 ms |")?;
        writeln!(f, "|---|---:|---|---:|---:|---:|---:|---:|")?;
        for case in &self.cases {
            for (name, pick) in LINES {
                line(f, case, name, pick)?;
            }
        }
        Ok(())
    }
}

fn line(f: &mut fmt::Formatter<'_>, case: &Case, name: &str, pick: Pick) -> fmt::Result {
    let rate = median(case.rounds.iter().map(|round| pick(round).per_second()).collect());
    let ratio = median(case.rounds.iter().map(|r| pick(r).per_second() / r.bare.per_second()).collect());
    let mut all: Option<Histogram<u64>> = None;
    for round in &case.rounds {
        match &mut all {
            // All have the same bounds, so they can be added.
            Some(sum) => drop(sum.add(&pick(round).latency_us)),
            None => all = Some(pick(round).latency_us.clone()),
        }
    }
    let ms = |quantile: f64| {
        let us = all.as_ref().map_or(0, |sum| sum.value_at_quantile(quantile));
        f64::from(u32::try_from(us).unwrap_or(u32::MAX)) / 1e3
    };
    // Only a write does what a bare transaction does.
    let ratio = if name.starts_with("confirming") { format!("{ratio:.2}") } else { String::new() };
    writeln!(
        f,
        "| {} | {} | {name} | {rate:.0} | {ratio} | {:.1} | {:.1} | {:.1} |",
        case.engine,
        case.replicas,
        ms(0.50),
        ms(0.95),
        ms(0.99)
    )
}
