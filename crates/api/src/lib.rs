//! The generated API types, their conversions to and from the domain, and protobuf JSON.
//!
//! This is the one crate that knows both the wire format and the domain. It holds the generated code and all that
//! follows from it: [`convert`] to and from domain types, [`json`] for programs, [`document`] for files that people
//! write, [`tokens`] of pages and [`digest`]s. It does no input or output: texts and messages go in and come out.

pub mod cloud_event;
pub mod convert;
pub mod digest;
pub mod document;
pub mod json;
pub mod requests;
pub mod tokens;

mod descriptors;
mod generated;

pub use descriptors::ReflectError;
pub use generated::DESCRIPTORS;
pub use generated::becket::cutting::v1 as cutting;
pub use generated::becket::errors::v1 as errors;
pub use generated::becket::feed::v1 as feed;
pub use generated::becket::journal::v1 as journal;
pub use generated::becket::stringing::v1 as stringing;
