//! Histories of concurrent calls, and whether they can be explained by calls one after the other.

mod linear;
mod models;

pub use linear::{Model, Timed, linearisable};
pub use models::{CoilEvent, CoilModel, CoilState, ListEvent, ListModel};
