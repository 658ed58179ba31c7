//! The service over real sockets, on a database of its own for each test.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

mod compute;
mod jobs;
mod journal;
mod scales;
mod served;
mod string_sets;
mod wires;
mod world;
