//! The tables and columns that hold a shop, on every engine.

use super::corrupt;
use super::transfer::{Row, Value};
use crate::error::StoreError;
use crate::journal::Entry;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is what it says")]
pub enum Type {
    Text,
    Integer,
    Real,
    Truth,
    Bytes,
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Name.
    pub name: &'static str,
    /// What it holds, apart from NULL.
    pub kind: Type,
}

/// A table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Table {
    /// Name.
    pub name: &'static str,
    /// Columns of its key, the most significant first.
    pub key: &'static [&'static str],
    /// All columns.
    pub columns: &'static [Column],
}

impl Table {
    /// The key of a row.
    #[must_use]
    pub fn key_of(&self, row: &[Value]) -> Vec<Value> {
        let place = |name: &&str| self.columns.iter().position(|column| column.name == *name);
        self.key.iter().filter_map(|name| place(name).and_then(|place| row.get(place).cloned())).collect()
    }

    /// A row with its values in the order of the columns.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`].
    pub fn row_of(&self, row: &impl super::Columns) -> Result<Row, StoreError> {
        self.columns.iter().map(|column| Value::read(row, column)).collect()
    }

    /// The query of rows in the order of their key, behind a key if `behind`: its values are the parameters $1 and so on, and the limit is the
    /// last one. Both SQLite and PostgreSQL read it.
    #[must_use]
    pub fn page_sql(&self, behind: bool) -> String {
        let key = self.key.join(", ");
        let places: Vec<String> = (1..=self.key.len()).map(|place| format!("${place}")).collect();
        let condition =
            if behind { format!("WHERE ({key}) > ({}) ", places.join(", ")) } else { String::new() };
        let limit = if behind { self.key.len() + 1 } else { 1 };
        format!("SELECT {} FROM {} {condition}ORDER BY {key} LIMIT ${limit}", self.column_list(), self.name)
    }

    /// The names of all columns, as SQL lists them.
    #[must_use]
    pub fn column_list(&self) -> String {
        self.columns.iter().map(|column| column.name).collect::<Vec<_>>().join(", ")
    }
}

/// The entry that a row of the journal holds.
pub(crate) fn entry(row: &Row) -> Result<Entry, StoreError> {
    let [
        Value::Integer(sequence),
        Value::Integer(entry_us),
        Value::Text(actor),
        Value::Text(origin),
        Value::Text(request_id),
        Value::Text(method),
        Value::Text(subject),
        before,
        after,
        Value::Bytes(hash),
        effects,
    ] = row.as_slice()
    else {
        return Err(corrupt("a row of the journal"));
    };
    let optional = |value: &Value| match value {
        Value::Text(text) => Some(text.clone()),
        _ => None,
    };
    Ok(Entry {
        sequence: *sequence,
        entry_us: *entry_us,
        actor: actor.clone(),
        origin: origin.clone(),
        request_id: request_id.clone(),
        method: method.clone(),
        subject: subject.clone(),
        before: optional(before),
        after: optional(after),
        effects: optional(effects),
        hash: super::bytes_32(hash.clone())?,
    })
}

macro_rules! table {
    ($name:ident key $($key:ident),+; $($column:ident $kind:ident),+ $(,)?) => {
        Table {
            name: stringify!($name),
            key: &[$(stringify!($key)),+],
            columns: &[$(Column { name: stringify!($column), kind: Type::$kind }),+],
        }
    };
}

