//! Why a design could not be made.

use std::fmt;

use becket_acoustics::DomainError;
use becket_units::Fault;

/// Why a question has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DesignError {
    /// The question itself is wrong; all faults are listed.
    #[error("the question has {} fault(s): {}", .0.len(), joined(.0))]
    Faults(Vec<Fault>),
    /// No wire of the stock keeps to the limits at these notes; all such notes are listed.
    #[error("no stocked wire keeps to the limits: {}", joined(.0))]
    NothingFits(Vec<Unmet>),
    /// Every note has wires that fit, but no choice for the whole row keeps to the rules between notes.
    #[error(
        "no sequence of sizes keeps to the rules up to note {note}; allow tied strings at a cost, or shorter runs"
    )]
    NoSequence {
        /// The first note that cannot be reached, or the last one of the row if the last run cannot be long enough.
        note: i16,
    },
    /// Whoever asked does not want the answer any more.
    #[error("stopped before there was an answer")]
    Stopped,
    /// An iteration did not settle.
    #[error(
        "not settled after {iterations} iterations; the last one still moved a note by {change_cents} cents"
    )]
    NotConverged {
        /// Iterations made.
        iterations: u32,
        /// Largest change of an offset in the last one, in cents.
        change_cents: f64,
    },
    /// A formula refuses a note although every value is in range, such as a string whose stiffness alone sounds higher
    /// than its pitch.
    #[error("note {note}: {source}")]
    Formula {
        /// The note.
        note: i16,
        /// What the formula refuses.
        source: DomainError,
    },
}

/// A note for which nothing in stock keeps to the limits, and which limits refused how much.
#[derive(Debug, Clone, PartialEq)]
pub struct Unmet {
    /// The note.
    pub note: i16,
    /// Combinations of wires that were looked at.
    pub tried: u64,
    /// Of them, those above the largest share of breaking load or the largest tension.
    pub too_high: u64,
    /// Of them, those below the smallest share of breaking load, or without any tension at the pitch.
    pub too_low: u64,
    /// Smallest share of breaking load that any combination comes to; `None` if there was none.
    pub lowest_load_share: Option<f64>,
    /// Largest share of breaking load that any combination comes to; `None` if there was none.
    pub highest_load_share: Option<f64>,
}

impl Unmet {
    pub(crate) const fn new(note: i16) -> Self {
        Self { note, tried: 0, too_high: 0, too_low: 0, lowest_load_share: None, highest_load_share: None }
    }

    pub(crate) fn saw(&mut self, load_share: f64) {
        self.lowest_load_share = Some(self.lowest_load_share.map_or(load_share, |low| low.min(load_share)));
        self.highest_load_share =
            Some(self.highest_load_share.map_or(load_share, |high| high.max(load_share)));
    }
}

impl fmt::Display for Unmet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { note, tried, too_high, too_low, .. } = self;
        write!(f, "note {note}: of {tried} combinations {too_high} are too high and {too_low} too low")?;
        match (self.lowest_load_share, self.highest_load_share) {
            (Some(low), Some(high)) => {
                write!(f, " (shares of breaking load {:.1} % to {:.1} %)", low * 100.0, high * 100.0)
            }
            _ => Ok(()),
        }
    }
}

fn joined<T: fmt::Display>(list: &[T]) -> String {
    list.iter().map(T::to_string).collect::<Vec<_>>().join("; ")
}
