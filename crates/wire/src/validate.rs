//! From draft to wire, with every fault told.

use becket_acoustics::DomainError;
use becket_units::{Fault, IdentifierError};

use crate::{
    Material, Pack, SizeDraft, SizeNumber, StrengthBasis, StrengthDraft, StrengthKind, StrengthPoint, Wire,
    WireDraft, WireId,
};

/// Longest title or label in characters.
const MAX_TEXT: usize = 120;
/// Most rows of a strength table.
const MAX_POINTS: usize = 200;
/// Most pack sizes of a wire.
const MAX_PACKS: usize = 50;
/// Range of tensile strengths in MPa: far beyond any wire on either side.
const TENSILE_MPA: (f64, f64) = (10.0, 10_000.0);
/// Range of diameters in mm, of wires and in strength tables.
const DIAMETER_MM: (f64, f64) = (0.05, 6.0);
/// Range of net masses in g.
const PACK_MASS_G: (f64, f64) = (0.1, 1_000_000.0);

/// Largest difference in mm between a wire and the nominal diameter of its size: half of the finest half step
/// of the millimetre series. A wire that is further off is nearer to another size.
const SIZE_TOLERANCE_MM: f64 = 0.0125;
/// Keeps a wire that is exactly at the tolerance from being refused for a rounding error.
const ROUNDING_MM: f64 = 1e-9;

impl WireDraft {
    /// Checks the draft and makes a wire of it.
    ///
    /// # Errors
    /// All faults at once, in the order of the fields, each with the path of its field, the value and what is
    /// allowed; never panics.
    ///
    /// # Examples
    /// ```
    /// use becket_wire::{Material, WireDraft};
    /// let mut draft = WireDraft {
    ///     wire_id: "copper-0.5".into(),
    ///     material: Some(Material::Copper),
    ///     diameter_mm: 0.5,
    ///     density_kg_m3: 8930.0,
    ///     youngs_modulus_gpa: 120.0,
    ///     ..WireDraft::default()
    /// };
    /// assert!(draft.validate().is_ok());
    /// draft.diameter_mm = 50.0;
    /// draft.density_kg_m3 = f64::NAN;
    /// assert_eq!(draft.validate().unwrap_err().len(), 2);
    /// ```
    pub fn validate(&self) -> Result<Wire, Vec<Fault>> {
        let mut faults = Vec::new();
        let wire_id = WireId::new(&self.wire_id).ok();
        if wire_id.is_none() {
            faults.push(Fault::new("wire_id", shortened(&self.wire_id), IdentifierError::ALLOWED));
        }
        check_text("title", &self.title, 0, &mut faults);
        if self.material.is_none() {
            let all = Material::ALL.map(|material| material.to_string()).join(", ");
            faults.push(Fault::new("material", "unspecified", all));
        }
        check_range("diameter_mm", self.diameter_mm, DIAMETER_MM, "mm", &mut faults);
        let size = self.size.as_ref().and_then(|size| self.check_size(size, &mut faults));
        check_range("density_kg_m3", self.density_kg_m3, (1_000.0, 25_000.0), "kg/m³", &mut faults);
        check_range("youngs_modulus_gpa", self.youngs_modulus_gpa, (10.0, 500.0), "GPa", &mut faults);
        let strength = self.check_strength(&mut faults);
        check_packs(&self.packs, &mut faults);
        match (wire_id, self.material) {
            (Some(wire_id), Some(material)) if faults.is_empty() => self
                .build(wire_id, material, size, strength)
                .map_err(|error| vec![Fault::new("diameter_mm", self.diameter_mm, error.to_string())]),
            _ => Err(faults),
        }
    }

    fn build(
        &self,
        wire_id: WireId,
        material: Material,
        size: Option<SizeNumber>,
        strength: Option<StrengthBasis>,
    ) -> Result<Wire, DomainError> {
        let section = material.cross_section();
        Ok(Wire {
            wire_id,
            title: self.title.clone(),
            material,
            diameter_mm: self.diameter_mm,
            size,
            density_kg_m3: self.density_kg_m3,
            youngs_modulus_gpa: self.youngs_modulus_gpa,
            tensile_mpa: strength.as_ref().and_then(|basis| basis.tensile_mpa(self.diameter_mm)),
            strength,
            packs: self.packs.clone(),
            area_mm2: section.area_mm2(self.diameter_mm)?,
            second_moment_mm4: section.second_moment_mm4(self.diameter_mm)?,
        })
    }

