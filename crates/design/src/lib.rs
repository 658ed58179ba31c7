//! Choosing wire, not only analysing it.
//!
//! - [`design_bass`]: cores and windings for a whole wound bass at once, from targets and a stock.
//! - [`design_plain`]: sizes of plain wire, under the rule of looped pairs.
//! - [`replace`]: from a measured old string back to stocked wire.
//! - [`difference()`]: what changes between two string sets.
//! - [`stretch()`]: pitch offsets of a tuning whose octaves agree in chosen partials.
//! - [`propagate`]: what tolerances of wire, length and pitch do to every figure of a string.
//! - [`changed`]: a scale with a pitch, a length, a wire or a whole series of wires changed, to be compared with itself.
//!
//! Everything here is a pure function of its arguments: equal inputs give equal results to the bit. Both designs are
//! optimal for the objective that they state ([`ObjectiveTerms`]); whether that objective is what a shop wants is for
//! the shop to say, through its weights. What a wound string is taken to be, uniform or stepped, with windings as tubes or
//! helices, and which pitch is meant, are the models ([`becket_scale::Models`]) of each question. Plain strings are uniform,
//! so that their closed formulas are exact. The crate reads no file, knows no clock and no wire format.

mod bass;
mod check;
mod curve;
mod difference;
mod error;
mod objective;
mod plain;
mod replacement;
mod stretch;
mod tolerance;
mod what_if;

pub use bass::{
    BareEnds, BassDesign, BassLimits, BassQuestion, MAX_COMBINATIONS, MAX_CORES, MAX_WINDING_WIRES, Search,
    WoundChoice, WoundNote, design_bass, design_bass_unless,
};
pub use curve::Curve;
pub use difference::{
    Change, DifferenceRow, DifferenceTable, DifferenceTolerances, PieceOfString, Presence, difference,
};
pub use error::{DesignError, Unmet};
pub use objective::{Neighbour, NeighbourCosts, ObjectiveTerms, Target, Targets};
pub use plain::{PlainChoice, PlainDesign, PlainLimits, PlainNote, PlainQuestion, design_plain};
pub use replacement::{
    MeasuredLayer, MeasuredString, OldFigures, Replacement, ReplacementOptions, Replacements,
    check_replacement, replace,
};
pub use stretch::{Octave, OctaveRegion, Stretch, StretchNote, StretchOptions, StretchedNote, stretch};
pub use tolerance::{
    Contribution, Ends, LayerFigures, Propagated, Source, ToleranceReport, TolerancedFigures,
    TolerancedString, TolerancedWinding, Tolerances, WoundStringFigures, propagate,
};
pub use what_if::{Changed, NoteChange, WireChange, changed};
