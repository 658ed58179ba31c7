//! Rows of PostgreSQL as the store's records are made from them.

use becket_store::StoreError;
use becket_store::tables::Columns;
use sqlx::postgres::PgRow;
use sqlx::{Decode, Postgres, Row, Type, ValueRef};

use crate::errors::engine;

/// A row.
pub(crate) struct Cells(pub(crate) PgRow);

impl Cells {
    fn get<'r, T: Decode<'r, Postgres> + Type<Postgres>>(&'r self, column: &str) -> Result<T, StoreError> {
        self.0.try_get(column).map_err(engine)
    }
}

impl Columns for Cells {
    fn is_null(&self, column: &str) -> Result<bool, StoreError> {
        self.0.try_get_raw(column).map(|value| value.is_null()).map_err(engine)
    }

    fn text(&self, column: &str) -> Result<String, StoreError> {
        self.get(column)
    }

    fn optional_text(&self, column: &str) -> Result<Option<String>, StoreError> {
        self.get(column)
    }

    fn integer(&self, column: &str) -> Result<i64, StoreError> {
        self.get(column)
    }

    fn optional_integer(&self, column: &str) -> Result<Option<i64>, StoreError> {
        self.get(column)
    }

    fn real(&self, column: &str) -> Result<f64, StoreError> {
        self.get(column)
    }

    fn optional_real(&self, column: &str) -> Result<Option<f64>, StoreError> {
        self.get(column)
    }

    fn truth(&self, column: &str) -> Result<bool, StoreError> {
        self.get(column)
    }

    fn bytes(&self, column: &str) -> Result<Vec<u8>, StoreError> {
        self.get(column)
    }
}

/// A record of each row.
pub(crate) fn each<T>(
    rows: Vec<PgRow>,
    record: impl Fn(&Cells) -> Result<T, StoreError>,
) -> Result<Vec<T>, StoreError> {
    rows.into_iter().map(|row| record(&Cells(row))).collect()
}
