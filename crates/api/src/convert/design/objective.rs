//! Neighbours, what steps to them cost, and what a design costs in all.

use becket_design::{Neighbour, NeighbourCosts, ObjectiveTerms};

use crate::stringing as api;

pub(super) fn read_neighbour(neighbour: &api::Neighbour) -> Neighbour {
    let api::Neighbour { tension_n, inharmonicity } = *neighbour;
    Neighbour { tension_n, inharmonicity }
}

pub(super) fn read_costs(costs: Option<&api::NeighbourCosts>) -> NeighbourCosts {
    let default = NeighbourCosts::default();
    let Some(costs) = costs else { return default };
    let api::NeighbourCosts {
        tension_step,
        inharmonicity_step,
        wire_change,
        thicker_above,
        winding_step,
        layer_change,
    } = costs;
    NeighbourCosts {
        tension_step: tension_step.unwrap_or(default.tension_step),
        inharmonicity_step: inharmonicity_step.unwrap_or(default.inharmonicity_step),
        wire_change: wire_change.unwrap_or(default.wire_change),
        thicker_above: thicker_above.unwrap_or(default.thicker_above),
        winding_step: winding_step.unwrap_or(default.winding_step),
        layer_change: layer_change.unwrap_or(default.layer_change),
    }
}

pub(super) fn objective(terms: &ObjectiveTerms) -> api::ObjectiveTerms {
    let ObjectiveTerms {
        targets,
        tension_steps,
        inharmonicity_steps,
        wire_changes,
        thicker_above,
        winding_steps,
        layer_changes,
        second_layers,
        tied_strings,
    } = *terms;
    api::ObjectiveTerms {
        targets,
        tension_steps,
        inharmonicity_steps,
        wire_changes,
        thicker_above,
        winding_steps,
        layer_changes,
        second_layers,
        tied_strings,
        total: terms.total(),
    }
}
