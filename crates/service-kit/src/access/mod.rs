//! Who calls, and whether it may.

mod gate;
mod keys;
mod watch;

pub use gate::{Gate, GateError};
pub use keys::KeysError;
pub(crate) use watch::Files;
