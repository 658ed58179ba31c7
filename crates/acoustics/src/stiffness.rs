//! Inharmonicity: what stiffness does to the partials.

use crate::{
    domain::{DomainError, check, not_negative, positive, result},
    tension::stiffness_n,
};

/// Returns the coefficient of inharmonicity of a pinned uniform string.
///
/// # Units
/// `length_mm`: speaking length in mm; `tension_n` in N; `youngs_modulus_gpa` of the core in GPa;
/// `second_moment_mm4` of the core in mm⁴ (see [`crate::CrossSection::second_moment_mm4`]); all above 0.
/// Result without unit.
///
/// # Formula
/// ```text
/// B = π²·E·I/(T·L²)          round wire: B = π³·E·d⁴/(64·T·L²)
/// ```
///
/// # Valid range and accuracy
/// Exact for a uniform pinned string. A wound string with bare ends has a higher B than this gives with its
/// core's I: 20 mm bare at each end of 1.2 m can add a third. See [`crate::SteppedString`] and
/// [`crate::fit_inharmonicity`].
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// R. W. Young, JASA 24(3) (1952); H. Fletcher, JASA 36, 203 (1964) (from memory).
///
/// # Examples
/// ```
/// use becket_acoustics::{CrossSection, inharmonicity};
/// let i_mm4 = CrossSection::Round.second_moment_mm4(1.0)?;
/// let b = inharmonicity(657.0, 741.0, 202.0, i_mm4)?;
/// assert!((b / 3.0597e-4 - 1.0).abs() < 0.001);
/// assert!(inharmonicity(657.0, 0.0, 202.0, i_mm4).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn inharmonicity(
    length_mm: f64,
    tension_n: f64,
    youngs_modulus_gpa: f64,
    second_moment_mm4: f64,
) -> Result<f64, DomainError> {
    let stiffness_n = stiffness_n(length_mm, youngs_modulus_gpa, second_moment_mm4)?;
    result(stiffness_n / positive("tension_n", tension_n)?)
}

/// Returns the frequency of a partial.
///
/// # Units
/// `partial` counts from 1; `stiffness_free_hz` is f₀ in Hz, above 0; `inharmonicity` is B, 0 or above.
/// Result in Hz.
///
/// # Formula
/// ```text
/// f_n = n·f₀·√(1 + B·n²)
/// ```
///
/// # Valid range and accuracy
/// Pinned uniform string of Euler and Bernoulli: shear and rotary inertia of the wire are left out, which
/// matters only where the half wave is no longer long against the wire's diameter.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// H. Fletcher, JASA 36, 203 (1964) (from memory).
///
/// # Examples
/// ```
/// use becket_acoustics::partial_hz;
/// assert_eq!(partial_hz(2, 100.0, 0.0)?, 200.0);
/// assert!(partial_hz(0, 100.0, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn partial_hz(partial: u32, stiffness_free_hz: f64, inharmonicity: f64) -> Result<f64, DomainError> {
    let n = check("partial", f64::from(partial), partial >= 1, "1 or above")?;
    let f0 = positive("stiffness_free_hz", stiffness_free_hz)?;
    let b = not_negative("inharmonicity", inharmonicity)?;
    result(n * f0 * (1.0 + b * n * n).sqrt())
}

/// Returns how sharp a partial is of the multiple n·f₀.
///
/// # Units
/// `partial` counts from 1; `inharmonicity` is B, 0 or above. Result in cents, 0 or above.
///
/// # Formula
/// ```text
/// c_n = 600·log₂(1 + B·n²)          nearly 865.617·B·n² while that is small
/// ```
///
/// # Valid range and accuracy
/// See [`partial_hz`]. The logarithm is taken so that small B loses no digits.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Definition of the cent, with H. Fletcher, JASA 36, 203 (1964) (from memory).
///
/// # Examples
/// ```
/// use becket_acoustics::partial_cents;
/// assert!((partial_cents(2, 3.6e-4)? - 1.2456).abs() < 1e-3);
/// assert!(partial_cents(2, -3.6e-4).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn partial_cents(partial: u32, inharmonicity: f64) -> Result<f64, DomainError> {
    let n = check("partial", f64::from(partial), partial >= 1, "1 or above")?;
    let b = not_negative("inharmonicity", inharmonicity)?;
    result(600.0 * (b * n * n).ln_1p() / std::f64::consts::LN_2)
}
