//! From engine errors to those of the store.

use becket_store::StoreError;
use becket_store::tables::corrupt;

// Primary result codes, https://www.sqlite.org/rescode.html
const BUSY: i32 = 5;
const LOCKED: i32 = 6;
const CORRUPT: i32 = 11;
const CONSTRAINT: i32 = 19;
const NOT_A_DATABASE: i32 = 26;

/// Sorts an error of the engine by what the caller can do.
pub(crate) fn engine(error: sqlx::Error) -> StoreError {
    match &error {
        sqlx::Error::PoolTimedOut => StoreError::Busy,
        sqlx::Error::ColumnDecode { .. } | sqlx::Error::ColumnNotFound(_) | sqlx::Error::Decode(_) => {
            corrupt(error)
        }
        sqlx::Error::Database(fault) => {
            // The low byte of an extended code is the primary one.
            let code = fault.code().and_then(|code| code.parse::<i32>().ok()).map(|code| code & 0xff);
            match code {
                Some(BUSY | LOCKED) => StoreError::Busy,
                Some(CORRUPT | NOT_A_DATABASE) => corrupt(error),
                Some(CONSTRAINT) => StoreError::ChangeInconsistent { reason: fault.message().to_owned() },
                _ => StoreError::Unavailable(Box::new(error)),
            }
        }
        _ => StoreError::Unavailable(Box::new(error)),
    }
}
