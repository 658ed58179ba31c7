//! Wires from which a design chooses.

use std::collections::BTreeSet;

use becket_api::convert::Known;
use becket_api::stringing::{self, StockedWires};
use becket_store::PageRequest;
use becket_units::Fault;
use becket_wire::{Catalogue, Material, Wire, WireDraft};

use crate::app::App;
use crate::error::UseCaseError;
use crate::write::decode;

/// Most wires that a request may name; the domain takes fewer still and says how many.
const MAX_NAMED: usize = 2000;
/// Most wires that are taken without being named: more than any design takes, so that too many are told as such.
const MAX_FOUND: usize = 201;
/// Wires that are read at once.
const PAGE: u32 = 500;

/// What wires are to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Use {
    /// Carry tension, so that their breaking load must be known.
    Tension,
    /// Cover a core.
    Winding,
}

impl Use {
    fn serves(self, material: Material) -> bool {
        match self {
            Self::Tension => material.carries_tension(),
            Self::Winding => material.is_winding(),
        }
    }

    /// What a wire must be to serve; `None` if this one does.
    fn lacks(self, wire: &Wire) -> Option<&'static str> {
        match self {
            Self::Tension if !wire.material().carries_tension() => Some("steel, which carries tension"),
            Self::Tension if wire.breaking_load_n().is_none() => Some(
                "a wire with a strength basis that has a value at its diameter, since limits are shares of it",
            ),
            Self::Winding if !wire.material().is_winding() => Some("winding wire"),
            Self::Tension | Self::Winding => None,
        }
    }

    const ALL_MATERIALS: [Material; 6] = [
        Material::SteelRound,
        Material::SteelHexagonal,
        Material::Copper,
        Material::Iron,
        Material::Aluminium,
        Material::Brass,
    ];
}

/// Which wires that are not named come into question.
struct Filter {
    usage: Use,
    materials: Vec<Material>,
    diameters_mm: (f64, f64),
}

impl Filter {
    fn passes(&self, wire: &Wire) -> bool {
        let (low, high) = self.diameters_mm;
        self.materials.contains(&wire.material())
            && (low..=high).contains(&wire.diameter_mm())
            && self.usage.lacks(wire).is_none()
    }
}

impl App {
    /// The wires that a request offers in its field `path`: those that it names, or those of the catalogue and of the
    /// request that fit. Faults are told with their paths; with a fault the list is not complete.
    pub(crate) async fn stock(
        &self,
        path: &str,
        usage: Use,
        stocked: Option<&StockedWires>,
        given: &Catalogue,
        faults: &mut Vec<Fault>,
    ) -> Result<Vec<Wire>, UseCaseError> {
        let everything = StockedWires::default();
        let stocked = stocked.unwrap_or(&everything);
        if !stocked.wire_ids.is_empty() {
            return self.named(path, usage, stocked, given, faults).await;
        }
        match filter(path, usage, stocked) {
            Ok(filter) => self.found(&filter, given).await,
            Err(list) => {
                faults.extend(list);
                Ok(Vec::new())
            }
        }
    }

    /// Wires by their names, in the order of the request.
    async fn named(
        &self,
        path: &str,
        usage: Use,
        stocked: &StockedWires,
        given: &Catalogue,
        faults: &mut Vec<Fault>,
    ) -> Result<Vec<Wire>, UseCaseError> {
        let StockedWires { wire_ids, materials, min_diameter_mm, max_diameter_mm } = stocked;
        if wire_ids.len() > MAX_NAMED {
            let value = format!("{} entries", wire_ids.len());
            faults.push(Fault::new(format!("{path}.wire_ids"), value, format!("up to {MAX_NAMED} entries")));
            return Ok(Vec::new());
        }
        if !materials.is_empty() || min_diameter_mm.is_some() || max_diameter_mm.is_some() {
            let allowed = "either wire_ids, or materials and diameters";
            faults.push(Fault::new(path, "wire_ids and a filter", allowed));
        }
        let stored = self.catalogue(wire_ids.iter().cloned().collect()).await?;
        let mut wires = Vec::with_capacity(wire_ids.len());
        let mut seen = BTreeSet::new();
        for (at, id) in wire_ids.iter().enumerate() {
            let mut fault =
                |allowed: &str| faults.push(Fault::new(format!("{path}.wire_ids[{at}]"), id, allowed));
            match given.get(id).or_else(|| stored.get(id)) {
                _ if !seen.insert(id) => fault("each wire once"),
                Some(wire) => match usage.lacks(wire) {
                    None => wires.push(wire.clone()),
                    Some(allowed) => fault(allowed),
                },
                None => fault("a wire of the catalogue or of the request"),
            }
        }
        Ok(wires)
    }

    /// Wires that fit, by rising diameter.
    async fn found(&self, filter: &Filter, given: &Catalogue) -> Result<Vec<Wire>, UseCaseError> {
        let mut wires: Vec<Wire> = given.iter().filter(|wire| filter.passes(wire)).cloned().collect();
        for material in &filter.materials {
            let mut page = PageRequest { after: None, limit: PAGE };
            loop {
                let stored = self.store.list_wires(Some(material.number()), &page).await?;
                for item in &stored.items {
                    let content: stringing::Wire = decode(&item.stored.bytes)?;
                    let wire = WireDraft::from(&content).validate().map_err(|faults| {
                        UseCaseError::Internal(format!(
                            "stored wire {} is not valid: {faults:?}",
                            item.wire_id
                        ))
                    })?;
                    if given.get(wire.wire_id().as_str()).is_none() && filter.passes(&wire) {
                        wires.push(wire);
                    }
                }
                match stored.next {
                    Some(next) if wires.len() < MAX_FOUND => page.after = Some(next),
                    _ => break,
                }
            }
        }
        wires.sort_by(|a, b| {
            a.diameter_mm().total_cmp(&b.diameter_mm()).then_with(|| a.wire_id().cmp(b.wire_id()))
        });
        Ok(wires)
    }
}

fn filter(path: &str, usage: Use, stocked: &StockedWires) -> Result<Filter, Vec<Fault>> {
    let StockedWires { wire_ids: _, materials, min_diameter_mm, max_diameter_mm } = stocked;
    let mut faults = Vec::new();
    let mut wanted = Vec::new();
    for (at, number) in materials.iter().enumerate().take(MAX_NAMED) {
        match Material::known(*number) {
            Some(material) if usage.serves(material) => wanted.push(material),
            other => {
                let field = format!("{path}.materials[{at}]");
                let value = other.map_or_else(|| number.to_string(), |material| material.to_string());
                let allowed = match usage {
                    Use::Tension => "steel, which carries tension",
                    Use::Winding => "winding wire",
                };
                faults.push(Fault::new(field, value, allowed));
            }
        }
    }
    let mut diameter = |name: &str, stated: Option<f64>, default: f64| {
        let value = stated.unwrap_or(default);
        faults.extend(Fault::outside(format!("{path}.{name}"), value, 0.0, 6.0, "mm"));
        value
    };
    let diameters_mm = (
        diameter("min_diameter_mm", *min_diameter_mm, 0.0),
        diameter("max_diameter_mm", *max_diameter_mm, 6.0),
    );
    if !faults.is_empty() {
        return Err(faults);
    }
    // Each once, or its wires would be listed twice.
    let of_all = Use::ALL_MATERIALS.into_iter().filter(|material| {
        if wanted.is_empty() { usage.serves(*material) } else { wanted.contains(material) }
    });
    Ok(Filter { usage, materials: of_all.collect(), diameters_mm })
}
