//! What engines with tables share: the decisions of every write, the words of their columns, and how rows become records.
//!
//! An engine gives the small steps (`*Tables`), each one or a few statements in its own dialect; the functions here put them
//! together to writes. So a write decides the same whichever engine keeps the data, and says the same in the journal. The
//! steps run within the one transaction of the write, and [`Writing::tell`] is how it adds to the journal.
//!
//! # Locks
//!
//! An engine on which writers run side by side locks what a write rests on before it is read, in this order: station, list,
//! coils by id. What is added in bulk or numbered takes turns as a whole. The steps named `lock_…` do that. On an
//! engine with one writer at a time they do nothing.

mod answers;
mod codes;
mod coils;
mod columns;
mod effects;
mod evidence;
mod floor;
mod jobs;
mod layout;
mod scales;
mod stations;
mod steps;
mod stores;
mod transfer;
mod webhooks;
mod windings;
mod wires;

pub use answers::{FIND_ANSWER_SQL, FoundAnswer, answer_of};
pub use codes::Code;
pub use coils::{CoilTables, LockedCoil, change_coil, receive_coils, set_stock_rule};
pub use columns::{
    Columns, claim_of, coil_id_of, coil_of, cut_record_of, each_list_id, entry_of, floor_coil_of, header_of,
    job_of, level_of, level_order_code, list_id_of, list_number_of, locked_coil_of, lot_serial_of, rule_of,
    scale_of, serial_digest_of, shortage_of, station_of, step_of, stored_coil_of, stored_of,
    winding_order_of, wire_of,
};
pub(crate) use evidence::kind_code;
pub use evidence::{EvidenceRow, evidence_of};
pub use floor::{FloorTables, commit_floor, create_cut_list};
pub use jobs::{JobTables, KnownJob, amend_job, close_job, freeze_set, open_job};
pub(crate) use layout::entry as entry_in;
pub use layout::{Column, LAYOUT, Table, Type};
pub use scales::{KnownScale, ScaleKey, ScaleTables, create_scale, release_scale, update_scale};
pub use stations::{StationTables, save_station, unmount_coil};
pub use steps::step_row;
pub use transfer::{MoveError, Row, ShopReader, ShopWriter, Sum, Value, move_shop, sum};
pub use webhooks::{
    WEBHOOKS_SQL, WebhookTables, create_webhook, delete_webhook, letter_of, queue_letters, webhook_gone,
    webhook_of,
};
pub use windings::{OrderedSerial, WindingTables, exact_order, release_winding_order};
pub use wires::{KnownWire, WireTables, import_wires, update_wire};

use crate::context::WriteContext;
use crate::effect::{Effect, encode};
use crate::error::StoreError;
use crate::journal::Entry;

/// A write in progress.
pub trait Writing: Send {
    /// Time of the write, in µs since 1970 (UTC).
    fn now_us(&self) -> i64;

    /// Who writes.
    fn actor(&self) -> &str;

    /// Notes what was done to a row, for the next entry of the journal.
    fn effect(&mut self, effect: Effect);

    /// Adds an entry to the journal, in the order of the calls, with all effects since the entry before.
    fn tell(&mut self, subject: String, before: Option<String>, after: Option<String>);
}

/// Notes effects.
fn note(tables: &mut impl Writing, effects: impl IntoIterator<Item = Effect>) {
    effects.into_iter().for_each(|effect| tables.effect(effect));
}

/// What a write has to tell the journal.
#[derive(Debug, Default)]
pub struct Told {
    entries: Vec<ToldEntry>,
    effects: Vec<Effect>,
}

#[derive(Debug)]
struct ToldEntry {
    subject: String,
    before: Option<String>,
    after: Option<String>,
    effects: Vec<Effect>,
}

impl Told {
    /// Notes an effect for the next entry.
    pub fn effect(&mut self, effect: Effect) {
        self.effects.push(effect);
    }

    /// Adds an entry: subject, what was before, what is after.
    pub fn add(&mut self, subject: String, before: Option<String>, after: Option<String>) {
        let effects = std::mem::take(&mut self.effects);
        self.entries.push(ToldEntry { subject, before, after, effects });
    }

    /// The entries, without their places in the chain yet.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`] if rows were changed that no entry tells: the journal would no longer explain the tables.
    pub fn entries(self, ctx: &WriteContext) -> Result<Vec<Entry>, StoreError> {
        if let Some(effect) = self.effects.first() {
            return Err(corrupt(format!("no entry of the journal tells {effect:?}")));
        }
        let entry = |told: ToldEntry| Entry {
            effects: Some(encode(&told.effects)),
            ..Entry::new(ctx, told.subject, told.before, told.after)
        };
        Ok(self.entries.into_iter().map(entry).collect())
    }
}

/// What is stored cannot be understood.
pub fn corrupt(what: impl std::fmt::Display) -> StoreError {
    StoreError::Corrupt { what: what.to_string() }
}

/// A stored number as an unsigned one.
///
/// # Errors
/// [`StoreError::Corrupt`] if it is negative or too large.
pub fn unsigned(value: i64) -> Result<u32, StoreError> {
    u32::try_from(value).map_err(|_| corrupt(format!("{value} is out of range")))
}

/// 32 stored bytes: a hash, a key.
///
/// # Errors
/// [`StoreError::Corrupt`] if they are not 32.
pub fn bytes_32(bytes: Vec<u8>) -> Result<[u8; 32], StoreError> {
    bytes.try_into().map_err(|_| corrupt("a hash or key does not have 32 bytes"))
}