/// Every table that holds something of the shop, those first that others refer to. What an engine keeps for itself is not among them.
pub const LAYOUT: &[Table] = &[
    table!(meta key key;
        key Text, value Bytes,
    ),
    table!(answers key actor, method, request_id;
        actor Text, method Text, request_id Text, digest Bytes, answer Bytes, created_us Integer,
    ),
    table!(journal key sequence;
        sequence Integer, entry_us Integer, actor Text, origin Text, request_id Text, method Text,
        subject Text, before_json Text, after_json Text, hash Bytes, effects_json Text,
    ),
    table!(wires key wire_id;
        wire_id Text, material Integer, bytes Bytes, json Text, version Integer, created_us Integer,
        updated_us Integer,
    ),
    table!(scales key model_id, revision_id;
        model_id Text, revision_id Text, bytes Bytes, json Text, released_us Integer, version Integer,
        created_us Integer, updated_us Integer,
    ),
    table!(jobs key serial_id;
        serial_id Text, due_date Text, station_id Text, state Text, freeze_us Integer, bytes Bytes,
        json Text, version Integer, created_us Integer, updated_us Integer,
    ),
    table!(string_sets key serial_id;
        serial_id Text, digest Text, bytes Bytes, freeze_us Integer,
    ),
    table!(coils key coil_id;
        coil_id Text, wire_id Text, lot_id Text, received_date Text, state Text, received_um Integer,
        remaining_um Integer, cut_um Integer, scrapped_um Integer, adjusted_um Integer,
        linear_density_g_m Real, version Integer, created_us Integer, updated_us Integer,
        variance_mm2 Real, density_error Real, density_variance Real, covariance_mm Real,
    ),
    table!(coil_evidence key coil_id, evidence_number;
        coil_id Text, evidence_number Integer, kind Text, state Text, length_um Integer, length_sd_mm Real,
        deviation_sds Real, before_um Integer, before_sd_mm Real, after_um Integer, after_sd_mm Real,
        gross_g Real, tare_g Real, resolution_g Real, tare_sd_g Real, accepted_number Integer, list_id Text,
        note Text, actor Text, created_us Integer, decided_us Integer, decided_by Text,
    ),
    table!(stock_rules key wire_id;
        wire_id Text, smallest_remnant_um Integer,
    ),
    table!(stations key station_id;
        station_id Text, title Text, reel_positions Integer, trays Integer, version Integer,
        created_us Integer, updated_us Integer,
    ),
    table!(mounts key station_id, reel_position;
        station_id Text, reel_position Integer, coil_id Text,
    ),
    table!(cut_lists key list_number;
        list_number Integer, list_id Text, station_id Text, state Text, unison_rule Text,
        end_trim_um Integer, coil_margin_um Integer, wound_cores Truth, pieces Integer,
        cut_um Integer, scrap_um Integer, remnant_um Integer, coils_used Integer, coils_opened Integer,
        reel_changes Integer, unisons_split Integer, pieces_done Integer, pieces_pending Integer,
        start_us Integer, end_us Integer, version Integer, created_us Integer, updated_us Integer,
        level_order Text, search_rounds Integer, time_budget_ms Integer, due_window Integer, fifo Truth, search_stopped Truth,
        coil_margin_milli_sds Integer, piece_order Text,
    ),
    table!(cut_list_serials key list_number, place;
        list_number Integer, place Integer, serial_id Text, set_digest Text, due_date Text,
    ),
    table!(shortages key list_number, place;
        list_number Integer, place Integer, wire_id Text, serial_id Text, piece_ids Text,
        length_um Integer,
    ),
    table!(cut_list_levels key list_number, place;
        list_number Integer, place Integer, level Text, value Integer, lower_bound Integer, proven Truth,
    ),
    table!(cut_steps key list_number, step_number;
        list_number Integer, step_number Integer, kind Text, state Text, coil_id Text, lot_id Text,
        wire_id Text, reel_position Integer, serial_id Text, piece_id Text, piece_kind Text, notes Text,
        piece_um Integer, recut Truth, length_um Integer, remaining_after_um Integer, tail_use Text,
        opens_coil Truth, spoil_cause Text, done_us Integer, done_by Text, section_id Text, section_number Integer,
    ),
    table!(winding_orders key order_number;
        order_number Integer, order_id Text,
    ),
    table!(winding_order_serials key serial_id;
        serial_id Text, order_number Integer,
    ),
    table!(winding_order_revisions key order_number, revision;
        order_number Integer, revision Integer, reason Text, digest Text, bytes Bytes, release_us Integer,
    ),
    table!(webhooks key webhook_id;
        webhook_id Text, url Text, types Text, subject_prefix Text, secret Text, state Text, created_us Integer,
    ),
    table!(webhook_progress key webhook_id;
        webhook_id Text, told_sequence Integer, attempts Integer, next_us Integer, last_error Text,
    ),
    table!(webhook_letters key webhook_id, sequence;
        webhook_id Text, sequence Integer, state Text, attempts Integer, failed_us Integer, last_error Text,
    ),
    table!(webhook_lease key lease_id;
        lease_id Integer, holder Text, fence Integer, until_us Integer,
    ),
];
