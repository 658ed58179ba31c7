//! The storage traits on SQLite.
//!
//! One file, in write-ahead mode with full synchronisation: what was answered is on the disk. Writers take turns: every write is
//! one `BEGIN IMMEDIATE` transaction on the one writing connection of the process, so a read within it is never made
//! stale by another writer; writers of other processes are waited for. Readers see a snapshot and wait for nobody.
//!
//! The database guards what it can by itself: balances of coils, one place for a coil, one list for a piece, executed steps and
//! journal entries that never change. SQL stands beside the code that runs it, one file for each concern; `migrations/` only
//! ever grows.

mod backup;
mod cells;
mod coils;
mod cut_lists;
mod errors;
mod evidence;
mod floor;
mod idempotency;
mod jobs;
mod journal;
mod news;
mod on_floor;
mod open;
mod records;
mod scales;
mod stations;
mod steps;
mod transfer;
mod webhooks;
mod winding_orders;
mod wires;
mod write;

pub use backup::{Copy, CopyError, move_aside};
pub use open::{OpenError, OpenMode, SqliteStore};

becket_store::engine_with_tables!(SqliteStore);
