//! Scale revisions.

use async_trait::async_trait;

use super::effects::strings as effects;
use super::{Columns, Writing, note};
use crate::context::Document;
use crate::effect::{Fields, row_of};
use crate::error::{Kind, StoreError};
use crate::string_store::StoredScale;

/// Name of a revision.
#[derive(Debug, Clone, Copy)]
pub struct ScaleKey<'a> {
    /// Model.
    pub model_id: &'a str,
    /// Revision.
    pub revision_id: &'a str,
}

impl ScaleKey<'_> {
    fn id(self) -> String {
        format!("{}/{}", self.model_id, self.revision_id)
    }

    fn subject(self) -> String {
        format!("{}/{}", Kind::Scale, self.id())
    }

    /// There is no such revision.
    #[must_use]
    pub fn missing(self) -> StoreError {
        StoreError::NotFound { kind: Kind::Scale, id: self.id() }
    }
}

/// A revision as a write finds it.
#[derive(Debug, Clone)]
pub struct KnownScale {
    /// Its JSON.
    pub json: String,
    /// Its version.
    pub version: i64,
    /// Whether it is released.
    pub is_released: bool,
    /// Its row, as effects tell it.
    pub row: Fields,
}

impl KnownScale {
    /// From its row.
    ///
    /// # Errors
    /// As [`Columns`].
    pub fn of(row: &impl Columns) -> Result<Self, StoreError> {
        let is_released = !row.is_null("released_us")?;
        let (json, version) = (row.text("json")?, row.integer("version")?);
        Ok(Self { json, version, is_released, row: row_of("scales", row)? })
    }
}

/// The steps of writes of scales.
#[async_trait]
pub trait ScaleTables: Writing {
    /// Adds a draft with version 1, and returns it; `None` if the revision is there already.
    async fn insert_scale(
        &mut self,
        key: ScaleKey<'_>,
        document: &Document,
    ) -> Result<Option<StoredScale>, StoreError>;

    /// A revision, if it is there, which nobody else changes from then on.
    async fn lock_scale(&mut self, key: ScaleKey<'_>) -> Result<Option<KnownScale>, StoreError>;

    /// Replaces a draft, raises its version and returns it.
    async fn replace_scale(
        &mut self,
        key: ScaleKey<'_>,
        document: &Document,
    ) -> Result<StoredScale, StoreError>;

    /// Sets the time of release, raises the version and returns the revision.
    async fn mark_scale_released(&mut self, key: ScaleKey<'_>) -> Result<StoredScale, StoreError>;
}

/// See [`StringStore::create_scale`](crate::StringStore::create_scale).
///
/// # Errors
/// As stated there.
pub async fn create_scale(
    tables: &mut impl ScaleTables,
    key: ScaleKey<'_>,
    document: &Document,
) -> Result<StoredScale, StoreError> {
    let stored = tables.insert_scale(key, document).await?;
    let stored =
        stored.ok_or_else(|| StoreError::AlreadyExists { kind: Kind::Scale, ids: vec![key.id()] })?;
    tables.effect(effects::new_scale(key, document, tables.now_us()));
    tables.tell(key.subject(), None, Some(document.json.clone()));
    Ok(stored)
}

/// See [`StringStore::update_scale`](crate::StringStore::update_scale).
///
/// # Errors
/// As stated there.
pub async fn update_scale(
    tables: &mut impl ScaleTables,
    key: ScaleKey<'_>,
    expected_version: i64,
    document: &Document,
) -> Result<StoredScale, StoreError> {
    let before = draft(tables, key, expected_version).await?;
    let stored = tables.replace_scale(key, document).await?;
    note(tables, effects::changed_scale(key, &before, document, tables.now_us()));
    tables.tell(key.subject(), Some(before.json), Some(document.json.clone()));
    Ok(stored)
}

/// See [`StringStore::release_scale`](crate::StringStore::release_scale).
///
/// # Errors
/// As stated there.
pub async fn release_scale(
    tables: &mut impl ScaleTables,
    key: ScaleKey<'_>,
    expected_version: i64,
) -> Result<StoredScale, StoreError> {
    let before = draft(tables, key, expected_version).await?;
    let stored = tables.mark_scale_released(key).await?;
    note(tables, effects::released_scale(key, &before, tables.now_us()));
    let state = |state: &str| Some(serde_json::json!({ "state": state }).to_string());
    tables.tell(key.subject(), state("DRAFT"), state("RELEASED"));
    Ok(stored)
}

/// A draft that is as expected.
async fn draft(
    tables: &mut impl ScaleTables,
    key: ScaleKey<'_>,
    expected: i64,
) -> Result<KnownScale, StoreError> {
    match tables.lock_scale(key).await? {
        None => Err(key.missing()),
        Some(known) if known.is_released => Err(StoreError::ScaleReleased { id: key.id() }),
        Some(known) if known.version != expected => {
            Err(StoreError::VersionStale { kind: Kind::Scale, id: key.id(), current: known.version })
        }
        Some(known) => Ok(known),
    }
}
