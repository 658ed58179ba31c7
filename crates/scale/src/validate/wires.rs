//! Looking up wires for a scale, each one once.

use becket_wire::{Catalogue, Wire, WireId};

use crate::model::{Note, WireIndex};

/// The wires that a scale has named so far.
pub(super) struct Wires<'a> {
    catalogue: &'a Catalogue,
    named: Vec<&'a Wire>,
}

impl<'a> Wires<'a> {
    pub(super) fn new(catalogue: &'a Catalogue) -> Self {
        Self { catalogue, named: Vec::new() }
    }

    pub(super) fn find(&mut self, wire_id: &str) -> Option<(WireIndex, &'a Wire)> {
        if let Some(at) = self.named.iter().position(|wire| wire.wire_id().as_str() == wire_id) {
            return Some((WireIndex(u16::try_from(at).ok()?), self.named.get(at)?));
        }
        let wire = self.catalogue.get(wire_id)?;
        let index = WireIndex(u16::try_from(self.named.len()).ok()?);
        self.named.push(wire);
        Some((index, wire))
    }

    /// Sorts the wires by id and renumbers the notes' references to them.
    pub(super) fn into_sorted(self, notes: &mut [Note]) -> Vec<WireId> {
        let mut order: Vec<usize> = (0..self.named.len()).collect();
        order.sort_by_key(|&at| self.named[at].wire_id());
        let mut new_index = vec![WireIndex(0); order.len()];
        for (new, &old) in order.iter().enumerate() {
            // `find` gave no index beyond u16, so none is lost here.
            new_index[old] = WireIndex(u16::try_from(new).unwrap_or(u16::MAX));
        }
        for note in notes {
            note.wire = new_index[note.wire.at()];
            for winding in &mut note.windings {
                winding.wire = new_index[winding.wire.at()];
            }
        }
        order.into_iter().map(|at| self.named[at].wire_id().clone()).collect()
    }
}
