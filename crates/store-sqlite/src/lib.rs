//! The storage traits on SQLite.
