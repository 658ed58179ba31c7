//! Wires.

use async_trait::async_trait;

use super::effects::strings as effects;
use super::{Columns, Writing, note};
use crate::effect::{Fields, row_of};
use crate::error::{Kind, StoreError};
use crate::string_store::{Imported, NewWire, StoredWire};

/// A wire as a write finds it.
#[derive(Debug, Clone)]
pub struct KnownWire {
    /// Its JSON.
    pub json: String,
    /// Its version.
    pub version: i64,
    /// Its row, as effects tell it.
    pub row: Fields,
}

impl KnownWire {
    /// From its row.
    ///
    /// # Errors
    /// As [`Columns`].
    pub fn of(row: &impl Columns) -> Result<Self, StoreError> {
        Ok(Self { json: row.text("json")?, version: row.integer("version")?, row: row_of("wires", row)? })
    }
}

/// The steps of writes of wires.
#[async_trait]
pub trait WireTables: Writing {
    /// Keeps others from adding wires until the write has ended: two imports of the same wires in another order would wait for each other.
    async fn lock_catalogue(&mut self) -> Result<(), StoreError> {
        Ok(())
    }

    /// Adds a wire with version 1. Returns whether it was new; one that is there stays as it is.
    async fn insert_wire(&mut self, wire: &NewWire) -> Result<bool, StoreError>;

    /// The bytes of a wire that is there.
    async fn wire_bytes(&mut self, wire_id: &str) -> Result<Vec<u8>, StoreError>;

    /// A wire, if it is there, which nobody else changes from then on.
    async fn lock_wire(&mut self, wire_id: &str) -> Result<Option<KnownWire>, StoreError>;

    /// Replaces a wire, raises its version and returns it.
    async fn replace_wire(&mut self, wire: &NewWire) -> Result<StoredWire, StoreError>;
}

/// See [`StringStore::import_wires`](crate::StringStore::import_wires).
///
/// # Errors
/// As stated there.
pub async fn import_wires(tables: &mut impl WireTables, wires: &[NewWire]) -> Result<Imported, StoreError> {
    tables.lock_catalogue().await?;
    let now_us = tables.now_us();
    let mut imported = Imported::default();
    let mut clashes = Vec::new();
    for wire in wires {
        let id = || wire.wire_id.clone();
        if tables.insert_wire(wire).await? {
            tables.effect(effects::new_wire(wire, now_us));
            tables.tell(subject(&wire.wire_id), None, Some(wire.document.json.clone()));
            imported.added.push(id());
        } else if tables.wire_bytes(&wire.wire_id).await? != wire.document.bytes {
            clashes.push(id());
        } else if !imported.added.contains(&wire.wire_id) {
            // Given twice alike, it is new once.
            imported.unchanged.push(id());
        }
    }
    if !clashes.is_empty() {
        return Err(StoreError::AlreadyExists { kind: Kind::Wire, ids: clashes });
    }
    Ok(imported)
}

/// See [`StringStore::update_wire`](crate::StringStore::update_wire).
///
/// # Errors
/// As stated there.
pub async fn update_wire(
    tables: &mut impl WireTables,
    expected_version: i64,
    wire: &NewWire,
) -> Result<StoredWire, StoreError> {
    let id = || wire.wire_id.clone();
    let before = tables.lock_wire(&wire.wire_id).await?;
    let before = before.ok_or_else(|| StoreError::NotFound { kind: Kind::Wire, id: id() })?;
    let current = before.version;
    if current != expected_version {
        return Err(StoreError::VersionStale { kind: Kind::Wire, id: id(), current });
    }
    let stored = tables.replace_wire(wire).await?;
    note(tables, effects::changed_wire(&before, wire, tables.now_us()));
    tables.tell(subject(&wire.wire_id), Some(before.json), Some(wire.document.json.clone()));
    Ok(stored)
}

fn subject(wire_id: &str) -> String {
    format!("{}/{wire_id}", Kind::Wire)
}
