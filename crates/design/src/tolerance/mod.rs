//! What tolerances of wire, length and pitch do to the figures of a string.

mod figures;
mod model;

pub use figures::{LayerFigures, TolerancedFigures, WoundStringFigures};
pub use model::{Ends, TolerancedString, TolerancedWinding};

use becket_acoustics::DomainError;

use crate::check::Faults;
use crate::error::DesignError;
use model::Inputs;

/// What each input may be off by, up or down; 0 for what is exact. All are independent of each other, and have the same
/// meaning among themselves: all limits, or all standard deviations.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tolerances {
    /// Diameter of wire or core in mm, 0 to 0.1.
    pub core_diameter_mm: f64,
    /// Diameter of winding wire in mm, 0 to 0.1; of two layers each may be off by it, independently of the other.
    pub winding_diameter_mm: f64,
    /// Speaking length in mm, 0 to 50.
    pub speaking_mm: f64,
    /// Pitch in cents, 0 to 100.
    pub pitch_cents: f64,
    /// Young's modulus as a share of itself, 0 to 0.2.
    pub youngs_modulus: f64,
    /// Density of wire or core as a share of itself, 0 to 0.2.
    pub core_density: f64,
    /// Density of winding wire as a share of itself, 0 to 0.2; of two layers each may be off by it.
    pub winding_density: f64,
}

/// An input with a tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// Diameter of wire or core.
    CoreDiameter,
    /// Diameter of the wire of the only layer, or of the inner one of two.
    WindingDiameter,
    /// Diameter of the wire of the outer layer of two.
    OuterWindingDiameter,
    /// Speaking length.
    SpeakingLength,
    /// Pitch.
    Pitch,
    /// Young's modulus.
    YoungsModulus,
    /// Density of wire or core.
    CoreDensity,
    /// Density of the wire of the only layer, or of the inner one of two.
    WindingDensity,
    /// Density of the wire of the outer layer of two.
    OuterWindingDensity,
}

impl Source {
    /// All sources, in the order in which contributions are listed.
    pub const ALL: [Self; 9] = [
        Self::CoreDiameter,
        Self::WindingDiameter,
        Self::OuterWindingDiameter,
        Self::SpeakingLength,
        Self::Pitch,
        Self::YoungsModulus,
        Self::CoreDensity,
        Self::WindingDensity,
        Self::OuterWindingDensity,
    ];
}

/// What one source adds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// The source.
    pub source: Source,
    /// Change of the quantity, with sign and in its unit, where the input is higher by its tolerance.
    pub change: f64,
}

/// A quantity with what the tolerances do to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// Value with all inputs as stated.
    pub nominal: f64,
    /// Root of the sum of the squares of the contributions: its tolerance if the sources are independent.
    pub root_sum_square: f64,
    /// Sum of the contributions without sign: its tolerance if all conspire.
    pub worst_case: f64,
    /// Contributions other than 0.
    pub contributions: Vec<Contribution>,
}

/// All figures of a string with what the tolerances do to them.
pub type ToleranceReport = TolerancedFigures<Propagated>;

impl Propagated {
    fn exact(nominal: f64) -> Self {
        Self { nominal, root_sum_square: 0.0, worst_case: 0.0, contributions: Vec::new() }
    }

    /// Adds what a source contributes.
    fn with(mut self, source: Source, change: f64) -> Self {
        if change != 0.0 {
            self.root_sum_square = self.root_sum_square.hypot(change);
            self.worst_case += change.abs();
            self.contributions.push(Contribution { source, change });
        }
        self
    }
}

