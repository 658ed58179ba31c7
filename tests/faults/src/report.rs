//! The table.

use std::time::Duration;

use crate::audit::Findings;

const HEADER: &str = "\
| fault | engine | rounds | acknowledged | attempts without answer | lost | twice | balances wrong | other faults | verify passed | longest verify | longest recovery |
|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|
";

/// What was seen of one fault.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The fault.
    pub fault: String,
    /// The engine.
    pub engine: String,
    /// How often it was injected.
    pub rounds: usize,
    /// Writes that were acknowledged.
    pub acknowledged: usize,
    /// Attempts that ended without an answer, or with the advice to try again.
    pub unanswered: usize,
    /// Acknowledged writes that are not there.
    pub lost: Vec<String>,
    /// What was booked twice.
    pub twice: Vec<String>,
    /// Balances that do not hold.
    pub balances: Vec<String>,
    /// What else should not have been.
    pub other: Vec<String>,
    /// How often `becket verify` passed, and how often it was run.
    pub verified: (usize, usize),
    /// The run of `becket verify` that took longest.
    pub slowest_verify: Duration,
    /// Longest time from the end of the fault until every station had been answered.
    pub recovery: Duration,
}

impl Outcome {
    pub(crate) fn new(fault: &str, engine: &str) -> Self {
        Self {
            fault: fault.to_owned(),
            engine: engine.to_owned(),
            rounds: 0,
            acknowledged: 0,
            unanswered: 0,
            lost: Vec::new(),
            twice: Vec::new(),
            balances: Vec::new(),
            other: Vec::new(),
            verified: (0, 0),
            slowest_verify: Duration::ZERO,
            recovery: Duration::ZERO,
        }
    }

    pub(crate) fn add(&mut self, findings: Findings) {
        self.lost.extend(findings.lost);
        self.twice.extend(findings.twice);
        self.balances.extend(findings.balances);
        self.other.extend(findings.other);
    }

    /// All that does not hold, a line each; empty if everything does.
    #[must_use]
    pub fn faults(&self) -> String {
        let mut lines: Vec<String> =
            [&self.lost, &self.twice, &self.balances, &self.other].into_iter().flatten().cloned().collect();
        if self.verified.0 != self.verified.1 {
            lines.push(format!("verify passed {} times of {}", self.verified.0, self.verified.1));
        }
        lines.join("\n")
    }
}

/// The outcomes as a table in Markdown.
#[must_use]
pub fn table(outcomes: &[Outcome]) -> String {
    let mut text = HEADER.to_owned();
    for outcome in outcomes {
        let cells = [
            outcome.fault.clone(),
            outcome.engine.clone(),
            outcome.rounds.to_string(),
            outcome.acknowledged.to_string(),
            outcome.unanswered.to_string(),
            outcome.lost.len().to_string(),
            outcome.twice.len().to_string(),
            outcome.balances.len().to_string(),
            outcome.other.len().to_string(),
            format!("{} of {}", outcome.verified.0, outcome.verified.1),
            format!("{:.2} s", outcome.slowest_verify.as_secs_f64()),
            format!("{:.2} s", outcome.recovery.as_secs_f64()),
        ];
        text.push_str(&format!("| {} |\n", cells.join(" | ")));
    }
    text
}
