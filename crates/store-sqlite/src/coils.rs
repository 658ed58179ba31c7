//! Coils and stock rules.

use becket_floor::{Coil, CoilId, CoilState, FloorCoil, ListId, LotId, MountPlace, StationId, WireId};
use becket_store::{
    Answer, CoilChange, CoilChanged, CoilFilter, Kind, Page, PageRequest, StockRule, StoreError, StoredCoil,
    WriteContext, Written, coil_json, rule_json,
};
use becket_units::Um;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::codes::Code;
use crate::errors::{corrupt, engine, unsigned};
use crate::write::{Write, begin};

pub(crate) async fn receive(
    store: &SqliteStore,
    ctx: &WriteContext,
    coils: Vec<Coil>,
    answer: Answer<Vec<StoredCoil>>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let mut clashes = Vec::new();
    let mut stored = Vec::with_capacity(coils.len());
    for coil in coils {
        if insert(&mut write, &coil).await? {
            let (created_us, updated_us) = (ctx.now_us, ctx.now_us);
            stored.push(StoredCoil { coil, reserved: Um::ZERO, version: 1, created_us, updated_us });
        } else {
            clashes.push(coil.coil_id.as_str().to_owned());
        }
    }
    if !clashes.is_empty() {
        return Err(StoreError::AlreadyExists { kind: Kind::Coil, ids: clashes });
    }
    write.finish(&stored, answer).await
}

