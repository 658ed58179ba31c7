//! Records of the winder's orders.

use crate::context::Document;

/// The content of an order to release.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewWindingOrder {
    /// Serials, rising, each once, at least one.
    pub serial_ids: Vec<String>,
    /// Digest of what the winder works from; content with an equal digest is not released again.
    pub digest: String,
    /// Why the content changes; may be empty for a first revision only.
    pub reason: String,
    /// The order, without what the store itself gives it.
    pub document: Document,
}

/// One revision of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredWindingOrder {
    /// Id, such as "W-0001".
    pub order_id: String,
    /// Revision, from 1.
    pub revision: i64,
    /// Why it differs from the revision before.
    pub reason: String,
    /// Digest of its content.
    pub digest: String,
    /// The encoded order.
    pub bytes: Vec<u8>,
    /// When it was released, in µs since 1970 (UTC).
    pub release_us: i64,
}

/// What became of a release.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WindingRelease {
    /// The latest revision.
    pub order: StoredWindingOrder,
    /// Whether it is new; false if the latest revision had this content already.
    pub released: bool,
}
