//! What a verification found.

use std::fmt;

/// A rule and how many things it was checked on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// The rule.
    pub rule: &'static str,
    /// Things that it was checked on.
    pub count: u64,
}

impl Check {
    pub(super) fn new(rule: &'static str, count: u64) -> Self {
        Self { rule, count }
    }
}

/// A table and its rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TableCount {
    /// Name.
    pub table: &'static str,
    /// Rows that the journal implies.
    pub implied: u64,
    /// Rows that are there.
    pub stored: u64,
}

/// Something that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Difference {
    /// An entry does not follow on the one before: it was changed, or one was added or taken out before it.
    Chain {
        /// Sequence of the entry.
        sequence: i64,
    },
    /// The journal does not end where its head says.
    Head {
        /// Last sequence by the head.
        head: i64,
        /// Last sequence in the journal.
        journal: i64,
    },
    /// An entry cannot be folded, or breaks a promise.
    Entry {
        /// Sequence of the entry.
        sequence: i64,
        /// What is the matter.
        trouble: String,
    },
    /// The journal implies a row that is not there.
    Missing {
        /// Table.
        table: &'static str,
        /// Key.
        key: String,
    },
    /// A row is there that the journal does not imply.
    Unknown {
        /// Table.
        table: &'static str,
        /// Key.
        key: String,
    },
    /// A column has another value than the journal implies.
    Column {
        /// Table.
        table: &'static str,
        /// Key.
        key: String,
        /// Column.
        column: &'static str,
        /// By the journal, as JSON.
        journal: String,
        /// In the table, as JSON.
        stored: String,
    },
    /// A rule of the shop does not hold in what the journal implies.
    Rule(String),
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Chain { sequence } => write!(
                f,
                "journal {sequence}: the entry does not follow on the one before; it was changed, or one was added or taken out"
            ),
            Self::Head { head, journal } => {
                write!(
                    f,
                    "journal: it ends with entry {journal}, and its head is another one with sequence {head}"
                )
            }
            Self::Entry { sequence, trouble } => write!(f, "journal {sequence}: {trouble}"),
            Self::Missing { table, key } => {
                write!(f, "{table} {key}: the row is in the journal and not in the table")
            }
            Self::Unknown { table, key } => {
                write!(f, "{table} {key}: the row is in the table and not in the journal")
            }
            Self::Column { table, key, column, journal, stored } => {
                write!(f, "{table} {key}: {column} is {journal} by the journal and {stored} in the table")
            }
            Self::Rule(text) => f.write_str(text),
        }
    }
}

/// What a verification checked, and what it found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// Entries of the journal whose chain was checked.
    pub entries: u64,
    /// The entry from which the journal was replayed: 1, or the beginning of a checkpoint.
    pub replayed_from: i64,
    /// Hash of the last entry.
    pub last_hash: [u8; 32],
    /// Rows, table by table.
    pub tables: Vec<TableCount>,
    /// Tables that are not derived from the journal, and why.
    pub not_derived: &'static [(&'static str, &'static str)],
    /// Rules that were checked.
    pub checks: Vec<Check>,
    /// The first differences, [`Report::MOST`] at most.
    pub differences: Vec<Difference>,
    /// How many there are.
    pub difference_count: u64,
}

impl Report {
    /// Differences that are kept; the others are counted.
    pub const MOST: usize = 200;

    /// Whether everything is as it should be.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.difference_count == 0
    }
}
