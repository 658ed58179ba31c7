//! Wires.

use becket_wire::{SizeDraft, StrengthDraft, StrengthKind, WireDraft};

use super::enums::Known;
use crate::stringing::{
    Pack, SizeNumber, StrengthBasis, StrengthPoint, StrengthPowerLaw, StrengthStated, StrengthTable, Wire,
    strength_basis::Basis,
};

/// Takes the wire as it was written. What is output only, etag and times, is left out.
impl From<&Wire> for WireDraft {
    fn from(wire: &Wire) -> Self {
        let Wire {
            wire_id,
            title,
            material,
            diameter_mm,
            size,
            density_kg_m3,
            youngs_modulus_gpa,
            strength,
            packs,
            etag: _,
            create_time: _,
            update_time: _,
        } = wire;
        Self {
            wire_id: wire_id.clone(),
            title: title.clone(),
            material: Known::known(*material),
            diameter_mm: *diameter_mm,
            size: size
                .as_ref()
                .map(|&SizeNumber { series, number }| SizeDraft { series: Known::known(series), number }),
            density_kg_m3: *density_kg_m3,
            youngs_modulus_gpa: *youngs_modulus_gpa,
            strength: strength.as_ref().map(strength_draft),
            packs: packs
                .iter()
                .map(|Pack { label, mass_g }| becket_wire::Pack { label: label.clone(), mass_g: *mass_g })
                .collect(),
        }
    }
}

fn strength_draft(StrengthBasis { label, basis }: &StrengthBasis) -> StrengthDraft {
    let kind = basis.as_ref().map(|basis| match basis {
        Basis::Table(StrengthTable { points }) => StrengthKind::Table(
            points
                .iter()
                .map(|&StrengthPoint { diameter_mm, tensile_mpa }| becket_wire::StrengthPoint {
                    diameter_mm,
                    tensile_mpa,
                })
                .collect(),
        ),
        Basis::PowerLaw(StrengthPowerLaw { a_mpa, m }) => StrengthKind::PowerLaw { a_mpa: *a_mpa, m: *m },
        Basis::Stated(StrengthStated { tensile_mpa }) => StrengthKind::Stated { tensile_mpa: *tensile_mpa },
    });
    StrengthDraft { label: label.clone(), kind }
}

/// Etag and times are left empty: the store knows them.
impl From<&WireDraft> for Wire {
    fn from(draft: &WireDraft) -> Self {
        let WireDraft {
            wire_id,
            title,
            material,
            diameter_mm,
            size,
            density_kg_m3,
            youngs_modulus_gpa,
            strength,
            packs,
        } = draft;
        Self {
            wire_id: wire_id.clone(),
            title: title.clone(),
            material: material.map_or(0, Known::number),
            diameter_mm: *diameter_mm,
            size: size.as_ref().map(|SizeDraft { series, number }| SizeNumber {
                series: series.map_or(0, Known::number),
                number: *number,
            }),
            density_kg_m3: *density_kg_m3,
            youngs_modulus_gpa: *youngs_modulus_gpa,
            strength: strength.as_ref().map(strength_basis),
            packs: packs
                .iter()
                .map(|becket_wire::Pack { label, mass_g }| Pack { label: label.clone(), mass_g: *mass_g })
                .collect(),
            etag: String::new(),
            create_time: None,
            update_time: None,
        }
    }
}

fn strength_basis(StrengthDraft { label, kind }: &StrengthDraft) -> StrengthBasis {
    let basis = kind.as_ref().map(|kind| match kind {
        StrengthKind::Table(points) => Basis::Table(StrengthTable {
            points: points
                .iter()
                .map(|&becket_wire::StrengthPoint { diameter_mm, tensile_mpa }| StrengthPoint {
                    diameter_mm,
                    tensile_mpa,
                })
                .collect(),
        }),
        StrengthKind::PowerLaw { a_mpa, m } => Basis::PowerLaw(StrengthPowerLaw { a_mpa: *a_mpa, m: *m }),
        StrengthKind::Stated { tensile_mpa } => Basis::Stated(StrengthStated { tensile_mpa: *tensile_mpa }),
    });
    StrengthBasis { label: label.clone(), basis }
}

/// Etag and times are left empty: the store knows them.
impl From<&becket_wire::Wire> for Wire {
    fn from(wire: &becket_wire::Wire) -> Self {
        Self::from(&wire.to_draft())
    }
}
