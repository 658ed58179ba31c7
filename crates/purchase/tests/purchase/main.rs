//! Tests of the crate from outside.
#![allow(clippy::unwrap_used, reason = "tests")]

mod by_hand;
mod fixture;
mod packs;
mod properties;
