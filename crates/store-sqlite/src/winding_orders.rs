//! The winder's orders.

use becket_store::{
    Answer, Kind, NewWindingOrder, Page, PageRequest, StoreError, StoredWindingOrder, WindingRelease,
    WriteContext, Written,
};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::errors::engine;
use crate::write::{Write, begin};

/// Columns of a revision with the id of its order.
const REVISIONS: &str = "SELECT o.order_number, o.order_id, r.revision, r.reason, r.digest, r.bytes, r.release_us \
                         FROM winding_order_revisions r JOIN winding_orders o USING (order_number)";

pub(crate) async fn release(
    store: &SqliteStore,
    ctx: &WriteContext,
    order: NewWindingOrder,
    answer: Answer<WindingRelease>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let known = number_of(write.db(), &order.serial_ids).await?;
    let latest = match known {
        Some(number) => Some(latest(write.db(), number).await?),
        None => None,
    };
    if let Some(there) = latest.as_ref() {
        if there.digest == order.digest {
            let release = WindingRelease { order: there.clone(), released: false };
            return write.finish(&release, answer).await;
        }
        if order.reason.is_empty() {
            let (order_id, revision) = (there.order_id.clone(), there.revision);
            return Err(StoreError::WindingReasonMissing { order_id, revision });
        }
    }
    let number = match known {
        Some(number) => number,
        None => create(&mut write, &order.serial_ids).await?,
    };
    let revision = latest.as_ref().map_or(1, |there| there.revision + 1);
    insert(&mut write, number, revision, &order).await?;
    let order = self::latest(write.db(), number).await?;
    write.finish(&WindingRelease { order, released: true }, answer).await
}

async fn create(write: &mut Write<'_>, serial_ids: &[String]) -> Result<i64, StoreError> {
    let number: i64 = sqlx::query_scalar("SELECT COALESCE(MAX(order_number), 0) + 1 FROM winding_orders")
        .fetch_one(write.db())
        .await
        .map_err(engine)?;
    sqlx::query("INSERT INTO winding_orders (order_number, order_id) VALUES (?, ?)")
        .bind(number)
        .bind(format!("W-{number:04}"))
        .execute(write.db())
        .await
        .map_err(engine)?;
    for serial_id in serial_ids {
        require_job(write.db(), serial_id).await?;
        sqlx::query("INSERT INTO winding_order_serials (serial_id, order_number) VALUES (?, ?)")
            .bind(serial_id)
            .bind(number)
            .execute(write.db())
            .await
            .map_err(engine)?;
    }
    Ok(number)
}

/// A serial without a job is told as such and not as a broken reference of the database.
async fn require_job(db: &mut SqliteConnection, serial_id: &str) -> Result<(), StoreError> {
    let there: Option<i64> = sqlx::query_scalar("SELECT 1 FROM jobs WHERE serial_id = ?")
        .bind(serial_id)
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    there.map(|_| ()).ok_or_else(|| StoreError::NotFound { kind: Kind::Job, id: serial_id.to_owned() })
}

