//! Strings whose mass steps along their length: wound strings with bare ends.

mod limp;
mod partials;
mod root;
mod sweep;
mod tension;

use std::f64::consts::TAU;

use crate::domain::{DomainError, check, not_negative, positive};
pub use tension::{stepped_tension_first_partial_n, stepped_tension_stiffness_free_n};

use sweep::Span;

/// Most partials that can be asked for.
pub const MOST_PARTIALS: u32 = 60;

/// A stretch of a string over which its density does not change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Length in mm; 0 or above. One of length 0 counts for nothing.
    pub length_mm: f64,
    /// Linear density of core and windings in g/m; above 0.
    pub linear_density_g_m: f64,
}

/// A stiff string under tension, pinned at both ends, whose mass steps where windings begin and end.
///
/// Only the core is stiff and carries tension, so that both are the same all along; the windings add mass.
///
/// # Formula
/// ```text
/// E·I·y'''' − T·y'' = μ(x)·ω²·y          y = y'' = 0 at both ends; μ constant in each segment
/// ```
///
/// # Valid range and accuracy
/// The beam of Euler and Bernoulli: shear and rotary inertia are left out, and so is whatever stiffness a winding
/// adds. Bridge and termination are rigid. There is no bound to the number of segments, nor to `L·√(T/(E·I))`.
///
/// # Source
/// The equation: N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, chapter 2 (from memory). The
/// count that no partial escapes: W. H. Wittrick, F. W. Williams, Quarterly Journal of Mechanics and Applied
/// Mathematics 24, 263 (1971) (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteppedString<'a> {
    /// Tension in N; above 0.
    pub tension_n: f64,
    /// Bending stiffness E·I of the core in N·m²; above 0. 1 GPa·mm⁴ is 10⁻³ N·m².
    pub bending_stiffness_n_m2: f64,
    /// The segments from one end of the speaking length to the other.
    pub segments: &'a [Segment],
}

impl SteppedString<'_> {
    /// Returns the frequencies of the first partials.
    ///
    /// # Units
    /// `count`: how many, 1 to [`MOST_PARTIALS`]. Result in Hz, rising.
    ///
    /// # Formula
    /// See [`SteppedString`]. The zeros of the boundary value problem's determinant. The count of Wittrick and Williams
    /// on both sides of each proves that none is missed and none is found twice.
    ///
    /// # Valid range and accuracy
    /// Each partial is enclosed to 1e-12 of the frequency (2e-9 cents).
    ///
    /// # Errors
    /// [`DomainError`] names `count`, or the field that is outside its range, or `segments` if they have no
    /// length, or `result` if the figures are so extreme together that the arithmetic fails.
    ///
    /// # Source
    /// See [`SteppedString`].
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::{Segment, SteppedString};
    /// // 1.2 m, 20 mm of each end bare. A core of 1.1 mm: E·I = 200 GPa · 0.0719 mm⁴.
    /// let bare = Segment { length_mm: 20.0, linear_density_g_m: 7.46 };
    /// let wound = Segment { length_mm: 1160.0, linear_density_g_m: 60.0 };
    /// let segments = [bare, wound, bare];
    /// let string = SteppedString { tension_n: 900.0, bending_stiffness_n_m2: 0.01438, segments: &segments };
    /// let partials_hz = string.partials_hz(2)?;
    /// assert!((partials_hz[0] - 51.0352).abs() < 1e-4 && partials_hz[1] > 2.0 * partials_hz[0]);
    /// assert!(string.partials_hz(0).is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn partials_hz(&self, count: u32) -> Result<Vec<f64>, DomainError> {
        check("count", f64::from(count), (1..=MOST_PARTIALS).contains(&count), "1 to 60")?;
        let Reduced { spans, unit_hz } = self.reduced()?;
        let mut partials = partials::partials(&spans, count).ok_or(FAILED)?;
        for partial in &mut partials {
            *partial = normal(*partial * unit_hz)?;
        }
        Ok(partials)
    }

    /// Returns f₀: the first partial that the string would have with the same tension and masses but no stiffness.
    ///
    /// # Units
    /// Result in Hz.
    ///
    /// # Formula
    /// ```text
    /// −T·y'' = μ(x)·ω²·y          y = 0 at both ends; the lowest ω/(2π)
    /// ```
    ///
    /// # Valid range and accuracy
    /// Solved to about 1e-14 of the frequency. For a uniform string it is √(T/μ)/(2·L). The higher partials of
    /// a stepped string without stiffness are not multiples of f₀.
    ///
    /// # Errors
    /// As [`Self::partials_hz`].
    ///
    /// # Source
    /// The wave equation with stepped density; the phase that is solved for: H. Prüfer, Mathematische Annalen 95
    /// (1926) (from memory).
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::{Segment, SteppedString, frequency_stiffness_free_hz};
    /// let segments = [Segment { length_mm: 620.0, linear_density_g_m: 6.3 }];
    /// let string = SteppedString { tension_n: 670.0, bending_stiffness_n_m2: 0.008, segments: &segments };
    /// let expected_hz = frequency_stiffness_free_hz(620.0, 6.3, 670.0)?;
    /// assert!((string.stiffness_free_hz()? - expected_hz).abs() < 1e-9);
    /// assert!(SteppedString { segments: &[], ..string }.stiffness_free_hz().is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn stiffness_free_hz(&self) -> Result<f64, DomainError> {
        let Reduced { spans, unit_hz } = self.reduced()?;
        normal(limp::first(&spans).ok_or(FAILED)? * unit_hz)
    }

    /// The same without units.
    fn reduced(&self) -> Result<Reduced, DomainError> {
        let tension = positive("tension_n", self.tension_n)?;
        let stiffness = positive("bending_stiffness_n_m2", self.bending_stiffness_n_m2)?;
        let per_mm = 1e-3 * (tension / stiffness).sqrt();
        let (mut heaviest, mut length_mm) = (0.0_f64, 0.0);
        for segment in self.segments {
            length_mm += not_negative("length_mm", segment.length_mm)?;
            heaviest = heaviest.max(positive("linear_density_g_m", segment.linear_density_g_m)?);
        }
        check("segments", length_mm, length_mm > 0.0, "at least one segment that has a length")?;
        let spans: Vec<_> = self
            .segments
            .iter()
            .map(|segment| Span {
                length: segment.length_mm * per_mm,
                ratio: segment.linear_density_g_m / heaviest,
            })
            .filter(|span| span.length > 0.0)
            .collect();
        let unit_hz = tension / (stiffness * heaviest * 1e-3).sqrt() / TAU;
        Ok(Reduced { spans, unit_hz: normal(unit_hz)? })
    }
}

/// A string in units of the sweep.
struct Reduced {
    spans: Vec<Span>,
    /// What the frequency 1 of the sweep is in Hz.
    unit_hz: f64,
}

/// Passes a frequency that neither overflowed nor lost digits on the way to 0.
fn normal(value: f64) -> Result<f64, DomainError> {
    check("result", value, value.is_normal() && value > 0.0, "figures that the arithmetic can hold together")
}

/// The figures are so extreme together that the arithmetic fails.
const FAILED: DomainError = DomainError {
    argument: "result",
    value: f64::NAN,
    allowed: "figures that the arithmetic can hold together",
};
