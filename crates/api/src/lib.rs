//! The generated API types, their conversions to and from the domain, and protobuf JSON.

mod generated;

pub use generated::DESCRIPTORS;
pub use generated::becket::cutting::v1 as cutting;
pub use generated::becket::errors::v1 as errors;
pub use generated::becket::journal::v1 as journal;
pub use generated::becket::stringing::v1 as stringing;
