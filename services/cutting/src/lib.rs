//! The cutting-list service: coils in stock, wire stations, cut lists on the floor, purchasing and records.
//!
//! [`run`] serves it alone; [`register`] puts it beside other services on one listener. What is cut for a serial is asked
//! of the stringing service over gRPC, on each call anew: this service keeps no copy of a string set. What may happen on
//! the floor is decided by `becket_floor`, which piece comes from which coil by `becket_planner`, and what is kept is kept by
//! whatever implements [`Storage`]. The service knows no database engine, reads no settings by itself and asks no clock but
//! the one it is given.
//!
//! # Order of writes over two services
//!
//! The first cut of a serial freezes its string set in the stringing service before the cut is stored here. A freeze
//! without a cut does no harm, since the same set can be cut later; a cut without a freeze could end in an instrument whose
//! record differs from what is in it. A call that fails between the two is repeated with the same request id.

mod app;
mod catalogue;
mod changes;
mod error;
mod gather;
mod grpc;
mod ids;
mod instrument;
mod messages;
mod paging;
mod planning;
mod run;
mod schedule;
mod seen;
mod status;
mod turns;
mod upstream;
mod use_cases;
mod write;

pub use app::Storage;
pub use run::{Deps, Parts, RunError, SERVICE_NAMES, register, run};
