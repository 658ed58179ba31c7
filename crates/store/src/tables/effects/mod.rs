//! The effects of writes, made from the records that are stored. They know no SQL and read no table.

pub(super) mod coils;
pub(super) mod floor;
pub(super) mod strings;
pub(super) mod webhooks;
