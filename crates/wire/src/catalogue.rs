//! The catalogue.

use std::collections::BTreeMap;

use crate::{Wire, WireId};

/// The wires that are known, in the order of their ids.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Catalogue {
    wires: BTreeMap<WireId, Wire>,
}

impl Catalogue {
    /// Makes an empty catalogue.
    #[must_use]
    pub const fn new() -> Self {
        Self { wires: BTreeMap::new() }
    }

    /// Adds a wire; one with the same id is replaced and returned.
    pub fn insert(&mut self, wire: Wire) -> Option<Wire> {
        self.wires.insert(wire.wire_id().clone(), wire)
    }

    /// Returns the wire with this id.
    #[must_use]
    pub fn get(&self, wire_id: &str) -> Option<&Wire> {
        self.wires.get(wire_id)
    }

    /// Returns the wires by rising id.
    pub fn iter(&self) -> impl Iterator<Item = &Wire> {
        self.wires.values()
    }

    /// Returns the number of wires.
    #[must_use]
    pub fn len(&self) -> usize {
        self.wires.len()
    }

    /// True if there is no wire.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.wires.is_empty()
    }
}

/// Collects wires; of several with the same id the last one stays.
impl FromIterator<Wire> for Catalogue {
    fn from_iter<I: IntoIterator<Item = Wire>>(wires: I) -> Self {
        let mut catalogue = Self::new();
        catalogue.extend(wires);
        catalogue
    }
}

impl Extend<Wire> for Catalogue {
    fn extend<I: IntoIterator<Item = Wire>>(&mut self, wires: I) {
        for wire in wires {
            self.insert(wire);
        }
    }
}
