//! Wire for a whole order.

use std::collections::BTreeMap;

use becket_purchase::packs_to_buy;
use becket_wire::{Wire, WireId};

use crate::{
    Instrument, OrderError,
    order::{MaterialTotal, OrderLine, PackCount, rounded},
};

/// Sums the wire of all lines and says which packs hold it.
///
/// # Formula
/// ```text
/// length  Σ quantity · cut (cores),  Σ quantity · wire length (layers)
/// mass    Σ quantity · mass of the same
/// ```
pub(crate) fn materials(
    instruments: &[Instrument<'_>],
    lines: &[OrderLine],
) -> Result<Vec<MaterialTotal>, OrderError> {
    let mut sums: BTreeMap<&WireId, (f64, f64)> = BTreeMap::new();
    for line in lines {
        let quantity = f64::from(line.quantity);
        let core = (&line.core_wire_id, line.cut.as_mm(), line.core_mass_g);
        let layers =
            line.layers.iter().map(|layer| (&layer.wire_id, layer.wire_length_mm, layer.wire_mass_g));
        for (wire_id, length_mm, mass_g) in std::iter::once(core).chain(layers) {
            let sum = sums.entry(wire_id).or_default();
            sum.0 += quantity * length_mm;
            sum.1 += quantity * mass_g;
        }
    }
    sums.into_iter().map(|(wire_id, sums)| total(instruments, wire_id, sums)).collect()
}

fn total(
    instruments: &[Instrument<'_>],
    wire_id: &WireId,
    (length_mm, mass_g): (f64, f64),
) -> Result<MaterialTotal, OrderError> {
    // Catalogues of one service agree on a wire; the first that has it will do.
    let wire = instruments.iter().find_map(|instrument| instrument.catalogue.get(wire_id.as_str()));
    Ok(MaterialTotal {
        wire_id: wire_id.clone(),
        length_m: rounded(length_mm / 1e3, 1e3),
        mass_kg: rounded(mass_g / 1e3, 1e6),
        packs: wire.map(|wire| packs(wire, mass_g)).transpose()?.unwrap_or_default(),
    })
}

fn packs(wire: &Wire, mass_g: f64) -> Result<Vec<PackCount>, OrderError> {
    let masses_g: Vec<_> = wire.packs().iter().map(|pack| pack.mass_g).collect();
    let bought = packs_to_buy(&masses_g, mass_g, 0.0)
        .map_err(|source| OrderError::Packs { wire_id: wire.wire_id().to_string(), source })?;
    let counts = bought.map(|bought| bought.counts).unwrap_or_default();
    let packs = wire.packs().iter().zip(counts).filter(|(_, count)| *count > 0);
    Ok(packs
        .map(|(pack, count)| PackCount { label: pack.label.clone(), mass_g: pack.mass_g, count })
        .collect())
}
