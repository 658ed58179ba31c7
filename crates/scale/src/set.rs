//! A string set: everything that follows from a scale, a pitch and a catalogue.

use std::sync::Arc;

use becket_acoustics::InharmonicityFit;
use becket_units::Um;
use becket_wire::WireId;

use crate::ids::{PieceId, SectionId, StringId};
use crate::looping::PieceKind;
use crate::warnings::Warning;

/// The strings of one instrument and the pieces of wire that make them.
#[derive(Debug, Clone, PartialEq)]
pub struct StringSet {
    /// Strings by rising note and number.
    pub strings: Vec<StringFigures>,
    /// Pieces in the order of their first string.
    pub pieces: Vec<Piece>,
    /// Needs by rising wire id, one entry for each wire that the scale names.
    pub wire_totals: Vec<WireTotal>,
    /// Sections in the order of the scale.
    pub section_totals: Vec<SectionTotal>,
    /// Sums.
    pub totals: SetTotals,
    /// Warnings, gravest first, then by note.
    pub warnings: Vec<Warning>,
}

/// One string.
#[derive(Debug, Clone, PartialEq)]
pub struct StringFigures {
    /// Note and number of the string in it.
    pub string_id: StringId,
    /// Section.
    pub section_id: SectionId,
    /// Wire, or core.
    pub wire_id: WireId,
    /// Piece of wire from which the string is made.
    pub piece_id: PieceId,
    /// Target frequency in Hz, on the pitch basis of the set.
    pub frequency_hz: f64,
    /// Speaking length in mm.
    pub speaking_mm: f64,
    /// Linear density in g/m as it acts on the first partial, windings included: that of the uniform string which has
    /// the same first partial without stiffness, by Rayleigh's quotient in the closed form, exactly in the stepped model.
    pub linear_density_g_m: f64,
    /// Tension in N.
    pub tension_n: f64,
    /// Stress of the wire, or of the core, in MPa.
    pub stress_mpa: f64,
    /// Breaking load of the wire, or of the core, in N; `None` where the strength basis gives no value.
    pub breaking_load_n: Option<f64>,
    /// Tension divided by breaking load; `None` where that is unknown.
    pub load_share: Option<f64>,
    /// Label of the strength basis; it belongs beside every breaking load and share, since bases differ by convention.
    pub strength_label: Arc<str>,
    /// Inharmonicity coefficient B, of f_n = n·f0·sqrt(1 + B·n²). Of a wound string it is, in the closed form, that of a
    /// uniform string with the core's stiffness, which is lower than the true one where ends are bare; in the stepped
    /// model the B that fits its exact partials best, which can even be negative where much of the length is bare.
    pub inharmonicity: f64,
    /// Elastic stretch of the straight part when pulled to pitch, in mm.
    pub stretch_mm: f64,
    /// Length of wire for this string in mm before rounding; of a looped pair, this leg's part.
    pub cut_mm: f64,
    /// Layers of a wound string from the inside out.
    pub windings: Vec<WindingFigures>,
    /// What a wound string is as a whole; `None` for a plain one.
    pub wound: Option<WoundFigures>,
    /// Room between this string and a neighbour of its note in mm: the spacing less the greatest width of the string;
    /// negative where they would overlap; `None` where the scale states no spacing or the note has one string.
    pub clearance_mm: Option<f64>,
    /// The partials, if they were asked for. Strings of a note share them.
    pub partials: Option<Arc<PartialFigures>>,
}

/// A wound string as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WoundFigures {
    /// Diameter over the outermost layer in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: f64,
    /// Greatest width in mm: over a hexagonal core across its corners.
    pub greatest_width_mm: f64,
    /// Length of the relaxed core in mm from the hitch pin, where the back length ends and the eye begins, to its free
    /// end, which goes on the tuning pin. The wire of the eye is not in it.
    pub overall_relaxed_mm: f64,
}

/// The partials of one string.
#[derive(Debug, Clone, PartialEq)]
pub struct PartialFigures {
    /// f0 in Hz: the first partial that the string would have at its tension without stiffness.
    pub stiffness_free_hz: f64,
    /// Frequencies in Hz of the partials 1, 2, 3 and so on.
    pub partial_hz: Vec<f64>,
    /// How sharp each partial is of its multiple of the first one, in cents; 0 for the first.
    pub cents: Vec<f64>,
    /// The uniform string whose partials come nearest; in the closed form the string itself, which leaves no residual.
    pub fit: InharmonicityFit,
}

/// One layer of one wound string.
#[derive(Debug, Clone, PartialEq)]
pub struct WindingFigures {
    /// Wire of the layer.
    pub wire_id: WireId,
    /// Length of core that it covers in mm, at pitch.
    pub covered_mm: f64,
    /// Length of winding wire in mm, as it lies on the string, finishing turns included.
    pub wire_length_mm: f64,
    /// Mass of winding wire in g.
    pub wire_mass_g: f64,
    /// Outer diameter over this layer in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: f64,
    /// Where the layer begins and ends, at pitch.
    pub at_pitch: FromEye,
    /// Where the layer begins and ends on the relaxed core: what the winder marks. The core is drawn out by T/(E·A)
    /// between there and pitch.
    pub relaxed: FromEye,
}

/// Where a layer lies, in mm along the core from the hitch pin, where the back length ends and the eye begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FromEye {
    /// The end of the layer that is nearer to the eye.
    pub start_mm: f64,
    /// The end that is nearer to the tuning pin.
    pub end_mm: f64,
}

/// One piece of wire to cut.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// The strings that it makes; `piece_id.strings()` gives them in order.
    pub piece_id: PieceId,
    /// What it becomes.
    pub kind: PieceKind,
    /// Wire to cut from.
    pub wire_id: WireId,
    /// Section.
    pub section_id: SectionId,
    /// Length to cut, already rounded up to the cutting step.
    pub length: Um,
    /// Mass in g, without windings.
    pub mass_g: f64,
}

/// What a set needs of one wire.
#[derive(Debug, Clone, PartialEq)]
pub struct WireTotal {
    /// Wire.
    pub wire_id: WireId,
    /// Pieces to cut from it; 0 for winding wire.
    pub pieces: u32,
    /// Length in mm, of pieces and of windings.
    pub length_mm: f64,
    /// Mass in g.
    pub mass_g: f64,
}

/// One section's part.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionTotal {
    /// Section.
    pub section_id: SectionId,
    /// Strings.
    pub strings: u32,
    /// Pieces.
    pub pieces: u32,
    /// Tied singles among the plain pieces.
    pub tied_singles: u32,
    /// Sum of tensions in N.
    pub tension_n: f64,
}

/// A string with an extreme value. Of several strings with the same value it is the lowest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// String.
    pub string_id: StringId,
    /// Value, in the unit of the field that it is taken from.
    pub value: f64,
}

/// Sums of a set.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SetTotals {
    /// Strings.
    pub strings: u32,
    /// Pieces.
    pub pieces: u32,
    /// Looped pairs.
    pub looped_pairs: u32,
    /// Tied plain singles.
    pub tied_singles: u32,
    /// Wound strings.
    pub wound_strings: u32,
    /// Sum of tensions in N.
    pub tension_n: f64,
    /// Lowest tension in N; a scale has strings, so it is there in every set that [`crate::compute`] gives.
    pub lowest_tension: Option<Extreme>,
    /// Highest tension in N.
    pub highest_tension: Option<Extreme>,
    /// Lowest share of breaking load, among strings where it is known.
    pub lowest_load_share: Option<Extreme>,
    /// Highest share of breaking load, among strings where it is known.
    pub highest_load_share: Option<Extreme>,
}
