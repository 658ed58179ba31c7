//! The stringing service as this one sees it.

mod client;
mod error;
mod retry;

pub(crate) use client::{MAX_OPEN_JOBS, StringingClient};
pub(crate) use error::UpstreamError;
