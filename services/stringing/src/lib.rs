//! The string computation service: the wire catalogue, scales, jobs and the string sets that follow from
//! them.
//!
//! [`run`] serves it alone; [`register`] puts it beside other services on one listener. The service decides
//! who may change what and when; what a scale means in wire is computed by `becket_scale`, and what is kept
//! is kept by whatever implements [`Storage`]. It knows no database engine, reads no settings by itself and
//! asks no clock but the one it is given.

mod answer_cache;
mod app;
mod batch_sets;
mod checked_scales;
mod compute;
mod design;
mod error;
mod frame;
mod grpc;
mod inputs;
mod messages;
mod paging;
mod run;
mod shared_reading;
mod sources;
mod status;
mod stock;
mod use_cases;
mod write;

pub use app::Storage;
pub use run::{Deps, Parts, RunError, SERVICE_NAMES, register, run};
