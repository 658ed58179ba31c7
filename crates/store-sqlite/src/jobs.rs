//! Jobs and frozen string sets.

use async_trait::async_trait;
use becket_store::tables::{Code, JobTables, KnownJob, job_of};
use becket_store::{
    Document, Frozen, FrozenSet, JobColumns, JobFilter, JobState, Kind, Page, PageRequest, SetStanding,
    StoreError, StoredJob,
};
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

#[async_trait]
impl JobTables for Write<'_> {
    async fn insert_job(
        &mut self,
        columns: &JobColumns,
        document: &Document,
    ) -> Result<Option<StoredJob>, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "INSERT INTO jobs (serial_id, due_date, station_id, state, bytes, json, version, created_us, updated_us) \
             VALUES (?, ?, ?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING RETURNING *",
        )
        .bind(&columns.serial_id)
        .bind(&columns.due_date)
        .bind(&columns.station_id)
        .bind(JobState::Open.code())
        .bind(&document.bytes)
        .bind(&document.json)
        .bind(now_us)
        .bind(now_us)
        .fetch_optional(self.db())
        .await
        .map_err(engine)?;
        row.map(|row| job_of(&Cells(row))).transpose()
    }

    async fn lock_job(&mut self, serial_id: &str) -> Result<Option<KnownJob>, StoreError> {
        let row = sqlx::query("SELECT * FROM jobs WHERE serial_id = ?")
            .bind(serial_id)
            .fetch_optional(self.db())
            .await
            .map_err(engine)?;
        row.map(|row| KnownJob::of(&Cells(row))).transpose()
    }

    async fn replace_job(
        &mut self,
        columns: &JobColumns,
        document: &Document,
    ) -> Result<StoredJob, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "UPDATE jobs SET due_date = ?, station_id = ?, bytes = ?, json = ?, version = version + 1, updated_us = ? \
             WHERE serial_id = ? RETURNING *",
        )
        .bind(&columns.due_date)
        .bind(&columns.station_id)
        .bind(&document.bytes)
        .bind(&document.json)
        .bind(now_us)
        .bind(&columns.serial_id)
        .fetch_one(self.db())
        .await
        .map_err(engine)?;
        job_of(&Cells(row))
    }

    async fn set_job_state(&mut self, serial_id: &str, state: JobState) -> Result<StoredJob, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "UPDATE jobs SET state = ?1, freeze_us = CASE ?1 WHEN 'frozen' THEN ?2 ELSE freeze_us END, \
             version = version + 1, updated_us = ?2 WHERE serial_id = ?3 RETURNING *",
        )
        .bind(state.code())
        .bind(now_us)
        .bind(serial_id)
        .fetch_one(self.db())
        .await
        .map_err(engine)?;
        job_of(&Cells(row))
    }

    async fn set_of(&mut self, serial_id: &str) -> Result<Option<(FrozenSet, Frozen)>, StoreError> {
        read_set(self.db(), serial_id).await
    }

    async fn insert_set(&mut self, serial_id: &str, set: &FrozenSet) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        sqlx::query("INSERT INTO string_sets (serial_id, digest, bytes, freeze_us) VALUES (?, ?, ?, ?)")
            .bind(serial_id)
            .bind(&set.digest)
            .bind(&set.bytes)
            .bind(now_us)
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }
}

pub(crate) async fn one(store: &SqliteStore, serial_id: &str) -> Result<StoredJob, StoreError> {
    let row = sqlx::query("SELECT * FROM jobs WHERE serial_id = ?")
        .bind(serial_id)
        .fetch_optional(&store.reader)
        .await
        .map_err(engine)?;
    job_of(&Cells(row.ok_or_else(|| missing(serial_id))?))
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
    let (after_date, after_serial) = page.after_pair()?;
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
    let jobs = each(rows, job_of)?;
    Ok(Page::from_fetched(jobs, page.limit, |job: &StoredJob| {
        format!("{}/{}", job.columns.due_date, job.columns.serial_id)
    }))
}

fn missing(serial_id: &str) -> StoreError {
    StoreError::NotFound { kind: Kind::Job, id: serial_id.to_owned() }
}
