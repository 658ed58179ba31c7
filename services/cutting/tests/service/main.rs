//! The service over real sockets, with the stringing service and a database file.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "tests: what fails here ends the test"
)]

mod estimates;
mod fault_store;
mod faults;
mod floor;
mod freezing;
mod lost_coils;
mod plans;
mod predictions;
mod records;
mod repeats;
mod run_outs;
mod rush;
mod sections;
mod spoiled;
mod stations;
mod stock;
mod unisons;
mod upstream;
mod watching;
mod world;
