//! `tour`.
use crate::{
    cli::{Global, Tour},
    errors::Failure,
};
pub(crate) async fn run(args: &Tour, _g: &Global) -> Result<(), Failure> {
    Err(Failure::Start(format!("not built yet: {args:?}")))
}
