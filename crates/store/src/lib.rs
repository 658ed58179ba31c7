//! What storage must do: the traits, their records, and the conformance suite that every engine passes.
//!
//! # Rules of every engine
//!
//! - One method is one transaction and guards one invariant. A transaction holds the work, its journal rows and the record of
//!   the answer; no transaction object crosses the traits.
//! - Every write takes a [`WriteContext`] and an [`Answer`]. The first call of a (caller, method, request id) does the
//!   work and stores the bytes of its answer; a repeat with the same request digest gets the same bytes and changes
//!   nothing; a repeat with another digest is [`StoreError::RequestIdReused`]. A call that fails leaves nothing, so its
//!   request id may be used again.
//! - Answers may be dropped after some time ([`Engine::drop_answers`]). A request that made an entry of the journal is never done again
//!   all the same: it is [`StoreError::AnswerDropped`].
//! - Versions begin with 1 and rise by one with every change. A write that names a version which is not current is
//!   [`StoreError::VersionStale`].
//! - Pages are sorted by key, byte by byte, and a cursor is the key of the last item that was given out.
//! - Time is an argument: [`WriteContext::now_us`].
//!
//! The crate holds no engine and opens no file. What it computes itself is the [`journal`]: hashes and the JSON of floor
//! records, so that all engines write the same; and in [`tables`] what engines with tables would otherwise decide twice.

#[cfg(feature = "conformance")]
pub mod conformance;
mod context;
mod cut_store;
pub mod effect;
mod error;
mod floor_json;
pub mod journal;
mod page;
pub mod replay;
mod string_store;
pub mod tables;
mod webhooks;
mod winding_orders;

pub use context::{Answer, Document, Engine, Listener, News, Outdated, Stored, WriteContext, Written};
pub use cut_store::{
    Claim, CoilChange, CoilChanged, CoilFilter, CutListFilter, CutRecord, CutStore, Decided, Decision,
    EvidenceRecord, ListOnFloor, LotSerial, RefuseIf, StockRule, StoredCoil, StoredCutList, StoredHeader,
    StoredStation, Unmounted, Workplace,
};
pub use error::{Kind, StoreError};
pub use floor_json::{change_json, coil_json, list_json, mount_json, rule_json, station_json};
pub use journal::{Entry, JournalStore};
pub use page::{Page, PageRequest};
pub use string_store::{
    Frozen, FrozenSet, Imported, JobColumns, JobFilter, JobState, NewWire, ScaleStanding, SetStanding,
    StoredJob, StoredScale, StoredWire, StringStore,
};
pub use webhooks::{
    DeadLetter, NewWebhook, Outcome, SigningKey, StoredWebhook, WebhookProgress, WebhookStore,
};
pub use winding_orders::{NewWindingOrder, StoredWindingOrder, WindingRelease};
