//! The parts of an order.

use becket_units::Um;
use becket_wire::WireId;

/// An order of wound strings.
#[derive(Debug, Clone, PartialEq)]
pub struct WindingOrder {
    /// Lines by rising note; of a note in the order of the serials that it is for.
    pub lines: Vec<OrderLine>,
    /// Wire for all lines together, by rising wire id.
    pub materials: Vec<MaterialTotal>,
}

/// How many strings of a line one instrument gets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialQuantity {
    /// Serial.
    pub serial_id: String,
    /// Strings.
    pub quantity: u32,
}

/// Strings that are alike in everything that the winder sees.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderLine {
    /// Note: 1 is A0, 49 is A4.
    pub note: i16,
    /// Strings to make.
    pub quantity: u32,
    /// For which instruments; quantities add up to that of the line.
    pub serials: Vec<SerialQuantity>,
    /// Core.
    pub core_wire_id: WireId,
    /// Layers from the inside out, one or two.
    pub layers: Vec<Layer>,
    /// Length in mm of the relaxed core from the eye (the point at the hitch pin where the back length ends) to its free
    /// end, to 0.01 mm. The wire of the eye is not in it.
    pub overall_relaxed_mm: f64,
    /// Wire for the twisted eye in mm, to 0.01 mm.
    pub eye_mm: f64,
    /// Length of core to cut for one string, eye included.
    pub cut: Um,
    /// Mass of the core of one string in g as it is cut, to 0.001 g.
    pub core_mass_g: f64,
    /// Mass of one finished string in g: core and layers, to 0.001 g.
    pub mass_g: f64,
}

/// One layer of a string.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Wire.
    pub wire_id: WireId,
    /// Where it begins, in mm from the eye along the relaxed core, to 0.01 mm: the end nearer to the eye.
    pub start_from_eye_mm: f64,
    /// Where it ends, in mm from the eye along the relaxed core, to 0.01 mm: the end nearer to the tuning pin.
    pub end_from_eye_mm: f64,
    /// Diameter over this layer in mm, to 0.001 mm.
    pub outer_diameter_mm: f64,
    /// Length of its wire in mm, finishing turns included, to 1 mm.
    pub wire_length_mm: f64,
    /// Mass of its wire in g, finishing turns included, to 0.001 g.
    pub wire_mass_g: f64,
}

/// Wire of one kind for a whole order.
#[derive(Debug, Clone, PartialEq)]
pub struct MaterialTotal {
    /// Wire.
    pub wire_id: WireId,
    /// Length in m.
    pub length_m: f64,
    /// Mass in kg.
    pub mass_kg: f64,
    /// Packs that hold it, by rising mass; none if the catalogue states no packs of the wire.
    pub packs: Vec<PackCount>,
}

/// How many packs of one size.
#[derive(Debug, Clone, PartialEq)]
pub struct PackCount {
    /// Name of the pack.
    pub label: String,
    /// Net mass of one in g.
    pub mass_g: f64,
    /// How many.
    pub count: u64,
}

/// Rounds half away from zero to a whole number of parts, of which `per_unit` make a unit.
pub(crate) fn rounded(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}

impl OrderLine {
    /// Whether another line differs only in the serials that it is for.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        // Destructured without `..`: a new field must be compared.
        let Self {
            note,
            quantity: _,
            serials: _,
            core_wire_id,
            layers,
            overall_relaxed_mm,
            eye_mm,
            cut,
            core_mass_g,
            mass_g,
        } = self;
        *note == other.note
            && *core_wire_id == other.core_wire_id
            && *layers == other.layers
            && overall_relaxed_mm.total_cmp(&other.overall_relaxed_mm).is_eq()
            && eye_mm.total_cmp(&other.eye_mm).is_eq()
            && *cut == other.cut
            && core_mass_g.total_cmp(&other.core_mass_g).is_eq()
            && mass_g.total_cmp(&other.mass_g).is_eq()
    }
}
