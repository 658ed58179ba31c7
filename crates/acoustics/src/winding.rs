//! Wound strings: density, wire and diameter of close windings.

use std::f64::consts::PI;

use crate::{
    CrossSection,
    domain::{DomainError, check, not_negative, positive, result},
};

/// How the mass of a close winding is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WindingModel {
    /// As a tube from the surface below to two wire diameters more, filled to π/4: the trade's formula. It
    /// takes turns for closed rings.
    Tube,
    /// As a helix that rises by one wire diameter with each turn: the wire's true length. The layer is
    /// less than 5 % heavier than the tube, and 2 % at most for sizes in use.
    Helix,
}

/// One layer of close winding, as its wire is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Diameter of the winding wire in mm.
    pub wire_diameter_mm: f64,
    /// Density of the winding wire in kg/m³.
    pub density_kg_m3: f64,
}

/// A layer's mass and where it lies along the speaking length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoveredSpan {
    /// What the layer adds to the linear density, in g/m.
    pub density_g_m: f64,
    /// Start of the layer from the front end of the speaking length, in mm; 0 or above.
    pub start_mm: f64,
    /// End of the layer from the front end of the speaking length, in mm; above the start. What lies beyond
    /// the speaking length does not sound and is left out.
    pub end_mm: f64,
}

/// Returns the girth diameter of a wound string over a layer, which is what the next layer goes by.
///
/// # Units
/// `under_diameter_mm`: girth diameter of what the layer lies on, in mm (see
/// [`CrossSection::girth_diameter_mm`]);
/// `wire_diameter_mm` in mm; both above 0. Result in mm.
///
/// # Formula
/// ```text
/// D' = D + 2·w
/// ```
///
/// # Valid range and accuracy
/// Close round wire that is not flattened and does not sink into the layer below. Over a hexagon it is the
/// mean diameter; across corners the string is 2·s/√3 + 2·w.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// Elementary geometry.
///
/// # Examples
/// ```
/// use becket_acoustics::outer_diameter_mm;
/// assert_eq!(outer_diameter_mm(1.0, 0.5)?, 2.0);
/// assert!(outer_diameter_mm(1.0, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn outer_diameter_mm(under_diameter_mm: f64, wire_diameter_mm: f64) -> Result<f64, DomainError> {
    let under = positive("under_diameter_mm", under_diameter_mm)?;
    result(under + 2.0 * positive("wire_diameter_mm", wire_diameter_mm)?)
}

/// Returns what one layer of close winding adds to the linear density.
///
/// # Units
/// `under_diameter_mm`: girth diameter of what the layer lies on, in mm (see
/// [`CrossSection::girth_diameter_mm`]);
/// `wire_diameter_mm` in mm; `density_kg_m3` of the winding wire in kg/m³; all above 0. Result in g/m.
///
/// # Formula
/// ```text
/// tube   μ = ρ·(π²/4)·w·(D + w)          the same as ρ·(π/4)·(π/4)·((D + 2w)² − D²)
/// helix  μ = ρ·(π/4)·w²·√(1 + (π·(D + w)/w)²)
/// ```
///
/// # Valid range and accuracy
/// Close round wire that is not flattened. The models differ by up to 2 % for sizes in use; weighing decides.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// Elementary geometry; the tube is common practice of the trade.
///
/// # Examples
/// ```
/// use becket_acoustics::{WindingModel, layer_density_g_m};
/// let tube = layer_density_g_m(WindingModel::Tube, 1.0, 0.5, 8930.0)?;
/// assert!((tube - 16.5255).abs() < 1e-4);
/// assert!(layer_density_g_m(WindingModel::Helix, 1.0, 0.5, 8930.0)? > tube);
/// assert!(layer_density_g_m(WindingModel::Tube, 1.0, 0.5, -1.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn layer_density_g_m(
    model: WindingModel,
    under_diameter_mm: f64,
    wire_diameter_mm: f64,
    density_kg_m3: f64,
) -> Result<f64, DomainError> {
    let under = positive("under_diameter_mm", under_diameter_mm)?;
    let w = positive("wire_diameter_mm", wire_diameter_mm)?;
    let wire_g_m = positive("density_kg_m3", density_kg_m3)? * PI / 4.0 * w * w * 1e-3;
    let turns_per_mm = 1.0 / w;
    let turn_mm = PI * (under + w);
    result(match model {
        WindingModel::Tube => wire_g_m * turn_mm * turns_per_mm,
        WindingModel::Helix => wire_g_m * turn_mm.hypot(w) * turns_per_mm,
    })
}

