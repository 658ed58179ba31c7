//! What a build schedule needs of each wire, what the stock covers, and what to buy.
//!
//! # Model
//!
//! A [`WireQuestion`] is about one wire: what one instrument of each kind needs of it, how many of each kind are begun week
//! by week, the coils in stock, and the packs in which it is bought. [`estimate`] answers with a [`WireEstimate`].
//!
//! - **Pieces are covered only if they fit on coils.** The pieces of all instruments are laid on the coils in the order of
//!   weeks, under the rules of cut lists, so that a remnant too short for any piece, an end trim and a margin
//!   do not count as cover.
//! - **Winding wire is covered by length**, from what the pieces leave on the coils.
//! - **An earlier week is never short in favour of a later one.** From the instrument on with which the need is greater than
//!   the whole stock, nothing more counts as covered: a tray that cannot be filled is no cover, and the work of an
//!   estimate is bounded by the stock instead of by the schedule.
//! - **To buy** is what is short and a surplus on top, in few packs of little mass (see [`packs_to_buy`]).
//!
//! # What this crate does not do
//!
//! No input or output, no clock, no random numbers: the same question has the same answer. It knows no prices, no
//! delivery times and no names: callers keep the ids of wires, coils, weeks and instruments and pass them in order.

mod cover;
mod error;
mod estimate;
mod packs;
mod question;

pub use error::EstimateError;
pub use estimate::{WeekFigures, WireEstimate, estimate};
pub use packs::{PackPurchase, packs_to_buy};
pub use question::{Build, InstrumentNeed, PieceNeed, StockCoil, WireQuestion};
