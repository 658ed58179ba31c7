//! Scales that were checked during one call, so that many jobs of a model check it once.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::inputs::CheckedScale;

/// Most scales that are kept; further ones are checked each time.
const CAPACITY: usize = 64;

/// Released scales never change and wires seldom do, so that a call sees each scale as it was when the call first needed it.
#[derive(Debug, Default)]
pub(crate) struct CheckedScales(Mutex<HashMap<String, Arc<CheckedScale>>>);

impl CheckedScales {
    /// The scale "model/revision" with its own wires, if it was checked before.
    pub(crate) fn get(&self, id: &str) -> Option<Arc<CheckedScale>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(id).cloned()
    }

    /// Keeps a checked scale.
    pub(crate) fn put(&self, id: &str, checked: &Arc<CheckedScale>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() < CAPACITY {
            kept.insert(id.to_owned(), Arc::clone(checked));
        }
    }
}
