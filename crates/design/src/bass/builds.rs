//! All ways to cover a core with one or two layers. What they weigh does not depend on the note.

use becket_acoustics::{DomainError, WindingModel, layer_density_g_m, outer_diameter_mm};
use becket_wire::Wire;

use crate::bass::question::BassQuestion;

/// One or two layers on a core.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Build {
    /// Position of the only, or inner, winding wire in the stock.
    pub(crate) inner: u16,
    /// Position of the outer one of two.
    pub(crate) outer: Option<u16>,
    /// What the only, or inner, layer adds to the linear density where it lies, in g/m.
    pub(crate) inner_g_m: f64,
    /// What the outer layer adds, in g/m; 0 where there is none.
    pub(crate) outer_g_m: f64,
    /// Natural logarithm of the diameter in mm of the only, or inner, winding wire.
    pub(crate) log_inner: f64,
    /// The same of the outer one; 0 where there is none.
    pub(crate) log_outer: f64,
}

/// The builds of every core, single layers first.
#[derive(Debug)]
pub(crate) struct Builds {
    cores: Vec<Vec<Build>>,
    singles: usize,
}

impl Builds {
    /// Winding wires outside the limits are passed over; the inner wire of two is thinner than the outer, within limits.
    pub(crate) fn of(question: &BassQuestion<'_>) -> Result<Self, DomainError> {
        let limits = &question.limits;
        let usable: Vec<(u16, &Wire)> = (0_u16..)
            .zip(question.windings)
            .filter(|(_, wire)| (limits.min_winding_mm..=limits.max_winding_mm).contains(&wire.diameter_mm()))
            .collect();
        let doubles = question.notes.iter().any(|note| note.outer_bare_ends.is_some());
        let fits = |inner: &Wire, outer: &Wire| {
            let ratio = inner.diameter_mm() / outer.diameter_mm();
            ratio < 1.0 && (limits.min_inner_ratio..=limits.max_inner_ratio).contains(&ratio)
        };
        let model = question.models.winding_model;
        let of_core = |core: &Wire| of_core(core, &usable, model, doubles, fits);
        let cores = question.cores.iter().map(of_core).collect::<Result<Vec<_>, _>>()?;
        Ok(Self { cores, singles: usable.len() })
    }

    /// All builds on a core.
    pub(crate) fn of_core(&self, core: usize) -> &[Build] {
        self.cores.get(core).map_or(&[], Vec::as_slice)
    }

    /// Those for a note that allows two layers or not.
    pub(crate) fn allowed(&self, core: usize, two_layers: bool) -> &[Build] {
        let all = self.of_core(core);
        if two_layers { all } else { all.get(..self.singles).unwrap_or(all) }
    }

    /// How many there are over all cores.
    pub(crate) fn count(&self, two_layers: bool) -> u64 {
        (0..self.cores.len()).map(|core| self.allowed(core, two_layers).len() as u64).sum()
    }
}

fn of_core(
    core: &Wire,
    usable: &[(u16, &Wire)],
    model: WindingModel,
    doubles: bool,
    fits: impl Fn(&Wire, &Wire) -> bool,
) -> Result<Vec<Build>, DomainError> {
    let under_mm = core.material().cross_section().girth_diameter_mm(core.diameter_mm())?;
    let layer = |under_mm: f64, wire: &Wire| {
        layer_density_g_m(model, under_mm, wire.diameter_mm(), wire.density_kg_m3())
    };
    let mut builds = Vec::new();
    for &(inner, wire) in usable {
        builds.push(Build {
            inner,
            outer: None,
            inner_g_m: layer(under_mm, wire)?,
            outer_g_m: 0.0,
            log_inner: wire.diameter_mm().ln(),
            log_outer: 0.0,
        });
    }
    if !doubles {
        return Ok(builds);
    }
    for (single, &(inner, wire)) in usable.iter().enumerate() {
        let Build { inner_g_m, log_inner, .. } = builds[single];
        let over_mm = outer_diameter_mm(under_mm, wire.diameter_mm())?;
        for &(outer, over) in usable {
            if fits(wire, over) {
                let outer_g_m = layer(over_mm, over)?;
                let log_outer = over.diameter_mm().ln();
                builds.push(Build { inner, outer: Some(outer), inner_g_m, outer_g_m, log_inner, log_outer });
            }
        }
    }
    Ok(builds)
}