async fn insert(write: &mut Write<'_>, coil: &Coil) -> Result<bool, StoreError> {
    let now_us = write.ctx.now_us;
    let inserted = sqlx::query(
        "INSERT INTO coils (coil_id, wire_id, lot_id, received_date, state, received_um, remaining_um, cut_um, \
         scrapped_um, adjusted_um, linear_density_g_m, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(coil.coil_id.as_str())
    .bind(coil.wire_id.as_str())
    .bind(coil.lot_id.as_str())
    .bind(&coil.received_date)
    .bind(coil.state.code())
    .bind(coil.received.get())
    .bind(coil.remaining.get())
    .bind(coil.cut.get())
    .bind(coil.scrapped.get())
    .bind(coil.adjusted.get())
    .bind(coil.linear_density_g_m)
    .bind(now_us)
    .bind(now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    if inserted.rows_affected() == 0 {
        return Ok(false);
    }
    write.journal(subject(&coil.coil_id), None, Some(coil_json(coil, ""))).await?;
    Ok(true)
}

pub(crate) async fn change(
    store: &SqliteStore,
    ctx: &WriteContext,
    change: CoilChange,
    answer: Answer<CoilChanged>,
) -> Result<Written, StoreError> {
    let CoilChange { coil_id, expected_version, booking, state, refuse_if_named, note } = change;
    let mut write = begin!(store, ctx);
    let before = read(write.db(), &coil_id).await?;
    if before.version != expected_version {
        let (id, current) = (coil_id.as_str().to_owned(), before.version);
        return Err(StoreError::VersionStale { kind: Kind::Coil, id, current });
    }
    if refuse_if_named {
        let list_ids = naming(write.db(), &coil_id).await?;
        if !list_ids.is_empty() {
            return Err(StoreError::CoilReserved { coil_id, list_ids });
        }
    }
    let list_ids = counting_on(write.db(), &coil_id).await?;
    let mut coil = before.coil.clone();
    if let Some(booking) = &booking {
        coil.apply(booking).map_err(|e| StoreError::ChangeInconsistent { reason: e.to_string() })?;
    }
    coil.state = state;
    update(&mut write, &coil).await?;
    if state == CoilState::Scrapped {
        sqlx::query("DELETE FROM mounts WHERE coil_id = ?")
            .bind(coil_id.as_str())
            .execute(write.db())
            .await
            .map_err(engine)?;
    }
    write
        .journal(subject(&coil_id), Some(coil_json(&before.coil, "")), Some(coil_json(&coil, &note)))
        .await?;
    let changed = CoilChanged { coil: read(write.db(), &coil_id).await?, list_ids };
    write.finish(&changed, answer).await
}

/// Stores balance and state of a coil, and raises its version.
pub(crate) async fn update(write: &mut Write<'_>, coil: &Coil) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    sqlx::query(
        "UPDATE coils SET state = ?, remaining_um = ?, cut_um = ?, scrapped_um = ?, adjusted_um = ?, \
         version = version + 1, updated_us = ? WHERE coil_id = ?",
    )
    .bind(coil.state.code())
    .bind(coil.remaining.get())
    .bind(coil.cut.get())
    .bind(coil.scrapped.get())
    .bind(coil.adjusted.get())
    .bind(now_us)
    .bind(coil.coil_id.as_str())
    .execute(write.db())
    .await
    .map_err(engine)?;
    Ok(())
}

async fn counting_on(db: &mut SqliteConnection, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
    let ids: Vec<String> = sqlx::query_scalar(
        "SELECT list_id FROM cut_lists WHERE list_number IN (SELECT list_number FROM cut_steps \
         WHERE coil_id = ? AND state = 'pending' AND kind IN ('mount', 'cut')) ORDER BY list_number",
    )
    .bind(coil_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    ids.into_iter().map(|id| ListId::new(id).map_err(corrupt)).collect()
}

/// Lists with a pending step of any kind on the coil. A list that has only to take it off reserves nothing of it and would still
/// be left with a step that cannot be done.
async fn naming(db: &mut SqliteConnection, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
    let ids: Vec<String> = sqlx::query_scalar(
        "SELECT list_id FROM cut_lists WHERE list_number IN (SELECT list_number FROM cut_steps \
         WHERE coil_id = ? AND state = 'pending') ORDER BY list_number",
    )
    .bind(coil_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    ids.into_iter().map(|id| ListId::new(id).map_err(corrupt)).collect()
}

// What a coil is with what is reserved on it. The conditions on steps are those of the index "pending_by_coil".
macro_rules! stored_coil_sql {
    ($rest:literal) => {
        concat!(
            "SELECT c.*, COALESCE((SELECT SUM(s.length_um) FROM cut_steps s WHERE s.coil_id = c.coil_id \
             AND s.state = 'pending' AND s.kind IN ('mount', 'cut')), 0) AS reserved_um FROM coils c ",
            $rest
        )
    };
}

pub(crate) async fn one(store: &SqliteStore, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, coil_id).await
}

pub(crate) async fn read(db: &mut SqliteConnection, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
    let row = sqlx::query(stored_coil_sql!("WHERE c.coil_id = ?"))
        .bind(coil_id.as_str())
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    let row =
        row.ok_or_else(|| StoreError::NotFound { kind: Kind::Coil, id: coil_id.as_str().to_owned() })?;
    stored_of(&row)
}

pub(crate) async fn list(
    store: &SqliteStore,
    filter: &CoilFilter,
    page: &PageRequest,
) -> Result<Page<StoredCoil>, StoreError> {
    let rows = sqlx::query(stored_coil_sql!(
        "WHERE c.coil_id > ?1 AND (?2 IS NULL OR c.wire_id = ?2) AND (?3 IS NULL OR c.lot_id = ?3) \
         AND (?4 IS NULL OR c.state = ?4) ORDER BY c.coil_id LIMIT ?5"
    ))
    .bind(page.after.as_deref().unwrap_or_default())
    .bind(filter.wire_id.as_ref().map(|id| id.as_str()))
    .bind(filter.lot_id.as_ref().map(|id| id.as_str()))
    .bind(filter.state.map(Code::code))
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let coils = rows.iter().map(stored_of).collect::<Result<_, _>>()?;
    Ok(Page::from_fetched(coils, page.limit, |coil: &StoredCoil| coil.coil.coil_id.as_str().to_owned()))
}

// A coil as the floor sees it from list ?2, or from none. `IS NOT NULL` holds for every step, so with no list all is by others.
macro_rules! floor_coil_sql {
    ($rest:literal) => {
        concat!(
            "SELECT c.*, COALESCE((SELECT SUM(s.length_um) FROM cut_steps s WHERE s.coil_id = c.coil_id \
             AND s.state = 'pending' AND s.kind IN ('mount', 'cut') \
             AND s.list_number IS NOT (SELECT list_number FROM cut_lists WHERE list_id = ?2)), 0) AS reserved_um, \
             COALESCE(r.smallest_remnant_um, 0) AS smallest_remnant_um, m.station_id, m.reel_position \
             FROM coils c LEFT JOIN stock_rules r ON r.wire_id = c.wire_id LEFT JOIN mounts m ON m.coil_id = c.coil_id ",
            $rest
        )
    };
}

pub(crate) async fn stock(
    store: &SqliteStore,
    wire_ids: &[WireId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let wire_ids: Vec<&str> = wire_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(floor_coil_sql!(
        "WHERE m.coil_id IS NOT NULL OR (c.wire_id IN (SELECT value FROM json_each(?1)) \
         AND c.state IN ('sealed', 'opened', 'set_aside')) ORDER BY c.received_date, c.coil_id"
    ))
    .bind(serde_json::to_string(&wire_ids).map_err(corrupt)?)
    .bind(seen_from.map(|id| id.as_str()))
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    rows.iter().map(floor_coil_of).collect()
}

pub(crate) async fn floor_coils(
    store: &SqliteStore,
    coil_ids: &[CoilId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read_floor_coils(&mut db, coil_ids, seen_from).await
}

pub(crate) async fn read_floor_coils(
    db: &mut SqliteConnection,
    coil_ids: &[CoilId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let coil_ids: Vec<&str> = coil_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(floor_coil_sql!(
        "WHERE c.coil_id IN (SELECT value FROM json_each(?1)) ORDER BY c.coil_id"
    ))
    .bind(serde_json::to_string(&coil_ids).map_err(corrupt)?)
    .bind(seen_from.map(|id| id.as_str()))
    .fetch_all(db)
    .await
    .map_err(engine)?;
    rows.iter().map(floor_coil_of).collect()
}

pub(crate) async fn set_rule(
    store: &SqliteStore,
    ctx: &WriteContext,
    rule: StockRule,
    answer: Answer<StockRule>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before = sqlx::query("SELECT * FROM stock_rules WHERE wire_id = ?")
        .bind(rule.wire_id.as_str())
        .fetch_optional(write.db())
        .await
        .map_err(engine)?;
    let before = before.as_ref().map(rule_of).transpose()?;
    sqlx::query(
        "INSERT INTO stock_rules (wire_id, smallest_remnant_um) VALUES (?, ?) \
         ON CONFLICT (wire_id) DO UPDATE SET smallest_remnant_um = excluded.smallest_remnant_um",
    )
    .bind(rule.wire_id.as_str())
    .bind(rule.smallest_remnant.get())
    .execute(write.db())
    .await
    .map_err(engine)?;
    let subject = format!("{}/{}", Kind::StockRule, rule.wire_id);
    write.journal(subject, before.as_ref().map(rule_json), Some(rule_json(&rule))).await?;
    write.finish(&rule, answer).await
}

pub(crate) async fn list_rules(
    store: &SqliteStore,
    page: &PageRequest,
) -> Result<Page<StockRule>, StoreError> {
    let rows = sqlx::query("SELECT * FROM stock_rules WHERE wire_id > ? ORDER BY wire_id LIMIT ?")
        .bind(page.after.as_deref().unwrap_or_default())
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&store.reader)
        .await
        .map_err(engine)?;
    let rules = rows.iter().map(rule_of).collect::<Result<_, _>>()?;
    Ok(Page::from_fetched(rules, page.limit, |rule: &StockRule| rule.wire_id.as_str().to_owned()))
}

fn rule_of(row: &SqliteRow) -> Result<StockRule, StoreError> {
    Ok(StockRule { wire_id: wire_id(row)?, smallest_remnant: um(row, "smallest_remnant_um")? })
}

fn stored_of(row: &SqliteRow) -> Result<StoredCoil, StoreError> {
    Ok(StoredCoil {
        coil: coil_of(row)?,
        reserved: um(row, "reserved_um")?,
        version: row.try_get("version").map_err(engine)?,
        created_us: row.try_get("created_us").map_err(engine)?,
        updated_us: row.try_get("updated_us").map_err(engine)?,
    })
}

fn floor_coil_of(row: &SqliteRow) -> Result<FloorCoil, StoreError> {
    let station: Option<String> = row.try_get("station_id").map_err(engine)?;
    let position: Option<i64> = row.try_get("reel_position").map_err(engine)?;
    let mounted = match (station, position) {
        (Some(station), Some(position)) => Some(MountPlace {
            station_id: StationId::new(station).map_err(corrupt)?,
            reel_position: unsigned(position)?,
        }),
        _ => None,
    };
    Ok(FloorCoil {
        coil: coil_of(row)?,
        version: row.try_get("version").map_err(engine)?,
        reserved_by_others: um(row, "reserved_um")?,
        smallest_remnant: um(row, "smallest_remnant_um")?,
        mounted,
    })
}

fn coil_of(row: &SqliteRow) -> Result<Coil, StoreError> {
    Ok(Coil {
        coil_id: coil_id(row)?,
        wire_id: wire_id(row)?,
        lot_id: lot_id(row)?,
        received_date: row.try_get("received_date").map_err(engine)?,
        state: CoilState::of(row.try_get("state").map_err(engine)?)?,
        received: um(row, "received_um")?,
        remaining: um(row, "remaining_um")?,
        cut: um(row, "cut_um")?,
        scrapped: um(row, "scrapped_um")?,
        adjusted: um(row, "adjusted_um")?,
        linear_density_g_m: row.try_get("linear_density_g_m").map_err(engine)?,
    })
}

pub(crate) fn um(row: &SqliteRow, column: &str) -> Result<Um, StoreError> {
    row.try_get(column).map(Um::new).map_err(engine)
}

pub(crate) fn coil_id(row: &SqliteRow) -> Result<CoilId, StoreError> {
    CoilId::new(row.try_get::<String, _>("coil_id").map_err(engine)?).map_err(corrupt)
}

pub(crate) fn wire_id(row: &SqliteRow) -> Result<WireId, StoreError> {
    WireId::new(row.try_get::<String, _>("wire_id").map_err(engine)?).map_err(corrupt)
}

pub(crate) fn lot_id(row: &SqliteRow) -> Result<LotId, StoreError> {
    LotId::new(row.try_get::<String, _>("lot_id").map_err(engine)?).map_err(corrupt)
}

fn subject(coil_id: &CoilId) -> String {
    format!("{}/{coil_id}", Kind::Coil)
}
