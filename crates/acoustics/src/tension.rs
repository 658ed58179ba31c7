//! Tension, stress and stretch of a string.
//!
//! Units inside: GPa·mm² is 10³ N; g/m·m²·Hz² is 10⁻³ N; GPa·mm⁴/mm² is 10³ N.

use std::f64::consts::PI;

use crate::domain::{DomainError, check, not_negative, positive, result};

/// Newtons in a GPa·mm².
const N_PER_GPA_MM2: f64 = 1000.0;

/// Returns the tension that gives a string without stiffness a frequency.
///
/// # Units
/// `length_mm`: speaking length in mm; `linear_density_g_m` in g/m; `frequency_hz` in Hz; all above 0. Result
/// in N.
///
/// # Formula
/// ```text
/// T = μ·(2·L·f)²
/// ```
///
/// # Valid range and accuracy
/// The frequency f₀ is that without stiffness. What sounds is f₀·√(1 + B), higher by a fraction of a cent in the
/// middle and by ten cents and more at the top of the compass: see [`tension_first_partial_n`].
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// M. Mersenne, Harmonie universelle (1636); B. Taylor, Phil. Trans. 28 (1713).
///
/// # Examples
/// ```
/// use becket_acoustics::{CrossSection, equal_tempered_hz, tension_stiffness_free_n};
/// // Key 64, 181 mm of 0.925 mm wire: 170.2 lbf (piano technicians' mailing list, May 2002, message 108432).
/// let density_g_m = 7.850 * CrossSection::Round.area_mm2(0.925)?;
/// let tension_n = tension_stiffness_free_n(181.0, density_g_m, equal_tempered_hz(64, 440.0, 0.0)?)?;
/// assert!((tension_n / 4.4482216 - 170.2).abs() < 0.1);
/// assert!(tension_stiffness_free_n(181.0, density_g_m, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn tension_stiffness_free_n(
    length_mm: f64,
    linear_density_g_m: f64,
    frequency_hz: f64,
) -> Result<f64, DomainError> {
    let length_m = positive("length_mm", length_mm)? * 1e-3;
    let density_kg_m = positive("linear_density_g_m", linear_density_g_m)? * 1e-3;
    let speed_m_s = 2.0 * length_m * positive("frequency_hz", frequency_hz)?;
    result(density_kg_m * speed_m_s * speed_m_s)
}

/// Returns the tension that gives a stiff string a first partial: the pitch that sounds.
///
/// # Units
/// `length_mm`: speaking length in mm; `linear_density_g_m` in g/m; `first_partial_hz` in Hz;
/// `youngs_modulus_gpa` of the core in GPa; `second_moment_mm4` of the core in mm⁴; all above 0. Result in N.
///
/// # Formula
/// ```text
/// T = 4·L²·μ·f₁² − π²·E·I/L²          since f₁ = f₀·√(1 + B), B = π²·E·I/(T·L²)
/// ```
///
/// # Valid range and accuracy
/// Pinned ends, uniform string. The stiffness alone gives f₁ = (π/2)·√(E·I/μ)/L²; a pitch at or below that
/// has no tension and is refused.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0, or `first_partial_hz` if the tension is
/// not above 0.
///
/// # Source
/// H. Fletcher, JASA 36, 203 (1964), equation of a pinned stiff string.
///
/// # Examples
/// ```
/// use becket_acoustics::{CrossSection, frequency_first_partial_hz, tension_first_partial_n};
/// let (density_g_m, i_mm4) = (4.9, CrossSection::Round.second_moment_mm4(0.9)?);
/// let tension_n = tension_first_partial_n(340.0, density_g_m, 523.25, 206.0, i_mm4)?;
/// let back_hz = frequency_first_partial_hz(340.0, density_g_m, tension_n, 206.0, i_mm4)?;
/// assert!((back_hz - 523.25).abs() < 1e-9);
/// assert!(tension_first_partial_n(340.0, density_g_m, 1.0, 206.0, i_mm4).is_err()); // a bar sounds higher
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn tension_first_partial_n(
    length_mm: f64,
    linear_density_g_m: f64,
    first_partial_hz: f64,
    youngs_modulus_gpa: f64,
    second_moment_mm4: f64,
) -> Result<f64, DomainError> {
    let f1 = positive("first_partial_hz", first_partial_hz)?;
    let stiffness_n = stiffness_n(length_mm, youngs_modulus_gpa, second_moment_mm4)?;
    let tension_n = tension_stiffness_free_n(length_mm, linear_density_g_m, f1)? - stiffness_n;
    let allowed = "above the first partial that the stiffness alone gives the string";
    check("first_partial_hz", f1, tension_n > 0.0, allowed)?;
    result(tension_n)
}

