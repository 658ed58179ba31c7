//! Tests of the crate through its public face.

#![allow(clippy::unwrap_used, reason = "tests")]

mod as_built;
mod compute;
mod fixture;
mod properties;
mod published;
mod stepped;
mod validate;
mod warnings;
mod windings;
