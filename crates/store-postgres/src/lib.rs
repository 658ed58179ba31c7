//! The storage traits on PostgreSQL, from version 15, for a shop with several replicas of the services.
//!
//! # Isolation
//!
//! A write is one transaction at READ COMMITTED that locks what it rests on before it reads it, in one order for all writes:
//! its request id (the row of its answer), station, list, coils by id; what is added in bulk or numbered (wires, coils, lists, winding
//! orders) is added by one write at a time. So two writes that touch different things run side by
//! side and share the flush to the disk, two that touch the same take turns, and none acts on what another one is changing.
//! SERIALIZABLE would find the same conflicts only at the end of the work. Reads of more than one statement run at REPEATABLE READ,
//! as one snapshot.
//!
//! # The journal
//!
//! The chain needs one writer at a time, and a number from a sequence is given before the commit, so that a reader could see 8 and
//! later 7. Neither may hold up the writes. A write puts its entries into `journal_inbox`, in its own transaction; after its
//! commit they are moved into `journal`, where they get number and hash: by one transaction at a time, which holds the row
//! of `journal_head`, and many entries at once. What is moved is committed, so numbers have no gaps and a reader who has seen
//! one never meets a smaller one later, however long some write took. Ids of the inbox are taken when a write holds all its locks,
//! so a change stands in the journal behind those that it rests on. Entries of one write stand side by side.
//!
//! It costs that every entry is written twice, and stands in the journal one commit later than its change. A background task of
//! every replica moves entries when a write of its own ends, and looks once a second for those of others; a reader of the
//! journal moves what is there first, and so always finds what was answered before.
//!
//! # When writes meet
//!
//! A deadlock (40P01), a failed serialisation (40001), or another write that was faster with the same piece or number is met by
//! doing the write again, up to [`Options::attempts`] times, with a growing pause whose jitter follows from the request id. Waiting for
//! a lock, for a statement and for a client is bounded by the time-outs of [`Options`]; what runs out of them is
//! [`StoreError::Busy`](becket_store::StoreError::Busy).
//!
//! # Failover
//!
//! An address may name several servers, the primary and its standbys. The store looks for the one that takes writes, asks it twice a
//! second whether it still does, and goes to another one when it does not. It never makes a standby a primary, and it stays with a
//! primary that answers. What was answered survives if the standby is synchronous: a COMMIT waits for it, and the statement's time-out
//! does not end that wait. The call's deadline ends it for the caller, who is told nothing, and its repeat finds out.
//!
//! # News
//!
//! Whoever moves entries into the journal sends a NOTIFY with them, which [`changes`](becket_store::Engine::changes) hears in
//! every replica. A connection may break, so this wakes readers early and is no replacement for looking. (A write sends none
//! itself: the server lets only one transaction with a NOTIFY commit at a time.)
//!
//! The database guards what it can by itself, as the one of SQLite does: balances of coils, one place for a coil, one list for a
//! piece, executed steps and journal entries that never change. `migrations/` only ever grows, with the same numbers as those
//! of SQLite.

mod cells;
mod coils;
mod cut_lists;
mod errors;
mod evidence;
mod floor;
mod hosts;
mod idempotency;
mod jobs;
mod journal;
mod news;
mod on_floor;
mod open;
mod options;
mod primary;
mod records;
mod scales;
mod sequencer;
mod stations;
mod steps;
mod transfer;
mod webhooks;
mod winding_orders;
mod wires;
mod write;

pub use open::{OpenError, PostgresStore, SchemaState};
pub use options::Options;

becket_store::engine_with_tables!(PostgresStore);
