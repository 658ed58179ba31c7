//! The generated API types, their conversions to and from the domain, and protobuf JSON.
