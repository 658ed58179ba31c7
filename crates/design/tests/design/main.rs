//! Tests of the crate through its public face.

#![allow(clippy::unwrap_used, reason = "tests")]

mod bass;
mod difference;
mod fixture;
mod plain;
mod properties;
mod replacement;
mod stretch;
mod tolerance;
mod what_if;
mod whole;
