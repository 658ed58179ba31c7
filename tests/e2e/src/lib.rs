//! Harness of the end-to-end tests: a real server process, a client of all its services, and checks that hold always.
//!
//! It starts the built binary on a free loopback port with a data folder of its own and speaks to it over gRPC only, as
//! any caller would. It knows nothing of how the services work inside.
//!
//! Being part of tests, it panics where a test would: when the process under test does not start or stop.

mod client;
pub mod demo;
pub mod history;
pub mod invariants;
pub mod random;
pub mod raw;
pub mod receiver;
mod server;
pub mod signer;

pub use client::{Shop, reason};
pub use server::Server;
