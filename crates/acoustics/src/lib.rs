//! Formulas of the string: pitch, tension, stress, stiffness, windings, and the exact partials of wound strings.
//!
//! Pure functions of `f64`, with units in the names. They know no wires, notes or scales, keep no state and
//! perform no input or output; their results are repeatable to the bit, since sums have a fixed order. What
//! is not a number, not finite or outside a formula's range is refused with a [`DomainError`] that names the
//! argument; nothing panics, and nothing is repaired in silence.

mod bare_ends;
mod cross_section;
mod domain;
mod ends;
mod fit;
mod pitch;
mod stepped;
mod stiffness;
mod tension;
mod winding;

pub use bare_ends::BareEnds;
pub use cross_section::CrossSection;
pub use domain::DomainError;
pub use ends::{hitch_leg_mm, pin_take_up_mm};
pub use fit::{InharmonicityFit, fit_inharmonicity, sharpness_cents};
pub use pitch::{cents_between, equal_tempered_hz, raised_hz};
pub use stepped::{
    MOST_PARTIALS, Segment, SteppedString, stepped_tension_first_partial_n, stepped_tension_stiffness_free_n,
};
pub use stiffness::{inharmonicity, partial_cents, partial_hz};
pub use tension::{
    breaking_load_n, elastic_strain, frequency_first_partial_hz, frequency_stiffness_free_hz, load_share,
    relaxed_length_mm, stress_mpa, tension_first_partial_n, tension_stiffness_free_n,
};
pub use winding::{
    CoveredSpan, Layer, WindingModel, effective_density_g_m, layer_density_g_m, outer_diameter_mm,
    winding_wire_length_mm, wound_density_g_m,
};
