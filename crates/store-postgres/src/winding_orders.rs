//! The winder's orders.

use async_trait::async_trait;
use becket_store::tables::{Columns, OrderedSerial, WindingTables, exact_order, winding_order_of};
use becket_store::{Kind, NewWindingOrder, Page, PageRequest, StoreError, StoredWindingOrder};
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::{Turn, Write};

/// Columns of a revision with the id of its order.
const REVISIONS: &str = "SELECT o.order_number, o.order_id, r.revision, r.reason, r.digest, r.bytes, r.release_us \
                         FROM winding_order_revisions r JOIN winding_orders o USING (order_number)";

#[async_trait]
impl WindingTables for Write<'_> {
    async fn lock_winding_orders(&mut self) -> Result<(), StoreError> {
        self.take_turns(Turn::WindingOrders).await
    }

    async fn ordered_serials(&mut self, serial_ids: &[String]) -> Result<Vec<OrderedSerial>, StoreError> {
        ordered_serials(self.db(), serial_ids).await
    }

    async fn serials_with_job(&mut self, serial_ids: &[String]) -> Result<Vec<String>, StoreError> {
        sqlx::query_scalar("SELECT serial_id FROM jobs WHERE serial_id = ANY($1)")
            .bind(serial_ids)
            .fetch_all(self.db())
            .await
            .map_err(engine)
    }

    async fn latest_winding_order(&mut self, number: i64) -> Result<StoredWindingOrder, StoreError> {
        latest(self.db(), number).await
    }

    async fn insert_winding_order(&mut self, serial_ids: &[String]) -> Result<i64, StoreError> {
        let number: i64 = sqlx::query_scalar("SELECT COALESCE(MAX(order_number), 0) + 1 FROM winding_orders")
            .fetch_one(self.db())
            .await
            .map_err(engine)?;
        sqlx::query("INSERT INTO winding_orders (order_number, order_id) VALUES ($1, $2)")
            .bind(number)
            .bind(format!("W-{number:04}"))
            .execute(self.db())
            .await
            .map_err(engine)?;
        for serial_id in serial_ids {
            sqlx::query("INSERT INTO winding_order_serials (serial_id, order_number) VALUES ($1, $2)")
                .bind(serial_id)
                .bind(number)
                .execute(self.db())
                .await
                .map_err(engine)?;
        }
        Ok(number)
    }

    async fn insert_winding_revision(
        &mut self,
        number: i64,
        revision: i64,
        order: &NewWindingOrder,
    ) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        sqlx::query(
            "INSERT INTO winding_order_revisions (order_number, revision, reason, digest, bytes, release_us) \
             VALUES ($1, $2, $3, $4, $5, $6)",
        )
        .bind(number)
        .bind(revision)
        .bind(&order.reason)
        .bind(&order.digest)
        .bind(&order.document.bytes)
        .bind(now_us)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(())
    }
}

async fn ordered_serials(
    db: &mut PgConnection,
    serial_ids: &[String],
) -> Result<Vec<OrderedSerial>, StoreError> {
    let rows = sqlx::query(
        "SELECT s.serial_id, s.order_number, o.order_id, \
         (SELECT COUNT(*) FROM winding_order_serials c WHERE c.order_number = s.order_number) AS serials_on_it \
         FROM winding_order_serials s JOIN winding_orders o USING (order_number) \
         WHERE s.serial_id = ANY($1)",
    )
    .bind(serial_ids)
    .fetch_all(db)
    .await
    .map_err(engine)?;
    each(rows, |row| {
        Ok(OrderedSerial {
            serial_id: row.text("serial_id")?,
            order_number: row.integer("order_number")?,
            order_id: row.text("order_id")?,
            serials_on_it: row.integer("serials_on_it")?,
        })
    })
}

pub(crate) async fn of_serials(
    store: &PostgresStore,
    serial_ids: &[String],
) -> Result<Option<StoredWindingOrder>, StoreError> {
    let mut tx = store.snapshot().await?;
    let ordered = ordered_serials(&mut tx, serial_ids).await?;
    match exact_order(serial_ids, &ordered)? {
        Some(number) => latest(&mut tx, number).await.map(Some),
        None => Ok(None),
    }
}

async fn latest(db: &mut PgConnection, number: i64) -> Result<StoredWindingOrder, StoreError> {
    let query = format!("{REVISIONS} WHERE order_number = $1 ORDER BY revision DESC LIMIT 1");
    let row = sqlx::query(sqlx::AssertSqlSafe(query)).bind(number).fetch_one(db).await.map_err(engine)?;
    winding_order_of(&Cells(row))
}

pub(crate) async fn one(
    store: &PostgresStore,
    order_id: &str,
    revision: Option<i64>,
) -> Result<StoredWindingOrder, StoreError> {
    let query = format!(
        "{REVISIONS} WHERE order_id = $1 AND ($2 IS NULL OR revision = $2) ORDER BY revision DESC LIMIT 1"
    );
    let row = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(order_id)
        .bind(revision)
        .fetch_optional(&store.reader)
        .await
        .map_err(engine)?;
    let id = revision.map_or_else(|| order_id.to_owned(), |revision| format!("{order_id}@{revision}"));
    winding_order_of(&Cells(row.ok_or(StoreError::NotFound { kind: Kind::WindingOrder, id })?))
}

pub(crate) async fn list(
    store: &PostgresStore,
    serial_id: Option<&str>,
    page: &PageRequest,
) -> Result<Page<StoredWindingOrder>, StoreError> {
    let query = format!(
        "{REVISIONS} WHERE order_number > $1 \
         AND revision = (SELECT MAX(revision) FROM winding_order_revisions l WHERE l.order_number = o.order_number) \
         AND ($2 IS NULL OR EXISTS (SELECT 1 FROM winding_order_serials s \
         WHERE s.order_number = o.order_number AND s.serial_id = $2)) \
         ORDER BY order_number LIMIT $3"
    );
    let rows = sqlx::query(sqlx::AssertSqlSafe(query))
        .bind(page.after_number()?.unwrap_or(0))
        .bind(serial_id)
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&store.reader)
        .await
        .map_err(engine)?;
    let orders = each(rows, |row| Ok((row.integer("order_number")?, winding_order_of(row)?)))?;
    Ok(Page::from_fetched(orders, page.limit, |(number, _)| number.to_string()).map(|(_, order)| order))
}
