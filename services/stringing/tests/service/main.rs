//! The service over real sockets, on a database of its own for each test.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

mod compute;
mod design_sets;
mod design_wires;
mod job_sets;
mod jobs;
mod journal;
mod partials;
mod scales;
mod served;
mod string_sets;
mod winding_orders;
mod wires;
mod world;
