//! A wire of the catalogue.

use crate::{Material, SizeDraft, SizeNumber, StrengthBasis, StrengthDraft, WireDraft, WireId};

/// A size in which a wire is bought.
#[derive(Debug, Clone, PartialEq)]
pub struct Pack {
    /// What it is called on an order, such as "500 g coil".
    pub label: String,
    /// Net mass of wire in g.
    pub mass_g: f64,
}

/// A wire of the catalogue: valid, so that it can be computed with. Made by [`WireDraft::validate`].
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    pub(crate) wire_id: WireId,
    pub(crate) title: String,
    pub(crate) material: Material,
    pub(crate) diameter_mm: f64,
    pub(crate) size: Option<SizeNumber>,
    pub(crate) density_kg_m3: f64,
    pub(crate) youngs_modulus_gpa: f64,
    pub(crate) strength: Option<StrengthBasis>,
    pub(crate) packs: Vec<Pack>,
    // Derived once at validation, where a formula's refusal can still be reported.
    pub(crate) area_mm2: f64,
    pub(crate) second_moment_mm4: f64,
    pub(crate) tensile_mpa: Option<f64>,
}

impl Wire {
    /// Returns the identifier.
    #[must_use]
    pub const fn wire_id(&self) -> &WireId {
        &self.wire_id
    }

    /// Returns the name for people.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Returns material and shape.
    #[must_use]
    pub const fn material(&self) -> Material {
        self.material
    }

    /// Returns the diameter in mm, of a hexagonal wire the width across flats.
    #[must_use]
    pub const fn diameter_mm(&self) -> f64 {
        self.diameter_mm
    }

    /// Returns the size number, if the wire has one.
    #[must_use]
    pub const fn size(&self) -> Option<SizeNumber> {
        self.size
    }

    /// Returns the density in kg/m³.
    #[must_use]
    pub const fn density_kg_m3(&self) -> f64 {
        self.density_kg_m3
    }

    /// Returns Young's modulus in GPa.
    #[must_use]
    pub const fn youngs_modulus_gpa(&self) -> f64 {
        self.youngs_modulus_gpa
    }

    /// Returns the strength basis; always there for wire that carries tension.
    #[must_use]
    pub const fn strength(&self) -> Option<&StrengthBasis> {
        self.strength.as_ref()
    }

    /// Returns the sizes in which it is bought, by rising mass.
    #[must_use]
    pub fn packs(&self) -> &[Pack] {
        &self.packs
    }

    /// Returns the area of the section in mm²; see [`becket_acoustics::CrossSection::area_mm2`].
    #[must_use]
    pub const fn area_mm2(&self) -> f64 {
        self.area_mm2
    }

    /// Returns the second moment of area in mm⁴; see [`becket_acoustics::CrossSection::second_moment_mm4`].
    #[must_use]
    pub const fn second_moment_mm4(&self) -> f64 {
        self.second_moment_mm4
    }

    /// Returns the mass of a metre in g: density × area (kg/m³ × mm² = 10⁻³ g/m).
    #[must_use]
    pub const fn linear_density_g_m(&self) -> f64 {
        self.density_kg_m3 * self.area_mm2 * 1e-3
    }

    /// Returns the mass in g of `length_mm` of this wire, slack.
    #[must_use]
    pub const fn mass_g(&self, length_mm: f64) -> f64 {
        self.linear_density_g_m() * length_mm * 1e-3
    }

    /// Returns the length in mm of `mass_g` of this wire, slack.
    #[must_use]
    pub const fn length_mm(&self, mass_g: f64) -> f64 {
        mass_g / self.linear_density_g_m() * 1e3
    }

    /// Returns the tensile strength in MPa at this wire's diameter, if its basis states one there.
    #[must_use]
    pub const fn tensile_mpa(&self) -> Option<f64> {
        self.tensile_mpa
    }

    /// Returns the load in N at which the wire breaks by its strength basis, if that states a value at this
    /// diameter.
    #[must_use]
    pub fn breaking_load_n(&self) -> Option<f64> {
        self.tensile_mpa.map(|tensile_mpa| tensile_mpa * self.area_mm2)
    }

    /// Returns the content as a draft, to be changed and validated again.
    #[must_use]
    pub fn to_draft(&self) -> WireDraft {
        WireDraft {
            wire_id: self.wire_id.as_str().to_owned(),
            title: self.title.clone(),
            material: Some(self.material),
            diameter_mm: self.diameter_mm,
            size: self.size.map(|s| SizeDraft { series: Some(s.series()), number: s.number() }),
            density_kg_m3: self.density_kg_m3,
            youngs_modulus_gpa: self.youngs_modulus_gpa,
            strength: self
                .strength
                .as_ref()
                .map(|s| StrengthDraft { label: s.label.clone(), kind: Some(s.kind.clone()) }),
            packs: self.packs.clone(),
        }
    }
}