/// Returns the frequency of a string without stiffness; the inverse of [`tension_stiffness_free_n`].
///
/// # Units
/// `length_mm` in mm; `linear_density_g_m` in g/m; `tension_n` in N; all above 0. Result in Hz.
///
/// # Formula
/// ```text
/// f₀ = √(T/μ) / (2·L)
/// ```
///
/// # Valid range and accuracy
/// See [`tension_stiffness_free_n`].
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// M. Mersenne, Harmonie universelle (1636); B. Taylor, Phil. Trans. 28 (1713).
///
/// # Examples
/// ```
/// use becket_acoustics::frequency_stiffness_free_hz;
/// // C4 of Chaigne and Askenfelt, JASA 95 (1994): 0.62 m, 3.93 g, 670 N gives 262 Hz.
/// assert!((frequency_stiffness_free_hz(620.0, 3.93 / 0.62, 670.0)? - 262.19).abs() < 0.01);
/// assert!(frequency_stiffness_free_hz(620.0, 3.93 / 0.62, -670.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn frequency_stiffness_free_hz(
    length_mm: f64,
    linear_density_g_m: f64,
    tension_n: f64,
) -> Result<f64, DomainError> {
    let length_m = positive("length_mm", length_mm)? * 1e-3;
    let density_kg_m = positive("linear_density_g_m", linear_density_g_m)? * 1e-3;
    result((positive("tension_n", tension_n)? / density_kg_m).sqrt() / (2.0 * length_m))
}

/// Returns the first partial of a stiff string; the inverse of [`tension_first_partial_n`].
///
/// # Units
/// `length_mm` in mm; `linear_density_g_m` in g/m; `tension_n` in N; `youngs_modulus_gpa` in GPa;
/// `second_moment_mm4` in mm⁴; all above 0. Result in Hz.
///
/// # Formula
/// ```text
/// f₁ = √((T + π²·E·I/L²)/μ) / (2·L)
/// ```
///
/// # Valid range and accuracy
/// Pinned ends, uniform string.
///
/// # Errors
/// [`DomainError`] names the argument that is not finite and above 0.
///
/// # Source
/// H. Fletcher, JASA 36, 203 (1964), equation of a pinned stiff string.
///
/// # Examples
/// ```
/// use becket_acoustics::{frequency_first_partial_hz, frequency_stiffness_free_hz};
/// let stiff_hz = frequency_first_partial_hz(54.0, 3.8, 776.0, 206.0, 0.0186)?;
/// assert!(stiff_hz > frequency_stiffness_free_hz(54.0, 3.8, 776.0)?);
/// assert!(frequency_first_partial_hz(54.0, 3.8, 776.0, 0.0, 0.0186).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn frequency_first_partial_hz(
    length_mm: f64,
    linear_density_g_m: f64,
    tension_n: f64,
    youngs_modulus_gpa: f64,
    second_moment_mm4: f64,
) -> Result<f64, DomainError> {
    let tension_n = positive("tension_n", tension_n)?;
    let stiffness_n = stiffness_n(length_mm, youngs_modulus_gpa, second_moment_mm4)?;
    frequency_stiffness_free_hz(length_mm, linear_density_g_m, result(tension_n + stiffness_n)?)
}

/// π²·E·I/L² in N: the tension that would give a string without stiffness what the stiffness adds to f₁².
pub(crate) fn stiffness_n(
    length_mm: f64,
    youngs_modulus_gpa: f64,
    second_moment_mm4: f64,
) -> Result<f64, DomainError> {
    let l = positive("length_mm", length_mm)?;
    let e = positive("youngs_modulus_gpa", youngs_modulus_gpa)?;
    let i = positive("second_moment_mm4", second_moment_mm4)?;
    result(PI * PI * e * i / (l * l) * N_PER_GPA_MM2)
}

/// Returns the tensile stress in the core. A winding carries no tension.
///
/// # Units
/// `tension_n` in N, 0 or above; `core_area_mm2` in mm², above 0. Result in MPa.
///
/// # Formula
/// ```text
/// σ = T/A
/// ```
///
/// # Valid range and accuracy
/// Away from the bends at pin, bridge and hitch, where the stress is higher.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Definition of stress.
///
/// # Examples
/// ```
/// use becket_acoustics::stress_mpa;
/// assert!((stress_mpa(741.0, 0.785398)? - 943.5).abs() < 0.1);
/// assert!(stress_mpa(741.0, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn stress_mpa(tension_n: f64, core_area_mm2: f64) -> Result<f64, DomainError> {
    result(not_negative("tension_n", tension_n)? / positive("core_area_mm2", core_area_mm2)?)
}

