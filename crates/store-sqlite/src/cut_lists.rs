//! Reading of cut lists.

use becket_floor::{CutList, LevelReport, ListId, SerialDigest, Shortage};
use becket_store::tables::{Code, header_of, level_of, list_number_of, serial_digest_of, shortage_of};
use becket_store::{CutListFilter, Kind, Page, PageRequest, StoreError, StoredCutList, StoredHeader};
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::steps;

pub(crate) async fn one(store: &SqliteStore, list_id: &ListId) -> Result<StoredCutList, StoreError> {
    // One snapshot for the header and all that hangs on it.
    let mut tx = store.reader.begin().await.map_err(engine)?;
    Ok(read(&mut tx, list_id).await?.1)
}

/// The number of a list and the list.
pub(crate) async fn read(
    db: &mut SqliteConnection,
    list_id: &ListId,
) -> Result<(i64, StoredCutList), StoreError> {
    let (number, stored) = header(db, list_id).await?;
    let StoredHeader { header, created_us, updated_us } = stored;
    let steps = steps::read(db, number).await?;
    let shortages = shortages(db, number).await?;
    Ok((number, StoredCutList { list: CutList { header, steps, shortages }, created_us, updated_us }))
}

/// The number and the header of a list.
pub(crate) async fn header(
    db: &mut SqliteConnection,
    list_id: &ListId,
) -> Result<(i64, StoredHeader), StoreError> {
    let row = sqlx::query("SELECT * FROM cut_lists WHERE list_id = ?")
        .bind(list_id.as_str())
        .fetch_optional(&mut *db)
        .await
        .map_err(engine)?;
    let row = Cells(row.ok_or_else(|| missing(list_id))?);
    let number = list_number_of(&row)?;
    let serials = serials(&mut *db, number).await?;
    Ok((number, header_of(&row, serials, levels(db, number).await?)?))
}

/// The number and the header of a list without serials and levels.
pub(crate) async fn bare_header(
    db: &mut SqliteConnection,
    list_id: &ListId,
) -> Result<(i64, StoredHeader), StoreError> {
    let row = sqlx::query("SELECT * FROM cut_lists WHERE list_id = ?")
        .bind(list_id.as_str())
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    let row = Cells(row.ok_or_else(|| missing(list_id))?);
    Ok((list_number_of(&row)?, header_of(&row, Vec::new(), Vec::new())?))
}

fn missing(list_id: &ListId) -> StoreError {
    StoreError::NotFound { kind: Kind::CutList, id: list_id.as_str().to_owned() }
}

pub(crate) async fn list(
    store: &SqliteStore,
    filter: &CutListFilter,
    page: &PageRequest,
) -> Result<Page<StoredHeader>, StoreError> {
    let mut tx = store.reader.begin().await.map_err(engine)?;
    let rows = sqlx::query(
        "SELECT * FROM cut_lists WHERE list_number < ?1 AND (?2 IS NULL OR station_id = ?2) \
         AND (?3 IS NULL OR state = ?3) ORDER BY list_number DESC LIMIT ?4",
    )
    .bind(page.after_number()?.unwrap_or(i64::MAX))
    .bind(filter.station_id.as_ref().map(|id| id.as_str()))
    .bind(filter.state.map(Code::code))
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&mut *tx)
    .await
    .map_err(engine)?;
    let mut headers: Vec<(i64, StoredHeader)> = Vec::with_capacity(rows.len());
    for row in rows.into_iter().map(Cells) {
        let number = list_number_of(&row)?;
        let serials = serials(&mut tx, number).await?;
        headers.push((number, header_of(&row, serials, levels(&mut tx, number).await?)?));
    }
    Ok(Page::from_fetched(headers, page.limit, |(number, _)| number.to_string()).map(|(_, header)| header))
}

async fn serials(db: &mut SqliteConnection, number: i64) -> Result<Vec<SerialDigest>, StoreError> {
    let rows = sqlx::query(
        "SELECT serial_id, set_digest, due_date FROM cut_list_serials WHERE list_number = ? ORDER BY place",
    )
    .bind(number)
    .fetch_all(db)
    .await
    .map_err(engine)?;
    each(rows, serial_digest_of)
}

async fn levels(db: &mut SqliteConnection, number: i64) -> Result<Vec<LevelReport>, StoreError> {
    let rows = sqlx::query(
        "SELECT level, value, lower_bound, proven FROM cut_list_levels WHERE list_number = ? ORDER BY place",
    )
    .bind(number)
    .fetch_all(db)
    .await
    .map_err(engine)?;
    each(rows, level_of)
}

async fn shortages(db: &mut SqliteConnection, number: i64) -> Result<Vec<Shortage>, StoreError> {
    let rows = sqlx::query("SELECT * FROM shortages WHERE list_number = ? ORDER BY place")
        .bind(number)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    each(rows, shortage_of)
}