/// Returns the linear density of a wound string where all its layers lie.
///
/// # Units
/// `core_density_g_m`: linear density of the core in g/m; `core_width_mm`: diameter or width across flats in
/// mm; both above 0. `layers` from the inside out, up to any number, also none. Result in g/m.
///
/// # Formula
/// ```text
/// μ = μ_core + Σ μ_layer,  each layer over the girth diameter of the one below
/// ```
///
/// # Valid range and accuracy
/// See [`layer_density_g_m`]. Bare ends are not in it: see [`effective_density_g_m`].
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// Elementary geometry.
///
/// # Examples
/// ```
/// use becket_acoustics::{CrossSection, Layer, WindingModel, wound_density_g_m};
/// let copper = |wire_diameter_mm| Layer { wire_diameter_mm, density_kg_m3: 8930.0 };
/// let core_g_m = 7.850 * CrossSection::Round.area_mm2(1.4)?;
/// let layers = [copper(0.6), copper(1.2)];
/// let g_m = wound_density_g_m(WindingModel::Tube, CrossSection::Round, 1.4, core_g_m, &layers)?;
/// assert!((g_m - 139.0).abs() < 0.05);
/// assert!(wound_density_g_m(WindingModel::Tube, CrossSection::Round, 0.0, core_g_m, &layers).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn wound_density_g_m(
    model: WindingModel,
    core_section: CrossSection,
    core_width_mm: f64,
    core_density_g_m: f64,
    layers: &[Layer],
) -> Result<f64, DomainError> {
    let mut under = core_section.girth_diameter_mm(core_width_mm)?;
    let mut sum = positive("core_density_g_m", core_density_g_m)?;
    for layer in layers {
        sum += layer_density_g_m(model, under, layer.wire_diameter_mm, layer.density_kg_m3)?;
        under = outer_diameter_mm(under, layer.wire_diameter_mm)?;
    }
    result(sum)
}

/// Returns the length of wire in a close winding.
///
/// # Units
/// `under_diameter_mm`: girth diameter of what the layer lies on, in mm (see
/// [`CrossSection::girth_diameter_mm`]), above 0; `wire_diameter_mm` in mm, above 0; `winding_length_mm`
/// along the string in mm, 0 or above. Result in mm.
///
/// # Formula
/// ```text
/// (W/w)·√((π·(D + w))² + w²)          over a hexagon π·(D + w) = 2·√3·s + π·w
/// ```
///
/// # Valid range and accuracy
/// Wire on the string; what the winder holds and snips off is not in it. Stretch of the wire while winding is
/// left out.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Length of a helix; elementary geometry.
///
/// # Examples
/// ```
/// use becket_acoustics::winding_wire_length_mm;
/// assert!((winding_wire_length_mm(1.0, 0.5, 1000.0)? - 9478.0).abs() < 1.0);
/// assert!(winding_wire_length_mm(1.0, 0.5, -1.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn winding_wire_length_mm(
    under_diameter_mm: f64,
    wire_diameter_mm: f64,
    winding_length_mm: f64,
) -> Result<f64, DomainError> {
    let under = positive("under_diameter_mm", under_diameter_mm)?;
    let w = positive("wire_diameter_mm", wire_diameter_mm)?;
    let length = not_negative("winding_length_mm", winding_length_mm)?;
    result(length / w * (PI * (under + w)).hypot(w))
}

/// Returns the linear density of the uniform string that has the same first mode as a wound string with bare
/// ends.
///
/// # Units
/// `length_mm`: speaking length in mm, above 0; `core_density_g_m` in g/m, above 0; `spans`: the layers, each
/// with its density in g/m (0 or above) and its place in mm. Result in g/m.
///
/// # Formula
/// ```text
/// μ_eff = μ_core + Σ μ_w·(1/L)·∫_a^b 2·sin²(π·x/L) dx
///       = μ_core + Σ μ_w·[(b − a)/L − (sin(2π·b/L) − sin(2π·a/L))/(2π)]
/// ```
///
/// # Valid range and accuracy
/// Rayleigh's quotient with the sine that is the exact first mode of the uniform string. Without bare ends it
/// is exact. With bare ends the quotient bounds the frequency of a limp string from above, so the density
/// comes out too low, by less than 0.002 % where each bare end is up to 5 % of the length, and 0.04 % up to
/// 10 % (by comparison with the exact solution of the stepped limp string).
///
/// # Errors
/// [`DomainError`] names the argument outside its range, `start_mm` if a layer begins beyond the speaking
/// length,
/// `end_mm` if it is not above `start_mm`.
///
/// # Source
/// Lord Rayleigh, The Theory of Sound, vol. 1, §§ 88–91 (from memory).
///
/// # Examples
/// ```
/// use becket_acoustics::{CoveredSpan, effective_density_g_m};
/// let full = CoveredSpan { density_g_m: 16.5, start_mm: 0.0, end_mm: 1200.0 };
/// assert!((effective_density_g_m(1200.0, 6.2, &[full])? - 22.7).abs() < 1e-9);
/// let bare = CoveredSpan { start_mm: 20.0, end_mm: 1180.0, ..full };
/// assert!(effective_density_g_m(1200.0, 6.2, &[bare])? < 22.7);
/// assert!(effective_density_g_m(1200.0, 6.2, &[CoveredSpan { end_mm: 0.0, ..full }]).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn effective_density_g_m(
    length_mm: f64,
    core_density_g_m: f64,
    spans: &[CoveredSpan],
) -> Result<f64, DomainError> {
    let length = positive("length_mm", length_mm)?;
    let mut sum = positive("core_density_g_m", core_density_g_m)?;
    for span in spans {
        let density = not_negative("density_g_m", span.density_g_m)?;
        let start = not_negative("start_mm", span.start_mm)?;
        check("start_mm", start, start < length, "below length_mm")?;
        let end = check("end_mm", span.end_mm, span.end_mm > start, "a finite number above start_mm")?;
        sum += density * first_mode_share(start / length, (end / length).min(1.0));
    }
    result(sum)
}

/// ∫_a^b 2·sin²(π·x) dx for 0 ≤ a < b ≤ 1: the weight of a span in the first mode; 1 for the whole.
fn first_mode_share(a: f64, b: f64) -> f64 {
    (b - a) - ((2.0 * PI * b).sin() - (2.0 * PI * a).sin()) / (2.0 * PI)
}
