//! Area, girth and second moment of a wire's section.

use std::f64::consts::PI;

use crate::domain::{DomainError, positive, result};

/// Shape of a wire's section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CrossSection {
    /// A circle; its width is the diameter.
    Round,
    /// A regular hexagon; its width is taken across flats.
    Hexagonal,
}

impl CrossSection {
    /// Returns the area of a section.
    ///
    /// # Units
    /// `width_mm` in mm, above 0: diameter or width across flats; result in mm².
    ///
    /// # Formula
    /// ```text
    /// round      A = π·d²/4
    /// hexagonal  A = (√3/2)·s²
    /// ```
    ///
    /// # Valid range and accuracy
    /// Exact for the ideal shape; drawn hexagonal wire has rounded corners and is a little lighter.
    ///
    /// # Errors
    /// [`DomainError`] if `width_mm` is not finite and above 0, or the result overflows.
    ///
    /// # Source
    /// Elementary geometry.
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::CrossSection;
    /// assert!((CrossSection::Hexagonal.area_mm2(1.0)? - 0.866025).abs() < 1e-6);
    /// assert!(CrossSection::Round.area_mm2(0.0).is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn area_mm2(self, width_mm: f64) -> Result<f64, DomainError> {
        let w = positive("width_mm", width_mm)?;
        let unit = match self {
            Self::Round => PI / 4.0,
            Self::Hexagonal => 3.0_f64.sqrt() / 2.0,
        };
        result(unit * w * w)
    }

    /// Returns the second moment of area about an axis through the centre, which decides the bending
    /// stiffness.
    ///
    /// # Units
    /// `width_mm` in mm, above 0: diameter or width across flats; result in mm⁴.
    ///
    /// # Formula
    /// ```text
    /// round      I = π·d⁴/64
    /// hexagonal  I = (5·√3/144)·s⁴, the same about every axis
    /// ```
    ///
    /// # Valid range and accuracy
    /// Exact for the ideal shape.
    ///
    /// # Errors
    /// [`DomainError`] if `width_mm` is not finite and above 0, or the result overflows.
    ///
    /// # Source
    /// Elementary mechanics of beams.
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::CrossSection;
    /// let ratio = CrossSection::Hexagonal.second_moment_mm4(1.3)? /
    /// CrossSection::Round.second_moment_mm4(1.3)?; assert!((ratio - 1.22518).abs() < 1e-5);
    /// assert!(CrossSection::Round.second_moment_mm4(f64::NAN).is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn second_moment_mm4(self, width_mm: f64) -> Result<f64, DomainError> {
        let w = positive("width_mm", width_mm)?;
        let unit = match self {
            Self::Round => PI / 64.0,
            Self::Hexagonal => 5.0 * 3.0_f64.sqrt() / 144.0,
        };
        result(unit * (w * w) * (w * w))
    }

    /// Returns the diameter of the circle with the girth of the section: what a taut thread round it goes by.
    ///
    /// A closed thread whose centre runs at the distance a outside a convex shape of girth G is G + 2·π·a
    /// long. So a thread of diameter w round a section of girth diameter D has turns of π·(D + w), whatever
    /// the shape.
    ///
    /// # Units
    /// `width_mm` in mm, above 0: diameter or width across flats; result in mm.
    ///
    /// # Formula
    /// ```text
    /// round      D = d
    /// hexagonal  D = 2·√3·s/π
    /// ```
    ///
    /// # Valid range and accuracy
    /// Exact for the ideal shape.
    ///
    /// # Errors
    /// [`DomainError`] if `width_mm` is not finite and above 0, or the result overflows.
    ///
    /// # Source
    /// Steiner's formula for parallel curves of convex shapes.
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::CrossSection;
    /// assert_eq!(CrossSection::Round.girth_diameter_mm(1.2)?, 1.2);
    /// assert!((CrossSection::Hexagonal.girth_diameter_mm(1.0)? - 1.10266).abs() < 1e-5);
    /// assert!(CrossSection::Round.girth_diameter_mm(-1.0).is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn girth_diameter_mm(self, width_mm: f64) -> Result<f64, DomainError> {
        let w = positive("width_mm", width_mm)?;
        match self {
            Self::Round => Ok(w),
            Self::Hexagonal => result(2.0 * 3.0_f64.sqrt() / PI * w),
        }
    }

    /// Returns the greatest width of the section: what stands out farthest towards a neighbour.
    ///
    /// # Units
    /// `width_mm` in mm, above 0: diameter or width across flats; result in mm.
    ///
    /// # Formula
    /// ```text
    /// round      d
    /// hexagonal  2·s/√3, across corners
    /// ```
    ///
    /// # Valid range and accuracy
    /// Exact for the ideal shape.
    ///
    /// # Errors
    /// [`DomainError`] if `width_mm` is not finite and above 0, or the result overflows.
    ///
    /// # Source
    /// Elementary geometry.
    ///
    /// # Examples
    /// ```
    /// use becket_acoustics::CrossSection;
    /// assert_eq!(CrossSection::Round.greatest_width_mm(1.2)?, 1.2);
    /// assert!((CrossSection::Hexagonal.greatest_width_mm(1.0)? - 1.154_701).abs() < 1e-6);
    /// assert!(CrossSection::Round.greatest_width_mm(f64::INFINITY).is_err());
    /// # Ok::<(), becket_acoustics::DomainError>(())
    /// ```
    pub fn greatest_width_mm(self, width_mm: f64) -> Result<f64, DomainError> {
        let w = positive("width_mm", width_mm)?;
        match self {
            Self::Round => Ok(w),
            Self::Hexagonal => result(2.0 / 3.0_f64.sqrt() * w),
        }
    }
}
