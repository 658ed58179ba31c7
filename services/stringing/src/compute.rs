//! Computing a string set away from the threads that serve connections.

use std::sync::Arc;

use becket_api::convert::{SetInputs, string_set};
use becket_api::stringing::StringSet;
use becket_scale::{ComputeOptions, Scale, compute};
use becket_wire::Catalogue;

use crate::app::App;
use crate::error::UseCaseError;

/// Name and version of the program, as a set carries it.
const COMPUTED_BY: &str = concat!("becket ", env!("CARGO_PKG_VERSION"));

/// What a set is computed from.
#[derive(Debug, Clone)]
pub(crate) struct SetSource {
    /// Serial; empty for a set of no serial.
    pub(crate) serial_id: String,
    /// The scale, with the measurements of the serial in it.
    pub(crate) scale: Scale,
    /// Numbers of the notes that were measured to differ.
    pub(crate) as_built_notes: Vec<i16>,
    /// At least the wires of the scale.
    pub(crate) catalogue: Catalogue,
    /// Options.
    pub(crate) options: ComputeOptions,
}

impl App {
    /// Computes a set. It takes well below a millisecond, so it does not look at the cancel flag.
    pub(crate) async fn computed(&self, source: SetSource) -> Result<Arc<StringSet>, UseCaseError> {
        let set = self.pool.run(move |_| message(&source)).await?;
        Ok(Arc::new(set?))
    }
}

/// The set as the domain has it, and as a message with its digest.
pub(crate) fn computed_set(source: &SetSource) -> Result<(becket_scale::StringSet, StringSet), UseCaseError> {
    let SetSource { serial_id, scale, as_built_notes, catalogue, options } = source;
    let set = compute(scale, catalogue, options)?;
    let inputs = SetInputs { serial_id, scale, as_built_notes, catalogue, options, computed_by: COMPUTED_BY };
    let shown = string_set(&inputs, &set);
    Ok((set, shown))
}

/// The set as a message, with its digest.
fn message(source: &SetSource) -> Result<StringSet, UseCaseError> {
    computed_set(source).map(|(_, shown)| shown)
}
