//! A wire as somebody wrote it down.

use crate::{Material, Pack, SizeSeries, StrengthKind};

/// A size number as written down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SizeDraft {
    /// Series, if stated.
    pub series: Option<SizeSeries>,
    /// Number.
    pub number: f64,
}

/// A strength basis as written down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StrengthDraft {
    /// Short name of the basis.
    pub label: String,
    /// The basis, if stated.
    pub kind: Option<StrengthKind>,
}

/// A wire as somebody wrote it down: nothing is checked yet. [`WireDraft::validate`] makes a wire of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WireDraft {
    /// Identifier: lower-case letters, digits, `.`, `-` and `_`, beginning with a letter or digit, up to 63
    /// characters.
    pub wire_id: String,
    /// Name for people, up to 120 characters.
    pub title: String,
    /// Material and shape, if stated.
    pub material: Option<Material>,
    /// Diameter in mm, of a hexagonal wire the width across flats; 0.05 to 6.
    pub diameter_mm: f64,
    /// Size number, where the wire has one.
    pub size: Option<SizeDraft>,
    /// Density in kg/m³, 1000 to 25000.
    pub density_kg_m3: f64,
    /// Young's modulus in GPa, 10 to 500.
    pub youngs_modulus_gpa: f64,
    /// Strength basis; required for a wire that carries tension, absent for winding wire.
    pub strength: Option<StrengthDraft>,
    /// Sizes in which it is bought, by rising mass.
    pub packs: Vec<Pack>,
}
