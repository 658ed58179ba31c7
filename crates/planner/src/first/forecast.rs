//! When a coil will next be of use.

use crate::model::{Problem, SerialIndex, WireIndex};

/// Shortest piece of each wire for each serial, by which the next use of a coil is foreseen.
#[derive(Debug)]
pub(crate) struct Forecast {
    /// For each wire: serials in due order, each with its shortest piece in µm.
    shortest: Vec<Vec<(SerialIndex, i64)>>,
}

impl Forecast {
    /// Reads the demand.
    pub(crate) fn new(problem: &Problem) -> Self {
        let mut pieces: Vec<_> = problem.pieces.iter().map(|p| (p.wire, p.serial, p.length.get())).collect();
        pieces.sort_unstable();
        pieces.dedup_by_key(|(wire, serial, _)| (*wire, *serial));
        let mut shortest = vec![Vec::new(); problem.wires.len()];
        for (wire, serial, length) in pieces {
            shortest[wire.index()].push((serial, length));
        }
        Self { shortest }
    }

    /// First serial due after `after` for which a coil of `wire` with `usable` µm can give a piece; `None` if there is none.
    pub(crate) fn next_use(&self, wire: WireIndex, usable: i64, after: SerialIndex) -> Option<SerialIndex> {
        let demand = &self.shortest[wire.index()];
        let start = demand.partition_point(|(serial, _)| *serial <= after);
        demand[start..].iter().find(|(_, length)| *length <= usable).map(|(serial, _)| *serial)
    }
}
