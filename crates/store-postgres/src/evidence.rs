//! Evidence of the lengths on coils.

use becket_floor::CoilId;
use becket_store::tables::{EvidenceRow, evidence_of, unsigned};
use becket_store::{EvidenceRecord, Kind, Page, PageRequest, StoreError};
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

/// Adds a line to the ledger of a coil, under the next number.
pub(crate) async fn insert(write: &mut Write<'_>, row: &EvidenceRow<'_>) -> Result<u32, StoreError> {
    let (now_us, actor) = (write.ctx.now_us, write.ctx.actor.clone());
    let EvidenceRow { coil_id, list_id, evidence, note } = *row;
    let scales = row.scales();
    let number: i64 = sqlx::query_scalar(
        "INSERT INTO coil_evidence (coil_id, evidence_number, kind, state, length_um, length_sd_mm, deviation_sds, before_um, \
         before_sd_mm, after_um, after_sd_mm, gross_g, tare_g, resolution_g, tare_sd_g, accepted_number, list_id, note, \
         actor, created_us) \
         SELECT $1, COALESCE(MAX(evidence_number), 0) + 1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, \
         $17, $18, $19 FROM coil_evidence WHERE coil_id = $1 RETURNING evidence_number",
    )
    .bind(coil_id.as_str())
    .bind(row.kind_code())
    .bind(row.state_code())
    .bind(evidence.length.get())
    .bind(evidence.sd_mm)
    .bind(evidence.deviation_sds)
    .bind(evidence.before.remaining.get())
    .bind(evidence.before.sd_mm)
    .bind(evidence.after.remaining.get())
    .bind(evidence.after.sd_mm)
    .bind(scales.map(|scales| scales.gross_g))
    .bind(scales.map(|scales| scales.tare_g))
    .bind(scales.map(|scales| scales.resolution_g))
    .bind(scales.map(|scales| scales.tare_sd_g))
    .bind(row.accepted_number().map(i64::from))
    .bind(list_id.map(|id| id.as_str()))
    .bind(note)
    .bind(actor)
    .bind(now_us)
    .fetch_one(write.db())
    .await
    .map_err(engine)?;
    unsigned(number)
}

/// Decides upon held evidence. Returns whether it was held.
pub(crate) async fn decide(
    write: &mut Write<'_>,
    coil_id: &CoilId,
    number: u32,
    state: &'static str,
) -> Result<bool, StoreError> {
    let (now_us, actor) = (write.ctx.now_us, write.ctx.actor.clone());
    let decided = sqlx::query(
        "UPDATE coil_evidence SET state = $1, decided_us = $2, decided_by = $3 \
         WHERE coil_id = $4 AND evidence_number = $5 AND state = 'held'",
    )
    .bind(state)
    .bind(now_us)
    .bind(actor)
    .bind(coil_id.as_str())
    .bind(i64::from(number))
    .execute(write.db())
    .await
    .map_err(engine)?;
    Ok(decided.rows_affected() == 1)
}

pub(crate) async fn one(
    store: &PostgresStore,
    coil_id: &CoilId,
    number: u32,
) -> Result<EvidenceRecord, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, coil_id, number).await
}

pub(crate) async fn read(
    db: &mut PgConnection,
    coil_id: &CoilId,
    number: u32,
) -> Result<EvidenceRecord, StoreError> {
    let row = sqlx::query("SELECT * FROM coil_evidence WHERE coil_id = $1 AND evidence_number = $2")
        .bind(coil_id.as_str())
        .bind(i64::from(number))
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    let missing = || StoreError::NotFound { kind: Kind::CoilEvidence, id: format!("{coil_id}/{number}") };
    evidence_of(&Cells(row.ok_or_else(missing)?))
}

pub(crate) async fn list(
    store: &PostgresStore,
    coil_id: &CoilId,
    page: &PageRequest,
) -> Result<Page<EvidenceRecord>, StoreError> {
    let before = page.after.as_deref().map(str::parse::<i64>).transpose();
    let before = before.map_err(|_| StoreError::CursorInvalid)?.unwrap_or(i64::MAX);
    let rows = sqlx::query(
        "SELECT * FROM coil_evidence WHERE coil_id = $1 AND evidence_number < $2 ORDER BY evidence_number DESC LIMIT $3",
    )
    .bind(coil_id.as_str())
    .bind(before)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let lines = each(rows, evidence_of)?;
    Ok(Page::from_fetched(lines, page.limit, |line: &EvidenceRecord| line.number.to_string()))
}
