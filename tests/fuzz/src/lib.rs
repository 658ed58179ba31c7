//! What is fuzzed, each as a function of bytes that must not panic, whatever they are.
//!
//! `fuzz/` has these as targets of cargo-fuzz, which needs a nightly compiler; `tests/fuzz/run` feeds them with mutations of the same
//! corpus and needs none.
//!
//! Being part of tests, it panics where a target finds what must not be.
#![allow(clippy::panic, clippy::expect_used, reason = "part of tests: a panic is what tells of a find")]

mod files;
mod mutate;
mod requests;

pub use files::{catalogue, scale, schedule};
pub use mutate::Mutator;
pub use requests::{requests, seeds};

/// A target: its name, which is also that of its folder in the corpus, and its function.
pub type Target = (&'static str, fn(&[u8]));

/// All targets.
pub const TARGETS: [Target; 4] =
    [("scale", scale), ("catalogue", catalogue), ("schedule", schedule), ("requests", requests)];
