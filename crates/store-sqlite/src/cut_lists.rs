//! Cut lists: making, reading, listing.

use becket_floor::{
    CoilGuard, CutList, CutListHeader, CutListState, ListId, NewCutList, PieceId, PieceOrder, PlanFigures,
    PlanPolicy, SerialDigest, SerialId, Shortage, StationId, Unison,
};
use becket_store::{
    Answer, CutListFilter, Kind, Page, PageRequest, StoreError, StoredCutList, StoredHeader, WriteContext,
    Written, list_json,
};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::codes::Code;
use crate::coils::{um, wire_id};
use crate::errors::{corrupt, engine, unsigned};
use crate::floor_commit::{check_growth, check_guards, insert_pending};
use crate::write::{Write, begin};
use crate::{stations, steps};

pub(crate) async fn create(
    store: &SqliteStore,
    ctx: &WriteContext,
    list: NewCutList,
    guards: Vec<CoilGuard>,
    answer: Answer<StoredCutList>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    stations::read(write.db(), &list.station_id).await?;
    check_guards(write.db(), &guards, None).await?;
    let last: i64 = sqlx::query_scalar("SELECT COALESCE(MAX(list_number), 0) FROM cut_lists")
        .fetch_one(write.db())
        .await
        .map_err(engine)?;
    // Lists are never removed, so numbers are never given twice.
    let number = unsigned(last)?.checked_add(1).ok_or_else(|| corrupt("no list number is left"))?;
    let named = list.clone().named(ListId::numbered(number));
    insert_header(&mut write, number.into(), &named.header).await?;
    write_serials(write.db(), number.into(), &named.header.serials).await?;
    write_shortages(write.db(), number.into(), &named.shortages).await?;
    insert_pending(write.db(), number.into(), &named.steps).await?;
    check_growth(write.db(), number.into(), &[]).await?;
    write.journal(subject(&named.header.list_id), None, Some(list_json(&named.header, &list))).await?;
    let stored = StoredCutList { list: named, created_us: ctx.now_us, updated_us: ctx.now_us };
    write.finish(&stored, answer).await
}

async fn insert_header(write: &mut Write<'_>, number: i64, header: &CutListHeader) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    sqlx::query(
        "INSERT INTO cut_lists (list_number, list_id, station_id, state, unison_rule, end_trim_um, coil_margin_um, \
         piece_order, wound_cores, pieces, cut_um, scrap_um, remnant_um, coils_used, coils_opened, reel_changes, \
         unisons_split, pieces_done, pieces_pending, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, ?, ?)",
    )
    .bind(number)
    .bind(header.list_id.as_str())
    .bind(header.station_id.as_str())
    .bind(header.state.code())
    .bind(header.policy.unison_rule.code())
    .bind(header.policy.end_trim.get())
    .bind(header.policy.coil_margin.get())
    .bind(header.policy.piece_order.code())
    .bind(header.policy.wound_cores)
    .bind(now_us)
    .bind(now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    update_header(write, number, header).await
}

/// Stores what changes of a header in the life of a list.
pub(crate) async fn update_header(
    write: &mut Write<'_>,
    number: i64,
    header: &CutListHeader,
) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    let figures = header.figures;
    sqlx::query(
        "UPDATE cut_lists SET state = ?, pieces = ?, cut_um = ?, scrap_um = ?, remnant_um = ?, coils_used = ?, \
         coils_opened = ?, reel_changes = ?, unisons_split = ?, pieces_done = ?, pieces_pending = ?, start_us = ?, \
         end_us = ?, version = ?, updated_us = ? WHERE list_number = ?",
    )
    .bind(header.state.code())
    .bind(figures.pieces)
    .bind(figures.cut.get())
    .bind(figures.scrap.get())
    .bind(figures.remnant.get())
    .bind(figures.coils_used)
    .bind(figures.coils_opened)
    .bind(figures.reel_changes)
    .bind(figures.unisons_split)
    .bind(header.pieces_done)
    .bind(header.pieces_pending)
    .bind(header.start_us)
    .bind(header.end_us)
    .bind(header.version)
    .bind(now_us)
    .bind(number)
    .execute(write.db())
    .await
    .map_err(engine)?;
    Ok(())
}

pub(crate) async fn write_serials(
    db: &mut SqliteConnection,
    number: i64,
    serials: &[SerialDigest],
) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM cut_list_serials WHERE list_number = ?")
        .bind(number)
        .execute(&mut *db)
        .await
        .map_err(engine)?;
    for (place, serial) in (0_i64..).zip(serials) {
        sqlx::query(
            "INSERT INTO cut_list_serials (list_number, place, serial_id, set_digest, due_date) VALUES (?, ?, ?, ?, ?)",
        )
        .bind(number)
        .bind(place)
        .bind(serial.serial_id.as_str())
        .bind(&serial.set_digest)
        .bind(&serial.due_date)
        .execute(&mut *db)
        .await
        .map_err(engine)?;
    }
    Ok(())
}

