//! The services over gRPC. Handlers only unwrap requests and wrap answers; a use case does the rest.

mod coil;
mod cut_list;
mod plan;
mod purchasing;
mod record;
mod station;

use std::sync::Arc;

use crate::app::App;

/// Handles the calls of all services.
#[derive(Clone)]
pub(crate) struct Handlers {
    app: Arc<App>,
}

impl Handlers {
    pub(crate) fn new(app: Arc<App>) -> Self {
        Self { app }
    }
}
