//! The winder's order: what the wound strings of one or more instruments are made of, and the wire for them.
//!
//! This crate turns computed string sets into lines that a winder can work from. It computes no tension and no length of
//! its own, and knows neither storage nor service. Figures are rounded to what can be measured at a winding machine, and
//! sums are sums of the rounded figures, so that whoever adds the lines up finds the sums.

mod error;
mod gather;
mod materials;
mod order;

pub use error::OrderError;
pub use gather::{Instrument, wound_strings};
pub use order::{Layer, MaterialTotal, OrderLine, PackCount, SerialQuantity, WindingOrder};