/// Returns the load at which a core breaks.
///
/// # Units
/// `tensile_mpa` in MPa and `core_area_mm2` in mm², both above 0. Result in N.
///
/// # Formula
/// ```text
/// T_break = S·A
/// ```
///
/// # Valid range and accuracy
/// As good as the strength, which differs by up to 40 % with the convention of its basis.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Definition of tensile strength.
///
/// # Examples
/// ```
/// use becket_acoustics::breaking_load_n;
/// assert_eq!(breaking_load_n(2000.0, 0.5)?, 1000.0);
/// assert!(breaking_load_n(f64::NAN, 0.5).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn breaking_load_n(tensile_mpa: f64, core_area_mm2: f64) -> Result<f64, DomainError> {
    result(positive("tensile_mpa", tensile_mpa)? * positive("core_area_mm2", core_area_mm2)?)
}

/// Returns the share of the breaking load that a tension is.
///
/// # Units
/// `tension_n` in N, 0 or above; `breaking_load_n` in N, above 0. Result without unit; 1 breaks.
///
/// # Formula
/// ```text
/// share = T/T_break
/// ```
///
/// # Valid range and accuracy
/// As good as the breaking load; always to be shown with the label of its basis.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// Definition.
///
/// # Examples
/// ```
/// use becket_acoustics::load_share;
/// assert!((load_share(79.5, 135.0)? - 0.59).abs() < 0.005);
/// assert!(load_share(79.5, 0.0).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn load_share(tension_n: f64, breaking_load_n: f64) -> Result<f64, DomainError> {
    result(not_negative("tension_n", tension_n)? / positive("breaking_load_n", breaking_load_n)?)
}

/// Returns the elastic strain of a core under tension.
///
/// # Units
/// `tension_n` in N, 0 or above; `youngs_modulus_gpa` in GPa and `core_area_mm2` in mm², above 0. Result
/// without unit.
///
/// # Formula
/// ```text
/// ε = T/(E·A)
/// ```
///
/// # Valid range and accuracy
/// Hooke's law, as good as the modulus is known. New wire also creeps; that is not in it.
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// R. Hooke, De potentia restitutiva (1678).
///
/// # Examples
/// ```
/// use becket_acoustics::elastic_strain;
/// // 1.0 mm wire at 700 N: nearly half a per cent.
/// assert!((elastic_strain(700.0, 200.0, 0.785398)? - 0.004456).abs() < 1e-6);
/// assert!(elastic_strain(700.0, 200.0, f64::INFINITY).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn elastic_strain(
    tension_n: f64,
    youngs_modulus_gpa: f64,
    core_area_mm2: f64,
) -> Result<f64, DomainError> {
    let tension_n = not_negative("tension_n", tension_n)?;
    let e = positive("youngs_modulus_gpa", youngs_modulus_gpa)?;
    result(tension_n / (e * positive("core_area_mm2", core_area_mm2)? * N_PER_GPA_MM2))
}

/// Returns the slack length of wire that is as long as stated when it is under tension: what has to be cut.
///
/// # Units
/// `stretched_length_mm` in mm, 0 or above; `tension_n` in N, 0 or above; `youngs_modulus_gpa` in GPa and
/// `core_area_mm2` in mm², above 0. Result in mm.
///
/// # Formula
/// ```text
/// L_relaxed = L/(1 + T/(E·A))
/// ```
///
/// # Valid range and accuracy
/// See [`elastic_strain`].
///
/// # Errors
/// [`DomainError`] names the argument outside its range.
///
/// # Source
/// R. Hooke, De potentia restitutiva (1678).
///
/// # Examples
/// ```
/// use becket_acoustics::relaxed_length_mm;
/// assert!((relaxed_length_mm(1000.0, 700.0, 200.0, 0.785398)? - 995.564).abs() < 1e-3);
/// assert!(relaxed_length_mm(1000.0, -1.0, 200.0, 0.785398).is_err());
/// # Ok::<(), becket_acoustics::DomainError>(())
/// ```
pub fn relaxed_length_mm(
    stretched_length_mm: f64,
    tension_n: f64,
    youngs_modulus_gpa: f64,
    core_area_mm2: f64,
) -> Result<f64, DomainError> {
    let length = not_negative("stretched_length_mm", stretched_length_mm)?;
    result(length / (1.0 + elastic_strain(tension_n, youngs_modulus_gpa, core_area_mm2)?))
}
