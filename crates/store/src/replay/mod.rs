//! Replaying the journal, and comparing what it implies with the tables.
//!
//! [`State`] is a pure fold: it takes the [effects](crate::effect) of one entry after the other and knows the rows that the tables of
//! state must then hold. It shares no code with the statements that write the tables. [`verify`] reads a database as it is at one moment,
//! checks the chain of hashes, folds, checks the rules that hold in every shop, and compares each column of each row.
//!
//! # Where a replay begins
//!
//! A journal that was begun by a version which told no effects gets a [checkpoint] when its tables are brought to this version:
//! entries with every row as it was then. The replay begins there. Of the entries before it only the chain is checked, and the report says
//! so.

pub mod checkpoint;
mod packed;
mod promises;
mod report;
mod rules;
mod state;
mod verify;

pub use report::{Check, Difference, Report, TableCount};
pub use state::{Key, State, Trouble};
pub use verify::{NOT_DERIVED, verify};