/// Propagates tolerances to the figures of a plain or wound string.
///
/// # Units
/// As the fields say.
///
/// # Formula
/// ```text
/// c_i = ∂y/∂x_i · δ_i          root sum square = √Σ c_i²          worst case = Σ |c_i|
/// ```
/// The derivatives are taken of the very functions that compute a set, by central differences of one part in 10⁵ (0.01
/// cents for pitch), so that they cannot drift apart: by closed formulas, or by the exact solution of the stepped string, and
/// with windings as tubes or helices, as the string's models say.
///
/// # Valid range and accuracy
/// First order: for tolerances of a few per cent the second order adds a few per cent of the tolerance. Tensile strength
/// is held fixed; its own spread is that of its basis.
///
/// # Errors
/// [`DesignError::Faults`] with every fault; [`DesignError::Formula`] for a string whose stiffness alone sounds higher
/// than its pitch.
///
/// # Source
/// C. F. Gauss, Theoria combinationis (1823); JCGM 100:2008, 5.1.2.
///
/// # Examples
/// ```
/// use becket_acoustics::CrossSection;
/// use becket_design::{Ends, Tolerances, TolerancedString, propagate};
/// use becket_scale::{Allowances, HitchStyle, Models};
/// let string = TolerancedString {
///     note: 64,
///     speaking_mm: 181.0,
///     frequency_hz: 1046.5,
///     models: Models::default(),
///     core_section: CrossSection::Round,
///     core_diameter_mm: 0.7874,
///     core_density_kg_m3: 7850.0,
///     youngs_modulus_gpa: 206.0,
///     tensile_mpa: Some(2265.0),
///     winding: None,
///     outer_winding: None,
///     string_spacing_mm: None,
///     ends: Ends {
///         front_mm: 100.0,
///         back_mm: 80.0,
///         hitch: HitchStyle::LoopedBack,
///         allowances: Allowances::resolve(None, None, None),
///     },
/// };
/// // ASTM A228: ±.0004 in on .031 in, hence ±2.6 % in tension.
/// let tolerances = Tolerances { core_diameter_mm: 0.01016, ..Tolerances::default() };
/// let tension_n = propagate(&string, &tolerances)?.tension_n;
/// assert!((tension_n.root_sum_square / tension_n.nominal - 0.0258).abs() < 1e-4);
/// assert!(propagate(&string, &Tolerances { pitch_cents: -1.0, ..tolerances }).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
pub fn propagate(string: &TolerancedString, tolerances: &Tolerances) -> Result<ToleranceReport, DesignError> {
    let mut faults = Faults::default();
    string.check(&mut faults);
    tolerances.find_faults(string.winding.is_some(), &mut faults);
    faults.finish()?;
    report(string, tolerances).map_err(|source| DesignError::Formula { note: string.note, source })
}

impl Tolerances {
    /// Finds what is wrong with the tolerances, for wound strings, or for plain ones, which have no winding wire to be
    /// off; [`propagate`] does the same first.
    ///
    /// # Errors
    /// [`DesignError::Faults`] with every fault.
    pub fn check(&self, wound: bool) -> Result<(), DesignError> {
        let mut faults = Faults::default();
        self.find_faults(wound, &mut faults);
        faults.finish()
    }

    fn find_faults(&self, wound: bool, faults: &mut Faults) {
        let Self {
            core_diameter_mm,
            winding_diameter_mm,
            speaking_mm,
            pitch_cents,
            youngs_modulus,
            core_density,
            winding_density,
        } = *self;
        faults.range("tolerances.core_diameter_mm", core_diameter_mm, (0.0, 0.1), "mm");
        faults.range("tolerances.winding_diameter_mm", winding_diameter_mm, (0.0, 0.1), "mm");
        faults.range("tolerances.speaking_mm", speaking_mm, (0.0, 50.0), "mm");
        faults.range("tolerances.pitch_cents", pitch_cents, (0.0, 100.0), "cents");
        faults.range("tolerances.youngs_modulus", youngs_modulus, (0.0, 0.2), "");
        faults.range("tolerances.core_density", core_density, (0.0, 0.2), "");
        faults.range("tolerances.winding_density", winding_density, (0.0, 0.2), "");
        if !wound && (winding_diameter_mm != 0.0 || winding_density != 0.0) {
            faults.add("tolerances.winding_diameter_mm, winding_density", "given", "0 for a plain string");
        }
    }

    /// In the unit of the input.
    fn of(&self, source: Source, inputs: &Inputs) -> f64 {
        match source {
            Source::CoreDiameter => self.core_diameter_mm,
            // An outer layer that is not there cannot be off.
            Source::OuterWindingDiameter if inputs.outer_winding_density_kg_m3 == 0.0 => 0.0,
            Source::WindingDiameter | Source::OuterWindingDiameter => self.winding_diameter_mm,
            Source::SpeakingLength => self.speaking_mm,
            Source::Pitch => self.pitch_cents,
            Source::YoungsModulus => self.youngs_modulus * inputs.youngs_modulus_gpa,
            Source::CoreDensity => self.core_density * inputs.core_density_kg_m3,
            Source::WindingDensity => self.winding_density * inputs.winding_density_kg_m3,
            Source::OuterWindingDensity => self.winding_density * inputs.outer_winding_density_kg_m3,
        }
    }
}

fn report(string: &TolerancedString, tolerances: &Tolerances) -> Result<ToleranceReport, DomainError> {
    let inputs = Inputs::of(string);
    let nominal = inputs.figures(string)?;
    let mut report = nominal.zip(&nominal, |value, _| Propagated::exact(*value));
    for source in Source::ALL {
        let tolerance = tolerances.of(source, &inputs);
        if tolerance == 0.0 {
            continue;
        }
        let step = inputs.step(source);
        let up = inputs.moved(source, step).figures(string)?;
        let down = inputs.moved(source, -step).figures(string)?;
        let changes = up.zip(&down, |up, down| (up - down) * (tolerance / (2.0 * step)));
        report = report.zip(&changes, |figure, change| figure.clone().with(source, *change));
    }
    Ok(report)
}