pub(crate) async fn write_shortages(
    db: &mut SqliteConnection,
    number: i64,
    shortages: &[Shortage],
) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM shortages WHERE list_number = ?")
        .bind(number)
        .execute(&mut *db)
        .await
        .map_err(engine)?;
    for (place, shortage) in (0_i64..).zip(shortages) {
        let pieces: Vec<&str> = shortage.piece_ids.iter().map(|id| id.as_str()).collect();
        sqlx::query(
            "INSERT INTO shortages (list_number, place, wire_id, serial_id, piece_ids, length_um) \
             VALUES (?, ?, ?, ?, ?, ?)",
        )
        .bind(number)
        .bind(place)
        .bind(shortage.wire_id.as_str())
        .bind(shortage.serial_id.as_str())
        .bind(serde_json::to_string(&pieces).map_err(corrupt)?)
        .bind(shortage.length.get())
        .execute(&mut *db)
        .await
        .map_err(engine)?;
    }
    Ok(())
}

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
    let row =
        row.ok_or_else(|| StoreError::NotFound { kind: Kind::CutList, id: list_id.as_str().to_owned() })?;
    let number = row.try_get("list_number").map_err(engine)?;
    Ok((number, header_of(&row, serials(db, number).await?)?))
}

pub(crate) async fn list(
    store: &SqliteStore,
    filter: &CutListFilter,
    page: &PageRequest,
) -> Result<Page<StoredHeader>, StoreError> {
    let before = match &page.after {
        None => i64::MAX,
        Some(cursor) => cursor.parse::<i64>().map_err(|_| StoreError::CursorInvalid)?,
    };
    let mut tx = store.reader.begin().await.map_err(engine)?;
    let rows = sqlx::query(
        "SELECT * FROM cut_lists WHERE list_number < ?1 AND (?2 IS NULL OR station_id = ?2) \
         AND (?3 IS NULL OR state = ?3) ORDER BY list_number DESC LIMIT ?4",
    )
    .bind(before)
    .bind(filter.station_id.as_ref().map(|id| id.as_str()))
    .bind(filter.state.map(Code::code))
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&mut *tx)
    .await
    .map_err(engine)?;
    let mut headers: Vec<(i64, StoredHeader)> = Vec::with_capacity(rows.len());
    for row in &rows {
        let number = row.try_get("list_number").map_err(engine)?;
        headers.push((number, header_of(row, serials(&mut tx, number).await?)?));
    }
    let page = Page::from_fetched(headers, page.limit, |(number, _)| number.to_string());
    Ok(Page { items: page.items.into_iter().map(|(_, header)| header).collect(), next: page.next })
}

async fn serials(db: &mut SqliteConnection, number: i64) -> Result<Vec<SerialDigest>, StoreError> {
    let rows: Vec<(String, String, String)> = sqlx::query_as(
        "SELECT serial_id, set_digest, due_date FROM cut_list_serials WHERE list_number = ? ORDER BY place",
    )
    .bind(number)
    .fetch_all(db)
    .await
    .map_err(engine)?;
    let serial = |(serial, set_digest, due_date): (String, String, String)| {
        Ok(SerialDigest { serial_id: SerialId::new(serial).map_err(corrupt)?, set_digest, due_date })
    };
    rows.into_iter().map(serial).collect()
}

async fn shortages(db: &mut SqliteConnection, number: i64) -> Result<Vec<Shortage>, StoreError> {
    let rows = sqlx::query("SELECT * FROM shortages WHERE list_number = ? ORDER BY place")
        .bind(number)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    let shortage = |row: &SqliteRow| {
        let pieces: String = row.try_get("piece_ids").map_err(engine)?;
        let pieces: Vec<String> = serde_json::from_str(&pieces).map_err(corrupt)?;
        Ok(Shortage {
            wire_id: wire_id(row)?,
            serial_id: SerialId::new(row.try_get::<String, _>("serial_id").map_err(engine)?)
                .map_err(corrupt)?,
            piece_ids: pieces.into_iter().map(PieceId::new).collect::<Result<_, _>>().map_err(corrupt)?,
            length: um(row, "length_um")?,
        })
    };
    rows.iter().map(shortage).collect()
}

fn header_of(row: &SqliteRow, serials: Vec<SerialDigest>) -> Result<StoredHeader, StoreError> {
    let text = |column: &str| row.try_get::<String, _>(column).map_err(engine);
    let count = |column: &str| unsigned(row.try_get(column).map_err(engine)?);
    let header = CutListHeader {
        list_id: ListId::new(text("list_id")?).map_err(corrupt)?,
        station_id: StationId::new(text("station_id")?).map_err(corrupt)?,
        state: CutListState::of(&text("state")?)?,
        serials,
        policy: PlanPolicy {
            unison_rule: Unison::of(&text("unison_rule")?)?,
            end_trim: um(row, "end_trim_um")?,
            coil_margin: um(row, "coil_margin_um")?,
            piece_order: PieceOrder::of(&text("piece_order")?)?,
            wound_cores: row.try_get("wound_cores").map_err(engine)?,
        },
        figures: PlanFigures {
            pieces: count("pieces")?,
            cut: um(row, "cut_um")?,
            scrap: um(row, "scrap_um")?,
            remnant: um(row, "remnant_um")?,
            coils_used: count("coils_used")?,
            coils_opened: count("coils_opened")?,
            reel_changes: count("reel_changes")?,
            unisons_split: count("unisons_split")?,
        },
        pieces_done: count("pieces_done")?,
        pieces_pending: count("pieces_pending")?,
        version: row.try_get("version").map_err(engine)?,
        start_us: row.try_get("start_us").map_err(engine)?,
        end_us: row.try_get("end_us").map_err(engine)?,
    };
    let created_us = row.try_get("created_us").map_err(engine)?;
    Ok(StoredHeader { header, created_us, updated_us: row.try_get("updated_us").map_err(engine)? })
}

pub(crate) fn subject(list_id: &ListId) -> String {
    format!("{}/{list_id}", Kind::CutList)
}
