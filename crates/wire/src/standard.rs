//! The series of steel music wire that are built in.

use becket_units::LB_G;

use crate::{
    Material, Pack, SizeDraft, SizeNumber, SizeSeries, StrengthDraft, Wire, WireDraft, astm_a228_minimum,
};

/// Density of steel music wire in kg/m³ (EN 10270-1).
const STEEL_DENSITY_KG_M3: f64 = 7850.0;
/// Young's modulus of steel music wire in GPa (EN 10270-1).
const STEEL_YOUNGS_MODULUS_GPA: f64 = 206.0;

/// Returns round steel music wire in every size of a series, thinnest first.
///
/// Ids are `mw-in-13.5` and `mw-mm-13.5`. Density 7850 kg/m³ and Young's modulus 206 GPa are those of EN
/// 10270-1; the strength basis is the minimum of ASTM A228, which states nothing below 0.026 in or above
/// 0.080 in. Packs are 1/4, 1/3, 1 and 5 lb or 0.5, 1 and 5 kg (common practice, no source).
#[must_use]
pub fn standard_wires(series: SizeSeries) -> Vec<Wire> {
    // Every size passes validation, which a test holds fast by counting; so nothing is dropped here.
    series.numbers().into_iter().filter_map(|size| draft(size).validate().ok()).collect()
}

fn draft(size: SizeNumber) -> WireDraft {
    let a228 = astm_a228_minimum();
    let prefix = match size.series() {
        SizeSeries::Inch => "mw-in",
        SizeSeries::Millimetre => "mw-mm",
    };
    WireDraft {
        wire_id: format!("{prefix}-{size}"),
        title: format!("Music wire No. {size}, {} series", size.series()),
        material: Some(Material::SteelRound),
        diameter_mm: size.diameter_mm(),
        size: Some(SizeDraft { series: Some(size.series()), number: size.number() }),
        density_kg_m3: STEEL_DENSITY_KG_M3,
        youngs_modulus_gpa: STEEL_YOUNGS_MODULUS_GPA,
        strength: Some(StrengthDraft { label: a228.label, kind: Some(a228.kind) }),
        packs: packs(size.series()),
    }
}

fn packs(series: SizeSeries) -> Vec<Pack> {
    let pack = |label: &str, mass_g| Pack { label: label.to_owned(), mass_g };
    match series {
        SizeSeries::Inch => vec![
            pack("1/4 lb coil", LB_G / 4.0),
            pack("1/3 lb coil", LB_G / 3.0),
            pack("1 lb coil", LB_G),
            pack("5 lb coil", 5.0 * LB_G),
        ],
        SizeSeries::Millimetre => {
            vec![pack("500 g coil", 500.0), pack("1 kg coil", 1000.0), pack("5 kg coil", 5000.0)]
        }
    }
}