async fn insert(
    write: &mut Write<'_>,
    number: i64,
    revision: i64,
    order: &NewWindingOrder,
) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    sqlx::query(
        "INSERT INTO winding_order_revisions (order_number, revision, reason, digest, bytes, release_us) \
         VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(number)
    .bind(revision)
    .bind(&order.reason)
    .bind(&order.digest)
    .bind(&order.document.bytes)
    .bind(now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    let subject = format!("{}/W-{number:04}", Kind::WindingOrder);
    // The content of earlier revisions stands in their own entries.
    let before = (revision > 1).then(|| serde_json::json!({ "revision": revision - 1 }).to_string());
    let head = serde_json::json!({ "revision": revision, "reason": order.reason });
    write.journal(subject, before, Some(with_head(head, &order.document.json))).await
}

/// The JSON of an order with its revision and reason.
fn with_head(mut head: serde_json::Value, json: &str) -> String {
    if let (Some(fields), Ok(content)) = (head.as_object_mut(), serde_json::from_str(json)) {
        fields.insert("order".to_owned(), content);
    }
    head.to_string()
}

/// The order of exactly these serials, if there is one.
async fn number_of(db: &mut SqliteConnection, serial_ids: &[String]) -> Result<Option<i64>, StoreError> {
    let mut found: Vec<(&String, Option<(i64, String)>)> = Vec::new();
    for serial_id in serial_ids {
        let order: Option<(i64, String)> = sqlx::query_as(
            "SELECT order_number, order_id FROM winding_order_serials JOIN winding_orders USING (order_number) \
             WHERE serial_id = ?",
        )
        .bind(serial_id)
        .fetch_optional(&mut *db)
        .await
        .map_err(engine)?;
        found.push((serial_id, order));
    }
    let ordered = found.iter().find_map(|(serial_id, order)| order.as_ref().map(|order| (*serial_id, order)));
    let Some((serial_id, (number, order_id))) = ordered else { return Ok(None) };
    let on_it: i64 = sqlx::query_scalar("SELECT COUNT(*) FROM winding_order_serials WHERE order_number = ?")
        .bind(number)
        .fetch_one(db)
        .await
        .map_err(engine)?;
    let all = found.iter().all(|(_, order)| order.as_ref().is_some_and(|order| order.0 == *number));
    if all && usize::try_from(on_it) == Ok(serial_ids.len()) {
        return Ok(Some(*number));
    }
    Err(StoreError::WindingOrdered { serial_id: serial_id.clone(), order_id: order_id.clone() })
}

pub(crate) async fn of_serials(
    store: &SqliteStore,
    serial_ids: &[String],
) -> Result<Option<StoredWindingOrder>, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    match number_of(&mut db, serial_ids).await? {
        Some(number) => latest(&mut db, number).await.map(Some),
        None => Ok(None),
    }
}

async fn latest(db: &mut SqliteConnection, number: i64) -> Result<StoredWindingOrder, StoreError> {
    let query = format!("{REVISIONS} WHERE order_number = ? ORDER BY revision DESC LIMIT 1");
    let row = sqlx::query(sqlx::AssertSqlSafe(query)).bind(number).fetch_one(db).await.map_err(engine)?;
    order_of(&row)
}

pub(crate) async fn one(
    store: &SqliteStore,
    order_id: &str,
    revision: Option<i64>,
) -> Result<StoredWindingOrder, StoreError> {
    let query = format!(
        "{REVISIONS} WHERE order_id = ?1 AND (?2 IS NULL OR revision = ?2) ORDER BY revision DESC LIMIT 1"
    );
    let row = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(order_id)
        .bind(revision)
        .fetch_optional(&store.reader)
        .await
        .map_err(engine)?;
    let id = revision.map_or_else(|| order_id.to_owned(), |revision| format!("{order_id}@{revision}"));
    order_of(&row.ok_or(StoreError::NotFound { kind: Kind::WindingOrder, id })?)
}

pub(crate) async fn list(
    store: &SqliteStore,
    serial_id: Option<&str>,
    page: &PageRequest,
) -> Result<Page<StoredWindingOrder>, StoreError> {
    let after =
        page.after.as_deref().map(|cursor| cursor.parse::<i64>().map_err(|_| StoreError::CursorInvalid));
    let query = format!(
        "{REVISIONS} WHERE order_number > ?1 \
         AND revision = (SELECT MAX(revision) FROM winding_order_revisions l WHERE l.order_number = o.order_number) \
         AND (?2 IS NULL OR EXISTS (SELECT 1 FROM winding_order_serials s \
         WHERE s.order_number = o.order_number AND s.serial_id = ?2)) \
         ORDER BY order_number LIMIT ?3"
    );
    let rows = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(after.transpose()?.unwrap_or(0))
        .bind(serial_id)
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&store.reader)
        .await
        .map_err(engine)?;
    let orders = rows.iter().map(|row| Ok((row.try_get("order_number").map_err(engine)?, order_of(row)?)));
    let orders = orders.collect::<Result<Vec<(i64, _)>, StoreError>>()?;
    let page = Page::from_fetched(orders, page.limit, |(number, _)| number.to_string());
    Ok(Page { items: page.items.into_iter().map(|(_, order)| order).collect(), next: page.next })
}

fn order_of(row: &SqliteRow) -> Result<StoredWindingOrder, StoreError> {
    Ok(StoredWindingOrder {
        order_id: row.try_get("order_id").map_err(engine)?,
        revision: row.try_get("revision").map_err(engine)?,
        reason: row.try_get("reason").map_err(engine)?,
        digest: row.try_get("digest").map_err(engine)?,
        bytes: row.try_get("bytes").map_err(engine)?,
        release_us: row.try_get("release_us").map_err(engine)?,
    })
}
