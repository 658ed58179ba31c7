//! Jobs and frozen string sets.

use becket_store::{
    Answer, Document, Frozen, FrozenSet, JobColumns, JobFilter, JobState, Kind, Page, PageRequest,
    SetStanding, StoreError, StoredJob, WriteContext, Written,
};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::codes::Code;
use crate::errors::engine;
use crate::wires::stored_of;
use crate::write::{Write, begin};

pub(crate) async fn open(
    store: &SqliteStore,
    ctx: &WriteContext,
    columns: JobColumns,
    document: Document,
    answer: Answer<StoredJob>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let inserted = sqlx::query(
        "INSERT INTO jobs (serial_id, due_date, station_id, state, bytes, json, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(&columns.serial_id)
    .bind(&columns.due_date)
    .bind(&columns.station_id)
    .bind(JobState::Open.code())
    .bind(&document.bytes)
    .bind(&document.json)
    .bind(ctx.now_us)
    .bind(ctx.now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    if inserted.rows_affected() == 0 {
        return Err(StoreError::AlreadyExists { kind: Kind::Job, ids: vec![columns.serial_id] });
    }
    write.journal(subject(&columns.serial_id), None, Some(document.json)).await?;
    let job = read(write.db(), &columns.serial_id).await?;
    write.finish(&job, answer).await
}

pub(crate) async fn amend(
    store: &SqliteStore,
    ctx: &WriteContext,
    expected_version: i64,
    columns: JobColumns,
    document: Document,
    answer: Answer<StoredJob>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before = live_json(&mut write, &columns.serial_id, expected_version).await?;
    sqlx::query(
        "UPDATE jobs SET due_date = ?, station_id = ?, bytes = ?, json = ?, version = version + 1, updated_us = ? \
         WHERE serial_id = ?",
    )
    .bind(&columns.due_date)
    .bind(&columns.station_id)
    .bind(&document.bytes)
    .bind(&document.json)
    .bind(ctx.now_us)
    .bind(&columns.serial_id)
    .execute(write.db())
    .await
    .map_err(engine)?;
    write.journal(subject(&columns.serial_id), Some(before), Some(document.json)).await?;
    let job = read(write.db(), &columns.serial_id).await?;
    write.finish(&job, answer).await
}

pub(crate) async fn close(
    store: &SqliteStore,
    ctx: &WriteContext,
    serial_id: &str,
    expected_version: i64,
    final_state: JobState,
    answer: Answer<StoredJob>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    live_json(&mut write, serial_id, expected_version).await?;
    let before = read(write.db(), serial_id).await?.state;
    if !matches!(final_state, JobState::Done | JobState::GivenUp) {
        return Err(StoreError::JobState { serial_id: serial_id.to_owned(), state: before });
    }
    set_state(&mut write, serial_id, before, final_state, None).await?;
    let job = read(write.db(), serial_id).await?;
    write.finish(&job, answer).await
}

pub(crate) async fn freeze(
    store: &SqliteStore,
    ctx: &WriteContext,
    serial_id: &str,
    expected_version: i64,
    set: FrozenSet,
    answer: Answer<Frozen>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let job = read(write.db(), serial_id).await?;
    if matches!(job.state, JobState::Done | JobState::GivenUp) {
        return Err(StoreError::JobState { serial_id: serial_id.to_owned(), state: job.state });
    }
    if let Some((there, frozen)) = read_set(write.db(), serial_id).await? {
        if there.digest != set.digest {
            return Err(StoreError::SetFrozen { serial_id: serial_id.to_owned(), digest: there.digest });
        }
        return write.finish(&frozen, answer).await;
    }
    live_json(&mut write, serial_id, expected_version).await?;
    let freeze_us = ctx.now_us;
    sqlx::query("INSERT INTO string_sets (serial_id, digest, bytes, freeze_us) VALUES (?, ?, ?, ?)")
        .bind(serial_id)
        .bind(&set.digest)
        .bind(&set.bytes)
        .bind(freeze_us)
        .execute(write.db())
        .await
        .map_err(engine)?;
    set_state(&mut write, serial_id, job.state, JobState::Frozen, Some(&set.digest)).await?;
    write.finish(&Frozen { freeze_us }, answer).await
}

/// Gives a job a new state, and tells the journal.
async fn set_state(
    write: &mut Write<'_>,
    serial_id: &str,
    before: JobState,
    state: JobState,
    set_digest: Option<&str>,
) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    sqlx::query(
        "UPDATE jobs SET state = ?1, freeze_us = CASE ?1 WHEN 'frozen' THEN ?2 ELSE freeze_us END, \
         version = version + 1, updated_us = ?2 WHERE serial_id = ?3",
    )
    .bind(state.code())
    .bind(now_us)
    .bind(serial_id)
    .execute(write.db())
    .await
    .map_err(engine)?;
    let name = |state: JobState| state.code().to_ascii_uppercase();
    let mut after = serde_json::json!({ "state": name(state) });
    if let (Some(digest), Some(fields)) = (set_digest, after.as_object_mut()) {
        fields.insert("set_digest".to_owned(), digest.into());
    }
    let before = serde_json::json!({ "state": name(before) }).to_string();
    write.journal(subject(serial_id), Some(before), Some(after.to_string())).await
}

/// The JSON of a job that has not ended and is as expected.
async fn live_json(write: &mut Write<'_>, serial_id: &str, expected: i64) -> Result<String, StoreError> {
    let row: Option<(String, i64, String)> =
        sqlx::query_as("SELECT json, version, state FROM jobs WHERE serial_id = ?")
            .bind(serial_id)
            .fetch_optional(write.db())
            .await
            .map_err(engine)?;
    let (json, current, state) = row.ok_or_else(|| missing(serial_id))?;
    let state = JobState::of(&state)?;
    if matches!(state, JobState::Done | JobState::GivenUp) {
        return Err(StoreError::JobState { serial_id: serial_id.to_owned(), state });
    }
    if current != expected {
        return Err(StoreError::VersionStale { kind: Kind::Job, id: serial_id.to_owned(), current });
    }
    Ok(json)
}

pub(crate) async fn one(store: &SqliteStore, serial_id: &str) -> Result<StoredJob, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, serial_id).await
}

