//! What is told of the rounds.

use std::fmt;

use hdrhistogram::Histogram;
use serde_json::{Value, json};

use crate::Options;
use crate::measure::{CASES, Case, Round};
use crate::service::Prepared;

/// The figures of one case over all rounds.
#[derive(Debug)]
struct Line {
    case: Case,
    answer_bytes: usize,
    requests: u64,
    /// Median over rounds.
    per_second: f64,
    /// Time that the service's threads work for a call, in µs: median over rounds. 0 where the system does not tell.
    cpu_us: f64,
    /// Over all requests, in ms.
    p50_ms: f64,
    p99_ms: f64,
}

/// The service beside the bare one in the same round: requests per second of the service over those of the bare one, or the
/// time that the bare one works for a call over that of the service.
#[derive(Debug)]
struct Ratio {
    name: &'static str,
    of: Measure,
    median: f64,
    lowest: f64,
    highest: f64,
}

/// What two services are compared by.
#[derive(Debug, Clone, Copy)]
enum Measure {
    PerSecond,
    Cpu,
}

impl Measure {
    fn name(self) -> &'static str {
        match self {
            Self::PerSecond => "requestsPerSecond",
            Self::Cpu => "cpu",
        }
    }

    fn text(self) -> &'static str {
        match self {
            Self::PerSecond => "service / bare, requests per second",
            Self::Cpu => "bare / service, time worked for a call",
        }
    }
}

/// The report of a run.
#[derive(Debug)]
pub(crate) struct Report {
    options: Options,
    rounds: usize,
    lines: Vec<Line>,
    ratios: Vec<Ratio>,
}

impl Report {
    pub(crate) fn of(options: &Options, prepared: &Prepared, rounds: &[Round]) -> Self {
        let lines = CASES.iter().enumerate().map(|(at, case)| line(*case, at, prepared, rounds)).collect();
        // The cases of a pair stand side by side: service, bare.
        let ratios = [Measure::PerSecond, Measure::Cpu]
            .into_iter()
            .flat_map(|of| {
                [("open", 0), ("frozen", 2), ("computed", 4)].map(|(name, at)| ratio(name, at, of, rounds))
            })
            .collect();
        Self { options: options.clone(), rounds: rounds.len(), lines, ratios }
    }

    pub(crate) fn json(&self) -> Value {
        let lines: Vec<Value> = self
            .lines
            .iter()
            .map(|line| {
                json!({
                    "case": name(line.case),
                    "answerBytes": line.answer_bytes,
                    "requests": line.requests,
                    "requestsPerSecond": line.per_second,
                    "cpuUs": line.cpu_us,
                    "p50Ms": line.p50_ms,
                    "p99Ms": line.p99_ms,
                })
            })
            .collect();
        let ratios: Vec<Value> = self
            .ratios
            .iter()
            .map(|r| json!({ "case": r.name, "of": r.of.name(), "median": r.median, "lowest": r.lowest, "highest": r.highest }))
            .collect();
        json!({
            "rounds": self.rounds,
            "connections": self.options.connections,
            "streams": self.options.streams,
            "threads": self.options.threads,
            "cases": lines,
            "serviceOverBare": ratios,
        })
    }
}

fn name(case: Case) -> &'static str {
    match case {
        Case::Open => "open serial",
        Case::BareOpen => "same bytes, bare",
        Case::Frozen => "frozen serial",
        Case::BareFrozen => "same bytes, bare (frozen)",
        Case::Computed => "stored scale",
        Case::BareComputed => "same bytes, bare (scale)",
    }
}

fn line(case: Case, at: usize, prepared: &Prepared, rounds: &[Round]) -> Line {
    let samples: Vec<_> = rounds.iter().filter_map(|round| round.get(at)).collect();
    let mut latency_us: Option<Histogram<u64>> = None;
    for sample in &samples {
        match &mut latency_us {
            // All have the same bounds, so they can be added.
            Some(sum) => drop(sum.add(&sample.latency_us)),
            None => latency_us = Some(sample.latency_us.clone()),
        }
    }
    let ms = |quantile: f64| {
        let us = latency_us.as_ref().map_or(0, |sum| sum.value_at_quantile(quantile));
        f64::from(u32::try_from(us).unwrap_or(u32::MAX)) / 1e3
    };
    let answer = match case {
        Case::Open | Case::BareOpen => &prepared.open.answer,
        Case::Frozen | Case::BareFrozen => &prepared.frozen.answer,
        Case::Computed | Case::BareComputed => &prepared.computed.answer,
    };
    Line {
        case,
        answer_bytes: answer.len(),
        requests: samples.iter().map(|sample| sample.requests).sum(),
        per_second: median(samples.iter().map(|sample| sample.per_second()).collect()),
        cpu_us: median(samples.iter().filter_map(|sample| sample.cpu_us()).collect()),
        p50_ms: ms(0.50),
        p99_ms: ms(0.99),
    }
}

fn ratio(name: &'static str, service: usize, of: Measure, rounds: &[Round]) -> Ratio {
    let ratios: Vec<f64> = rounds
        .iter()
        .filter_map(|round| {
            let (service, bare) = (round.get(service)?, round.get(service + 1)?);
            match of {
                Measure::PerSecond => Some(service.per_second() / bare.per_second()),
                Measure::Cpu => Some(bare.cpu_us()? / service.cpu_us()?),
            }
        })
        .collect();
    let lowest = ratios.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = ratios.iter().copied().fold(0.0, f64::max);
    Ratio { name, of, median: median(ratios), lowest, highest }
}

/// The middle value; of an even number the mean of the two in the middle. 0 of none.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let at = |index: usize| values.get(index).copied().unwrap_or(0.0);
    if values.len() % 2 == 1 { at(middle) } else { (at(middle.saturating_sub(1)) + at(middle)) / 2.0 }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Options { connections, streams, threads, .. } = &self.options;
        writeln!(
            f,
            "GetStringSet and ComputeStringSet, {connections} connections x {streams} calls, {threads} thread(s) each for service and callers, {} rounds",
            self.rounds
        )?;
        writeln!(f)?;
        writeln!(
            f,
            "{:<26} {:>8} {:>9} {:>10} {:>8} {:>8} {:>8}",
            "case", "bytes", "requests", "per s", "cpu µs", "p50 ms", "p99 ms"
        )?;
        for line in &self.lines {
            let Line { case, answer_bytes, requests, per_second, cpu_us, p50_ms, p99_ms } = line;
            let name = name(*case);
            writeln!(
                f,
                "{name:<26} {answer_bytes:>8} {requests:>9} {per_second:>10.0} {cpu_us:>8.1} {p50_ms:>8.2} {p99_ms:>8.2}"
            )?;
        }
        writeln!(f)?;
        for Ratio { name, of, median, lowest, highest } in &self.ratios {
            let of = of.text();
            writeln!(f, "{name:<9} {of}: {median:.3} ({lowest:.3} to {highest:.3})")?;
        }
        write!(f, "Rates and ratios are medians over rounds; latencies are over all requests.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle() {
        let close = |a: f64, b: f64| (a - b).abs() < 1e-12;
        assert!(close(median(vec![3.0, 1.0, 2.0]), 2.0));
        assert!(close(median(vec![4.0, 1.0, 2.0, 3.0]), 2.5));
        assert!(close(median(Vec::new()), 0.0));
    }
}
