//! Tests of the crate from outside.

mod by_hand;
mod fixture;
mod packs;
mod properties;
