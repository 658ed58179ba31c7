//! Tensile strength by diameter.

use becket_units::INCH_MM;

/// One row of a table of tensile strength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrengthPoint {
    /// Diameter in mm.
    pub diameter_mm: f64,
    /// Tensile strength in MPa at that diameter.
    pub tensile_mpa: f64,
}

/// Where a tensile strength comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum StrengthKind {
    /// Rows by rising diameter, interpolated linearly; no value outside the first and last row.
    Table(Vec<StrengthPoint>),
    /// S = a / d^m with d in mm.
    PowerLaw {
        /// Coefficient a in MPa·mm^m.
        a_mpa: f64,
        /// Exponent m, 0 to 1.
        m: f64,
    },
    /// One value, as a maker's certificate states it.
    Stated {
        /// Tensile strength in MPa.
        tensile_mpa: f64,
    },
}

/// A statement of tensile strength with its label.
///
/// Statements differ by up to 40 % with the convention (average, minimum, derated), so the label goes
/// wherever a share of breaking load goes.
#[derive(Debug, Clone, PartialEq)]
pub struct StrengthBasis {
    /// Short name of the basis, such as "ASTM A228 minimum".
    pub label: String,
    /// The basis itself.
    pub kind: StrengthKind,
}

/// Relative distance within which a diameter counts as the first or last row of a table, so that a size
/// computed from inches does not fall off the table's end by a rounding error.
const END_SLACK: f64 = 1e-9;

/// ASTM A228 minima: thousandths of an inch and ksi.
const A228_MINIMUM_MIL_KSI: [(f64, f64); 19] = [
    (26.0, 337.0),
    (28.0, 333.0),
    (30.0, 330.0),
    (32.0, 327.0),
    (34.0, 324.0),
    (36.0, 321.0),
    (38.0, 318.0),
    (40.0, 315.0),
    (42.0, 313.0),
    (45.0, 309.0),
    (48.0, 306.0),
    (51.0, 303.0),
    (55.0, 300.0),
    (59.0, 296.0),
    (63.0, 293.0),
    (67.0, 290.0),
    (72.0, 287.0),
    (76.0, 284.0),
    (80.0, 282.0),
];

/// Megapascals in a thousand pounds-force per square inch: 4448.2216152605 N over 25.4² mm².
const KSI_MPA: f64 = 1000.0 * becket_units::LBF_N / (INCH_MM * INCH_MM);

/// Returns the minimum tensile strength of music wire by ASTM A228, 0.026 to 0.080 in (0.6604 to 2.032 mm).
///
/// # Source
/// ASTM A228, table of tensile requirements, as a supplier reproduces it.
#[must_use]
pub fn astm_a228_minimum() -> StrengthBasis {
    let point = |(mil, ksi): (f64, f64)| StrengthPoint {
        diameter_mm: mil * INCH_MM / 1000.0,
        tensile_mpa: ksi * KSI_MPA,
    };
    StrengthBasis {
        label: "ASTM A228 minimum".to_owned(),
        kind: StrengthKind::Table(A228_MINIMUM_MIL_KSI.into_iter().map(point).collect()),
    }
}

impl StrengthBasis {
    /// Returns the tensile strength at a diameter.
    ///
    /// # Units
    /// `diameter_mm` in mm, above 0; result in MPa, above 0.
    ///
    /// # Formula
    /// ```text
    /// table      linear between the neighbouring rows
    /// power law  a / d^m
    /// stated     the value
    /// ```
    ///
    /// # Valid range and accuracy
    /// `None` where the basis says nothing: outside the rows of a table, and for a diameter that is not a
    /// positive finite number. Nothing is extrapolated.
    ///
    /// # Examples
    /// ```
    /// let basis = becket_wire::astm_a228_minimum();
    /// let no_13 = basis.tensile_mpa(0.031 * 25.4).unwrap_or_default();
    /// assert!((no_13 - 2265.0).abs() < 0.5); // 328.5 ksi
    /// assert_eq!(basis.tensile_mpa(0.5), None);
    /// ```
    #[must_use]
    pub fn tensile_mpa(&self, diameter_mm: f64) -> Option<f64> {
        if !(diameter_mm.is_finite() && diameter_mm > 0.0) {
            return None;
        }
        let tensile = match &self.kind {
            StrengthKind::Table(points) => interpolate(points, diameter_mm)?,
            StrengthKind::PowerLaw { a_mpa, m } => a_mpa / diameter_mm.powf(*m),
            StrengthKind::Stated { tensile_mpa } => *tensile_mpa,
        };
        (tensile.is_finite() && tensile > 0.0).then_some(tensile)
    }
}

fn interpolate(points: &[StrengthPoint], diameter_mm: f64) -> Option<f64> {
    let (first, last) = (points.first()?, points.last()?);
    let slack = END_SLACK * diameter_mm;
    if diameter_mm < first.diameter_mm - slack || diameter_mm > last.diameter_mm + slack {
        return None;
    }
    let d = diameter_mm.clamp(first.diameter_mm, last.diameter_mm.max(first.diameter_mm));
    let above = points.partition_point(|p| p.diameter_mm < d);
    let high = points.get(above)?;
    let Some(low) = above.checked_sub(1).and_then(|i| points.get(i)) else {
        return Some(high.tensile_mpa);
    };
    let share = (d - low.diameter_mm) / (high.diameter_mm - low.diameter_mm);
    Some(low.tensile_mpa + share * (high.tensile_mpa - low.tensile_mpa))
}