    fn check_size(&self, size: &SizeDraft, faults: &mut Vec<Fault>) -> Option<SizeNumber> {
        if self.material.is_some_and(|material| !material.carries_tension()) {
            faults.push(Fault::new(
                "size",
                size.number,
                "absent for winding wire: the series are of music wire",
            ));
        }
        let Some(series) = size.series else {
            faults.push(Fault::new("size.series", "unspecified", "inch, millimetre"));
            return None;
        };
        let number = match SizeNumber::new(series, size.number) {
            Ok(number) => number,
            Err(error) => {
                faults.push(Fault::new("size.number", size.number, error.allowed()));
                return None;
            }
        };
        let nominal_mm = number.diameter_mm();
        if (self.diameter_mm - nominal_mm).abs() > SIZE_TOLERANCE_MM + ROUNDING_MM {
            let allowed = format!(
                "a size within {SIZE_TOLERANCE_MM} mm of the wire's diameter {} mm; No. {number} of the {series} \
                 series is {nominal_mm} mm",
                self.diameter_mm
            );
            faults.push(Fault::new("size.number", size.number, allowed));
        }
        Some(number)
    }

    fn check_strength(&self, faults: &mut Vec<Fault>) -> Option<StrengthBasis> {
        let carries = self.material.map(Material::carries_tension);
        let Some(StrengthDraft { label, kind }) = &self.strength else {
            if carries == Some(true) {
                faults.push(Fault::new("strength", "absent", "required for a wire that carries tension"));
            }
            return None;
        };
        if carries == Some(false) {
            faults.push(Fault::new(
                "strength",
                shortened(label),
                "absent for winding wire, which carries no tension",
            ));
        }
        check_text("strength.label", label, 1, faults);
        let Some(kind) = kind else {
            faults.push(Fault::new("strength.basis", "unspecified", "table, power_law or stated"));
            return None;
        };
        check_kind(kind, faults);
        Some(StrengthBasis { label: label.clone(), kind: kind.clone() })
    }
}

fn check_kind(kind: &StrengthKind, faults: &mut Vec<Fault>) {
    match kind {
        StrengthKind::Table(points) => check_points(points, faults),
        StrengthKind::PowerLaw { a_mpa, m } => {
            check_range("strength.power_law.a_mpa", *a_mpa, TENSILE_MPA, "MPa·mm^m", faults);
            check_range("strength.power_law.m", *m, (0.0, 1.0), "", faults);
        }
        StrengthKind::Stated { tensile_mpa } => {
            check_range("strength.stated.tensile_mpa", *tensile_mpa, TENSILE_MPA, "MPa", faults);
        }
    }
}

fn check_points(points: &[StrengthPoint], faults: &mut Vec<Fault>) {
    if !(2..=MAX_POINTS).contains(&points.len()) {
        faults.push(Fault::new("strength.table.points", points.len(), format!("2 to {MAX_POINTS} rows")));
    }
    let mut before = f64::NEG_INFINITY;
    for (i, point) in points.iter().take(MAX_POINTS).enumerate() {
        let path = format!("strength.table.points[{i}]");
        let diameter = format!("{path}.diameter_mm");
        check_range(&diameter, point.diameter_mm, DIAMETER_MM, "mm", faults);
        if point.diameter_mm <= before {
            faults.push(Fault::new(
                diameter,
                point.diameter_mm,
                format!("above {before}, that of the row before"),
            ));
        }
        before = point.diameter_mm;
        check_range(&format!("{path}.tensile_mpa"), point.tensile_mpa, TENSILE_MPA, "MPa", faults);
    }
}

fn check_packs(packs: &[Pack], faults: &mut Vec<Fault>) {
    if packs.len() > MAX_PACKS {
        faults.push(Fault::new("packs", packs.len(), format!("up to {MAX_PACKS}")));
    }
    let mut before = f64::NEG_INFINITY;
    for (i, pack) in packs.iter().take(MAX_PACKS).enumerate() {
        check_text(&format!("packs[{i}].label"), &pack.label, 1, faults);
        let mass = format!("packs[{i}].mass_g");
        check_range(&mass, pack.mass_g, PACK_MASS_G, "g", faults);
        if pack.mass_g <= before {
            faults.push(Fault::new(mass, pack.mass_g, format!("above {before}, that of the pack before")));
        }
        before = pack.mass_g;
    }
}

fn check_range(field: &str, value: f64, (low, high): (f64, f64), unit: &str, faults: &mut Vec<Fault>) {
    faults.extend(Fault::outside(field, value, low, high, unit));
}

fn check_text(field: &str, text: &str, min: usize, faults: &mut Vec<Fault>) {
    let length = text.chars().count();
    if !(min..=MAX_TEXT).contains(&length) || text.chars().any(char::is_control) {
        let allowed = format!("{min} to {MAX_TEXT} characters on one line");
        faults.push(Fault::new(field, shortened(text), allowed));
    }
}

/// A fault quotes what was given, but not without bound.
fn shortened(text: &str) -> String {
    text.chars().take(MAX_TEXT).collect()
}
