//! The winder's orders.

use async_trait::async_trait;

use super::Writing;
use super::effects::strings as effects;
use crate::error::{Kind, StoreError};
use crate::winding_orders::{NewWindingOrder, StoredWindingOrder, WindingRelease};

/// A serial that is on an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderedSerial {
    /// Serial.
    pub serial_id: String,
    /// Number of the order.
    pub order_number: i64,
    /// Id of the order.
    pub order_id: String,
    /// Serials that are on the order.
    pub serials_on_it: i64,
}

/// The steps of releasing orders.
#[async_trait]
pub trait WindingTables: Writing {
    /// Keeps others from releasing orders until the write has ended. Releases are rare, so one at a time is enough.
    async fn lock_winding_orders(&mut self) -> Result<(), StoreError> {
        Ok(())
    }

    /// Those of the serials that are on orders.
    async fn ordered_serials(&mut self, serial_ids: &[String]) -> Result<Vec<OrderedSerial>, StoreError>;

    /// Those of the serials that have a job.
    async fn serials_with_job(&mut self, serial_ids: &[String]) -> Result<Vec<String>, StoreError>;

    /// The latest revision of an order that is there.
    async fn latest_winding_order(&mut self, number: i64) -> Result<StoredWindingOrder, StoreError>;

    /// Makes an order of these serials, without a revision yet, and returns its number.
    async fn insert_winding_order(&mut self, serial_ids: &[String]) -> Result<i64, StoreError>;

    /// Adds a revision.
    async fn insert_winding_revision(
        &mut self,
        number: i64,
        revision: i64,
        order: &NewWindingOrder,
    ) -> Result<(), StoreError>;
}

/// The number of the order of exactly these serials, if there is one. `ordered` are those of the serials that are on orders.
///
/// # Errors
/// [`StoreError::WindingOrdered`] if an order has some of them and not exactly these.
pub fn exact_order(serial_ids: &[String], ordered: &[OrderedSerial]) -> Result<Option<i64>, StoreError> {
    let order_of = |id: &String| ordered.iter().find(|serial| serial.serial_id == *id);
    let Some(first) = serial_ids.iter().find_map(order_of) else { return Ok(None) };
    let all = serial_ids.iter().all(|id| order_of(id).is_some_and(|s| s.order_number == first.order_number));
    if all && usize::try_from(first.serials_on_it) == Ok(serial_ids.len()) {
        return Ok(Some(first.order_number));
    }
    let (serial_id, order_id) = (first.serial_id.clone(), first.order_id.clone());
    Err(StoreError::WindingOrdered { serial_id, order_id })
}

/// See [`StringStore::release_winding_order`](crate::StringStore::release_winding_order).
///
/// # Errors
/// As stated there.
pub async fn release_winding_order(
    tables: &mut impl WindingTables,
    order: &NewWindingOrder,
) -> Result<WindingRelease, StoreError> {
    tables.lock_winding_orders().await?;
    let ordered = tables.ordered_serials(&order.serial_ids).await?;
    let known = exact_order(&order.serial_ids, &ordered)?;
    let latest = match known {
        Some(number) => Some(tables.latest_winding_order(number).await?),
        None => None,
    };
    if let Some(there) = latest.as_ref() {
        if there.digest == order.digest {
            return Ok(WindingRelease { order: there.clone(), released: false });
        }
        if order.reason.is_empty() {
            let (order_id, revision) = (there.order_id.clone(), there.revision);
            return Err(StoreError::WindingReasonMissing { order_id, revision });
        }
    }
    let number = match known {
        Some(number) => number,
        None => create(tables, &order.serial_ids).await?,
    };
    let revision = latest.as_ref().map_or(1, |there| there.revision + 1);
    tables.insert_winding_revision(number, revision, order).await?;
    tables.effect(effects::new_winding_revision(number, revision, order, tables.now_us()));
    let subject = format!("{}/W-{number:04}", Kind::WindingOrder);
    // The content of earlier revisions stands in their own entries.
    let before = (revision > 1).then(|| serde_json::json!({ "revision": revision - 1 }).to_string());
    let head = serde_json::json!({ "revision": revision, "reason": order.reason });
    tables.tell(subject, before, Some(with_head(head, &order.document.json)));
    let order = tables.latest_winding_order(number).await?;
    Ok(WindingRelease { order, released: true })
}

/// A serial without a job is told as such and not as a broken reference of the database.
async fn create(tables: &mut impl WindingTables, serial_ids: &[String]) -> Result<i64, StoreError> {
    let known = tables.serials_with_job(serial_ids).await?;
    match serial_ids.iter().find(|id| !known.contains(id)) {
        Some(unknown) => Err(StoreError::NotFound { kind: Kind::Job, id: unknown.clone() }),
        None => {
            let number = tables.insert_winding_order(serial_ids).await?;
            let new = effects::new_winding_order(number, serial_ids);
            new.into_iter().for_each(|effect| tables.effect(effect));
            Ok(number)
        }
    }
}

/// The JSON of an order with its revision and reason.
fn with_head(mut head: serde_json::Value, json: &str) -> String {
    if let (Some(fields), Ok(content)) = (head.as_object_mut(), serde_json::from_str(json)) {
        fields.insert("order".to_owned(), content);
    }
    head.to_string()
}