async fn read(db: &mut SqliteConnection, serial_id: &str) -> Result<StoredJob, StoreError> {
    let row = sqlx::query("SELECT * FROM jobs WHERE serial_id = ?")
        .bind(serial_id)
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    job_of(&row.ok_or_else(|| missing(serial_id))?)
}

pub(crate) async fn standing(store: &SqliteStore, serial_id: &str) -> Result<SetStanding, StoreError> {
    let row: Option<(i64, bool, i64)> = sqlx::query_as(
        "SELECT version, freeze_us IS NOT NULL, (SELECT COALESCE(SUM(version), 0) FROM wires) FROM jobs \
         WHERE serial_id = ?",
    )
    .bind(serial_id)
    .fetch_optional(&store.reader)
    .await
    .map_err(engine)?;
    let (job_version, is_frozen, wires_generation) = row.ok_or_else(|| missing(serial_id))?;
    Ok(SetStanding { job_version, is_frozen, wires_generation })
}

pub(crate) async fn set_of(
    store: &SqliteStore,
    serial_id: &str,
) -> Result<Option<(FrozenSet, Frozen)>, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read_set(&mut db, serial_id).await
}

async fn read_set(
    db: &mut SqliteConnection,
    serial_id: &str,
) -> Result<Option<(FrozenSet, Frozen)>, StoreError> {
    let row: Option<(String, Vec<u8>, i64)> =
        sqlx::query_as("SELECT digest, bytes, freeze_us FROM string_sets WHERE serial_id = ?")
            .bind(serial_id)
            .fetch_optional(db)
            .await
            .map_err(engine)?;
    Ok(row.map(|(digest, bytes, freeze_us)| (FrozenSet { digest, bytes }, Frozen { freeze_us })))
}

pub(crate) async fn list(
    store: &SqliteStore,
    filter: &JobFilter,
    page: &PageRequest,
) -> Result<Page<StoredJob>, StoreError> {
    let after = page.after.as_deref().map(|cursor| cursor.split_once('/').ok_or(StoreError::CursorInvalid));
    let (after_date, after_serial) = after.transpose()?.unwrap_or_default();
    let rows = sqlx::query(
        "SELECT * FROM jobs WHERE (due_date, serial_id) > (?1, ?2) AND (?3 IS NULL OR state = ?3) \
         AND (?4 IS NULL OR station_id = ?4) AND (?5 IS NULL OR due_date <= ?5) \
         ORDER BY due_date, serial_id LIMIT ?6",
    )
    .bind(after_date)
    .bind(after_serial)
    .bind(filter.state.map(Code::code))
    .bind(&filter.station_id)
    .bind(&filter.due_by_date)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let jobs = rows.iter().map(job_of).collect::<Result<_, _>>()?;
    Ok(Page::from_fetched(jobs, page.limit, |job: &StoredJob| {
        format!("{}/{}", job.columns.due_date, job.columns.serial_id)
    }))
}

fn job_of(row: &SqliteRow) -> Result<StoredJob, StoreError> {
    Ok(StoredJob {
        columns: JobColumns {
            serial_id: row.try_get("serial_id").map_err(engine)?,
            due_date: row.try_get("due_date").map_err(engine)?,
            station_id: row.try_get("station_id").map_err(engine)?,
        },
        state: JobState::of(row.try_get("state").map_err(engine)?)?,
        freeze_us: row.try_get("freeze_us").map_err(engine)?,
        stored: stored_of(row)?,
    })
}

fn subject(serial_id: &str) -> String {
    format!("{}/{serial_id}", Kind::Job)
}

fn missing(serial_id: &str) -> StoreError {
    StoreError::NotFound { kind: Kind::Job, id: serial_id.to_owned() }
}
