//! Why there is no order.

use becket_purchase::EstimateError;

/// Why there is no order.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OrderError {
    /// An instrument has no wound string, so there is nothing to order for it.
    #[error("{serial_id} has no wound strings")]
    NothingWound {
        /// Serial.
        serial_id: String,
    },
    /// A set does not belong to its scale or catalogue. A fault of the caller's program.
    #[error("the string set of {serial_id} does not fit its inputs: {what} is missing")]
    Inconsistent {
        /// Serial.
        serial_id: String,
        /// What is missing.
        what: String,
    },
    /// The packs of a wire cannot be reckoned with.
    #[error("packs of {wire_id}: {source}")]
    Packs {
        /// Wire.
        wire_id: String,
        /// Why.
        source: EstimateError,
    },
}
