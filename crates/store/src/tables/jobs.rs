//! Jobs and frozen string sets.

use async_trait::async_trait;

use super::effects::strings as effects;
use super::{Code, Columns, Writing, note};
use crate::context::Document;
use crate::effect::{Fields, row_of};
use crate::error::{Kind, StoreError};
use crate::string_store::{Frozen, FrozenSet, JobColumns, JobState, StoredJob};

/// A job as a write finds it.
#[derive(Debug, Clone)]
pub struct KnownJob {
    /// Its JSON.
    pub json: String,
    /// Its version.
    pub version: i64,
    /// Its state.
    pub state: JobState,
    /// Its row, as effects tell it.
    pub row: Fields,
}

impl KnownJob {
    /// From its row.
    ///
    /// # Errors
    /// As [`Columns`].
    pub fn of(row: &impl Columns) -> Result<Self, StoreError> {
        let state = JobState::of(&row.text("state")?)?;
        let (json, version) = (row.text("json")?, row.integer("version")?);
        Ok(Self { json, version, state, row: row_of("jobs", row)? })
    }
}

/// The steps of writes of jobs.
#[async_trait]
pub trait JobTables: Writing {
    /// Adds an open job with version 1, and returns it; `None` if the serial has one already.
    async fn insert_job(
        &mut self,
        columns: &JobColumns,
        document: &Document,
    ) -> Result<Option<StoredJob>, StoreError>;

    /// A job, if it is there, which nobody else changes from then on.
    async fn lock_job(&mut self, serial_id: &str) -> Result<Option<KnownJob>, StoreError>;

    /// Replaces the content of a job, raises its version and returns it.
    async fn replace_job(
        &mut self,
        columns: &JobColumns,
        document: &Document,
    ) -> Result<StoredJob, StoreError>;

    /// Gives a job a new state, with the time of freezing if it is frozen by that; raises its version and returns it.
    async fn set_job_state(&mut self, serial_id: &str, state: JobState) -> Result<StoredJob, StoreError>;

    /// The frozen set of a serial, if there is one.
    async fn set_of(&mut self, serial_id: &str) -> Result<Option<(FrozenSet, Frozen)>, StoreError>;

    /// Stores the set of a serial that has none.
    async fn insert_set(&mut self, serial_id: &str, set: &FrozenSet) -> Result<(), StoreError>;
}

/// See [`StringStore::open_job`](crate::StringStore::open_job).
///
/// # Errors
/// As stated there.
pub async fn open_job(
    tables: &mut impl JobTables,
    columns: &JobColumns,
    document: &Document,
) -> Result<StoredJob, StoreError> {
    let Some(job) = tables.insert_job(columns, document).await? else {
        return Err(StoreError::AlreadyExists { kind: Kind::Job, ids: vec![columns.serial_id.clone()] });
    };
    tables.effect(effects::new_job(columns, document, tables.now_us()));
    tables.tell(subject(&columns.serial_id), None, Some(document.json.clone()));
    Ok(job)
}

/// See [`StringStore::amend_job`](crate::StringStore::amend_job).
///
/// # Errors
/// As stated there.
pub async fn amend_job(
    tables: &mut impl JobTables,
    expected_version: i64,
    columns: &JobColumns,
    document: &Document,
) -> Result<StoredJob, StoreError> {
    let before = live(tables, &columns.serial_id).await?;
    let before = as_expected(before, &columns.serial_id, expected_version)?;
    let job = tables.replace_job(columns, document).await?;
    note(tables, effects::changed_job(&before, columns, document, tables.now_us()));
    tables.tell(subject(&columns.serial_id), Some(before.json), Some(document.json.clone()));
    Ok(job)
}

/// See [`StringStore::close_job`](crate::StringStore::close_job).
///
/// # Errors
/// As stated there.
pub async fn close_job(
    tables: &mut impl JobTables,
    serial_id: &str,
    expected_version: i64,
    final_state: JobState,
) -> Result<StoredJob, StoreError> {
    let before = live(tables, serial_id).await?;
    let before = as_expected(before, serial_id, expected_version)?;
    if !has_ended(final_state) {
        return Err(StoreError::JobState { serial_id: serial_id.to_owned(), state: before.state });
    }
    let job = tables.set_job_state(serial_id, final_state).await?;
    note(tables, effects::job_state(serial_id, &before, final_state, tables.now_us()));
    tell_state(tables, serial_id, before.state, final_state, None);
    Ok(job)
}

/// See [`StringStore::freeze_set`](crate::StringStore::freeze_set).
///
/// # Errors
/// As stated there.
pub async fn freeze_set(
    tables: &mut impl JobTables,
    serial_id: &str,
    expected_version: i64,
    set: &FrozenSet,
) -> Result<Frozen, StoreError> {
    let job = live(tables, serial_id).await?;
    if let Some((there, frozen)) = tables.set_of(serial_id).await? {
        if there.digest != set.digest {
            return Err(StoreError::SetFrozen { serial_id: serial_id.to_owned(), digest: there.digest });
        }
        return Ok(frozen);
    }
    let before = as_expected(job, serial_id, expected_version)?;
    tables.insert_set(serial_id, set).await?;
    tables.set_job_state(serial_id, JobState::Frozen).await?;
    let now_us = tables.now_us();
    tables.effect(effects::new_set(serial_id, set, now_us));
    note(tables, effects::job_state(serial_id, &before, JobState::Frozen, now_us));
    tell_state(tables, serial_id, before.state, JobState::Frozen, Some(&set.digest));
    Ok(Frozen { freeze_us: tables.now_us() })
}

fn has_ended(state: JobState) -> bool {
    matches!(state, JobState::Done | JobState::GivenUp)
}

/// A job that has not ended.
async fn live(tables: &mut impl JobTables, serial_id: &str) -> Result<KnownJob, StoreError> {
    match tables.lock_job(serial_id).await? {
        None => Err(StoreError::NotFound { kind: Kind::Job, id: serial_id.to_owned() }),
        Some(job) if has_ended(job.state) => {
            Err(StoreError::JobState { serial_id: serial_id.to_owned(), state: job.state })
        }
        Some(job) => Ok(job),
    }
}

fn as_expected(job: KnownJob, serial_id: &str, expected: i64) -> Result<KnownJob, StoreError> {
    let current = job.version;
    if current == expected {
        return Ok(job);
    }
    Err(StoreError::VersionStale { kind: Kind::Job, id: serial_id.to_owned(), current })
}

fn tell_state(
    tables: &mut impl JobTables,
    serial_id: &str,
    before: JobState,
    state: JobState,
    set_digest: Option<&str>,
) {
    let name = |state: JobState| state.code().to_ascii_uppercase();
    let mut after = serde_json::json!({ "state": name(state) });
    if let (Some(digest), Some(fields)) = (set_digest, after.as_object_mut()) {
        fields.insert("set_digest".to_owned(), digest.into());
    }
    let before = serde_json::json!({ "state": name(before) }).to_string();
    tables.tell(subject(serial_id), Some(before), Some(after.to_string()));
}

fn subject(serial_id: &str) -> String {
    format!("{}/{serial_id}", Kind::Job)
}
