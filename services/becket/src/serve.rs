//! `serve`.
use crate::{cli::Serve, errors::Failure};
pub(crate) async fn run(args: &Serve) -> Result<(), Failure> {
    Err(Failure::Start(format!("not built yet: {args:?}")))
}
