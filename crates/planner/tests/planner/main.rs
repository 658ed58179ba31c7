//! Tests of planner and checker through the crate's public interface.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod best;
mod bin_packing;
mod by_hand;
mod checker_by_hand;
mod exhaustive;
mod faults;
mod instances;
mod mutations;
mod optimal;
mod oracle;
mod properties;
mod reels;
mod replan;
#[expect(dead_code, reason = "figures that only the example prints")]
#[path = "../../examples/disturbance/shop.rs"]
mod shop;
mod threads;
