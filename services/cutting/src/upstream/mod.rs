//! The stringing service as this one sees it.

mod client;
mod error;
mod retry;

pub(crate) use client::StringingClient;
pub(crate) use error::UpstreamError;
