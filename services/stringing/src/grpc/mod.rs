//! The services over gRPC. Handlers only unwrap requests and wrap answers; a use case does the rest.

mod design;
mod job;
mod ready;
mod scale;
mod string_set;
mod winding_order;
mod wire;

use std::sync::Arc;

pub(crate) use self::ready::ReadyAnswers;
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
