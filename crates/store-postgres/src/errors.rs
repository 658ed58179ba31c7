//! From engine errors to those of the store.

use becket_store::StoreError;
use becket_store::tables::corrupt;
use sqlx::error::DatabaseError;

/// Two writes claimed the same piece, or took the same number, at the same moment. Done again, the slower one sees the faster.
const OUTRUN: [&str; 4] =
    ["piece_is_claimed_once", "cut_lists_pkey", "winding_orders_pkey", "winding_order_serials_pkey"];

/// Sorts an error of the engine by what the caller can do. Codes: PostgreSQL documentation, appendix "PostgreSQL Error Codes".
pub(crate) fn engine(error: sqlx::Error) -> StoreError {
    match &error {
        sqlx::Error::PoolTimedOut => StoreError::Busy,
        sqlx::Error::ColumnDecode { .. } | sqlx::Error::ColumnNotFound(_) | sqlx::Error::Decode(_) => {
            corrupt(error)
        }
        sqlx::Error::Database(fault) => match sort(fault.as_ref()) {
            Sort::Busy => StoreError::Busy,
            Sort::Inconsistent => StoreError::ChangeInconsistent { reason: fault.message().to_owned() },
            Sort::Text => StoreError::TextUnstorable,
            Sort::Corrupt => corrupt(error),
            Sort::Unavailable => StoreError::Unavailable(Box::new(error)),
        },
        _ => StoreError::Unavailable(Box::new(error)),
    }
}

enum Sort {
    Busy,
    Inconsistent,
    Text,
    Corrupt,
    Unavailable,
}

fn sort(fault: &dyn DatabaseError) -> Sort {
    let code = fault.code().unwrap_or_default();
    match code.as_ref() {
        // Serialisation failure, deadlock, lock time-out, statement time-out, too many connections.
        "40001" | "40P01" | "55P03" | "57014" | "53300" => Sort::Busy,
        "23505" if fault.constraint().is_some_and(|name| OUTRUN.contains(&name)) => Sort::Busy,
        // Data or index corrupted.
        "XX001" | "XX002" => Sort::Corrupt,
        _ if code.starts_with("23") => Sort::Inconsistent,
        // Text with a zero byte, which PostgreSQL cannot hold.
        "22021" => Sort::Text,
        _ => Sort::Unavailable,
    }
}
