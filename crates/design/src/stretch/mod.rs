//! Stretch: the pitch offsets at which octaves agree in chosen partials.
//!
//! Partials of stiff strings are sharp, so an octave whose partials agree is wider than 2:1. Which partials a tuner lets
//! agree depends on the region. The octaves give one equation for each pair of notes twelve apart, which leaves the notes
//! within an octave undecided, and at the break B jumps from note to note; both are settled by asking for a smooth curve
//! ([`smooth`]).

mod octave;
mod smooth;

pub use octave::{Octave, OctaveRegion};

use becket_acoustics::{
    DomainError, equal_tempered_hz, frequency_stiffness_free_hz, inharmonicity, partial_cents,
    tension_first_partial_n,
};
use becket_scale::{DEFAULT_A4_HZ, StringSet};
use becket_wire::Catalogue;

use crate::check::{Faults, SPEAKING_MM};
use crate::error::DesignError;

/// Number of A4, which keeps its pitch.
const A4: i16 = 49;
/// Notes in an octave.
pub(crate) const OCTAVE_NOTES: usize = 12;
/// Offsets beyond this are refused: the iteration has left the ground.
const MAX_OFFSET_CENTS: f64 = 1000.0;

/// The strings of one note, as far as stretch is concerned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StretchNote {
    /// Number of the note, −8 to 88; notes rise by one.
    pub note: i16,
    /// Speaking length in mm, 20 to 3000.
    pub speaking_mm: f64,
    /// Linear density in g/m as it acts on the first partial, 0.01 to 1000.
    pub linear_density_g_m: f64,
    /// Young's modulus of wire or core in GPa, 10 to 500.
    pub youngs_modulus_gpa: f64,
    /// Second moment of area of wire or core in mm⁴, 10⁻⁷ to 100.
    pub second_moment_mm4: f64,
    /// True B divided by that of the uniform string with the core's stiffness, 0.5 to 5: above 1 for wound strings with
    /// bare ends, 1 where nothing better is known.
    pub inharmonicity_factor: f64,
}

impl StretchNote {
    /// Takes the first string of every note of a set.
    ///
    /// # Errors
    /// [`DesignError::Faults`] for wires that the catalogue lacks.
    pub fn of_set(set: &StringSet, catalogue: &Catalogue) -> Result<Vec<Self>, DesignError> {
        let mut faults = Faults::default();
        let mut notes = Vec::new();
        for string in set.strings.iter().filter(|string| string.string_id.number() == 1) {
            match catalogue.get(string.wire_id.as_str()) {
                Some(wire) => notes.push(Self {
                    note: string.string_id.note(),
                    speaking_mm: string.speaking_mm,
                    linear_density_g_m: string.linear_density_g_m,
                    youngs_modulus_gpa: wire.youngs_modulus_gpa(),
                    second_moment_mm4: wire.second_moment_mm4(),
                    inharmonicity_factor: 1.0,
                }),
                None => faults.add("wire_id", &string.wire_id, "a wire of the catalogue"),
            }
        }
        faults.finish()?;
        Ok(notes)
    }
}

/// How a tuning is stretched.
#[derive(Debug, Clone, PartialEq)]
pub struct StretchOptions {
    /// Pitch of A4 in Hz, 380 to 500.
    pub a4_hz: f64,
    /// Octave rules by the lower note of the octave, by rising first note; notes below the first region have its rule.
    pub regions: Vec<OctaveRegion>,
    /// Weight of smoothness against the octaves, 10⁻³ to 10⁶: how many cents² of an octave's error one cents² of a
    /// second difference between neighbouring notes is worth. A few notes are smoothed over with 10, half an octave with
    /// 1000.
    pub smoothness: f64,
    /// The iteration has settled when no offset moves by more, in cents, 10⁻⁹ to 1.
    pub tolerance_cents: f64,
    /// Most iterations, 1 to 1000.
    pub max_iterations: u32,
}

impl Default for StretchOptions {
    /// A4 = 440 Hz (ISO 16); octaves that begin below note 28 (C3) by 6:3, to note 51 by 4:2, above by 2:1; smoothness
    /// 100. Common practice but for the pitch, no source.
    fn default() -> Self {
        Self {
            a4_hz: DEFAULT_A4_HZ,
            regions: vec![
                OctaveRegion { first_note: -8, octave: Octave::SixThree },
                OctaveRegion { first_note: 28, octave: Octave::FourTwo },
                OctaveRegion { first_note: 52, octave: Octave::TwoOne },
            ],
            smoothness: 100.0,
            tolerance_cents: 1e-6,
            max_iterations: 100,
        }
    }
}

/// A stretched tuning.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// One entry for each note, in order.
    pub notes: Vec<StretchedNote>,
    /// Offset of the highest note less that of the lowest, in cents.
    pub total_cents: f64,
    /// Largest deviation of an octave from its rule in cents: the price of smoothness.
    pub largest_octave_error_cents: f64,
    /// Iterations made.
    pub iterations: u32,
    /// Largest change of an offset in the last iteration, in cents.
    pub last_change_cents: f64,
}

/// One note of a stretched tuning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StretchedNote {
    /// The note.
    pub note: i16,
    /// First partial against equal temperament in cents, positive if sharp; 0 at A4.
    pub offset_cents: f64,
    /// The frequency without stiffness against equal temperament in cents, for computations on that pitch basis.
    pub stiffness_free_offset_cents: f64,
    /// First partial in Hz.
    pub first_partial_hz: f64,
    /// Tension in N.
    pub tension_n: f64,
    /// Inharmonicity coefficient B.
    pub inharmonicity: f64,
}

/// Finds the offsets of a stretched tuning.
///
/// # Units
/// As the fields say.
///
/// # Formula
/// ```text
/// f_n = n·f₁·√((1 + B·n²)/(1 + B))
/// octave 2m:m   θ(k+12) − θ(k) = S(k) = [c(2m, B_k) − c(1, B_k)] − [c(m, B_k+12) − c(1, B_k+12)],  c(n, B) = 600·log₂(1 + B·n²)
/// minimise      Σ (θ(k+12) − θ(k) − S(k))² + λ·Σ (θ(k−1) − 2·θ(k) + θ(k+1))²,   θ(49) = 0
/// T = μ·(2·L·f₁)² − π²·E·I/L²,  B = factor·π²·E·I/(T·L²)
/// ```
/// repeated from θ = 0 until θ no longer moves, since pitch changes tension and tension changes B.
///
/// # Valid range and accuracy
/// The minimum is unique, as a curve that costs nothing is constant. λ decides how the jump of B at the break is spread;
/// the largest error of an octave is reported with the answer.
///
/// # Errors
/// [`DesignError::Faults`] with every fault, also for fewer than 13 notes or a row without A4;
/// [`DesignError::NotConverged`] if the offsets do not settle; [`DesignError::Formula`] for a string whose stiffness alone
/// sounds higher than its pitch.
///
/// # Source
/// Partials: H. Fletcher, JASA 36, 203 (1964) (from memory). Octaves by partials: O. L. Railsback, JASA 9, 274 (1938) for
/// the stretch that tuners make (from memory). Smoothing: E. T. Whittaker, Proc. Edinburgh Math. Soc. 41 (1923) (from
/// memory).
///
/// # Examples
/// ```
/// use becket_design::{StretchNote, StretchOptions, stretch};
/// // Two octaves of 1 mm steel wire about A4.
/// let note = |note: i16| StretchNote {
///     note,
///     speaking_mm: 390.0 * (f64::from(49 - note) / 12.5).exp2(),
///     linear_density_g_m: 6.165,
///     youngs_modulus_gpa: 206.0,
///     second_moment_mm4: 0.0491,
///     inharmonicity_factor: 1.0,
/// };
/// let notes: Vec<StretchNote> = (37..=61).map(note).collect();
/// let tuning = stretch(&notes, &StretchOptions::default())?;
/// assert_eq!(tuning.notes[12].offset_cents, 0.0);
/// assert!(tuning.notes[0].offset_cents < -0.5 && tuning.notes[24].offset_cents > 2.0);
/// assert!(stretch(&notes[..5], &StretchOptions::default()).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
pub fn stretch(notes: &[StretchNote], options: &StretchOptions) -> Result<Stretch, DesignError> {
    check(notes, options)?;
    let anchor = notes.iter().position(|note| note.note == A4).unwrap_or(0);
    let mut offsets = vec![0.0; notes.len()];
    let mut last_change_cents = f64::INFINITY;
    for iteration in 1..=options.max_iterations {
        let strings = strings(notes, &offsets, options.a4_hz)?;
        let wanted = octave::wanted_cents(&strings, &options.regions)?;
        let next = smooth::offsets(&wanted, options.smoothness, anchor);
        last_change_cents = offsets.iter().zip(&next).map(|(old, new)| (new - old).abs()).fold(0.0, f64::max);
        if next.iter().any(|offset| offset.is_nan() || offset.abs() > MAX_OFFSET_CENTS) {
            return Err(DesignError::NotConverged { iterations: iteration, change_cents: last_change_cents });
        }
        offsets = next;
        if last_change_cents <= options.tolerance_cents {
            return answer(notes, options, &offsets, &wanted, iteration, last_change_cents);
        }
    }
    Err(DesignError::NotConverged { iterations: options.max_iterations, change_cents: last_change_cents })
}

fn check(notes: &[StretchNote], options: &StretchOptions) -> Result<(), DesignError> {
    let mut faults = Faults::default();
    if notes.len() <= OCTAVE_NOTES || notes.len() > 97 {
        faults.add("notes", format!("{} notes", notes.len()), "13 to 97 notes");
        return faults.finish();
    }
    faults.consecutive(notes.iter().map(|note| note.note));
    for (at, note) in notes.iter().enumerate() {
        let path = |field: &str| format!("notes[{at}].{field}");
        faults.range(path("speaking_mm"), note.speaking_mm, SPEAKING_MM, "mm");
        faults.range(path("linear_density_g_m"), note.linear_density_g_m, (0.01, 1000.0), "g/m");
        faults.range(path("youngs_modulus_gpa"), note.youngs_modulus_gpa, (10.0, 500.0), "GPa");
        faults.range(path("second_moment_mm4"), note.second_moment_mm4, (1e-7, 100.0), "mm⁴");
        faults.range(path("inharmonicity_factor"), note.inharmonicity_factor, (0.5, 5.0), "");
    }
    if !notes.iter().any(|note| note.note == A4) {
        faults.add("notes", "no A4", "a row with note 49, which keeps its pitch");
    }
    options.find_faults(&mut faults);
    faults.finish()
}

impl StretchOptions {
    /// Finds what is wrong with the options; [`stretch()`] does the same first.
    ///
    /// # Errors
    /// [`DesignError::Faults`] with every fault.
    pub fn check(&self) -> Result<(), DesignError> {
        let mut faults = Faults::default();
        self.find_faults(&mut faults);
        faults.finish()
    }

    fn find_faults(&self, faults: &mut Faults) {
        faults.range("options.a4_hz", self.a4_hz, (380.0, 500.0), "Hz");
        octave::check(&self.regions, faults);
        faults.range("options.smoothness", self.smoothness, (1e-3, 1e6), "");
        faults.range("options.tolerance_cents", self.tolerance_cents, (1e-9, 1.0), "cents");
        if !(1..=1000).contains(&self.max_iterations) {
            faults.add("options.max_iterations", self.max_iterations, "1 to 1000");
        }
    }
}

/// The strings at their offsets.
fn strings(notes: &[StretchNote], offsets: &[f64], a4_hz: f64) -> Result<Vec<StretchedNote>, DesignError> {
    let pairs = notes.iter().zip(offsets);
    let all = pairs.map(|(note, &offset)| {
        string(note, offset, a4_hz).map_err(|source| DesignError::Formula { note: note.note, source })
    });
    all.collect()
}

fn string(note: &StretchNote, offset_cents: f64, a4_hz: f64) -> Result<StretchedNote, DomainError> {
    let (length_mm, g_m) = (note.speaking_mm, note.linear_density_g_m);
    let (e, i) = (note.youngs_modulus_gpa, note.second_moment_mm4);
    let first_partial_hz = equal_tempered_hz(note.note.into(), a4_hz, offset_cents)?;
    let tension_n = tension_first_partial_n(length_mm, g_m, first_partial_hz, e, i)?;
    let free_hz = frequency_stiffness_free_hz(length_mm, g_m, tension_n)?;
    let lowered_cents = becket_acoustics::cents_between(first_partial_hz, free_hz)?;
    Ok(StretchedNote {
        note: note.note,
        offset_cents,
        stiffness_free_offset_cents: offset_cents + lowered_cents,
        first_partial_hz,
        tension_n,
        inharmonicity: note.inharmonicity_factor * inharmonicity(length_mm, tension_n, e, i)?,
    })
}

fn answer(
    notes: &[StretchNote],
    options: &StretchOptions,
    offsets: &[f64],
    wanted: &[f64],
    iterations: u32,
    last_change_cents: f64,
) -> Result<Stretch, DesignError> {
    let octaves = offsets.iter().zip(offsets.iter().skip(OCTAVE_NOTES)).zip(wanted);
    let largest_octave_error_cents =
        octaves.map(|((low, high), wanted)| (high - low - wanted).abs()).fold(0.0, f64::max);
    let total_cents = offsets.last().zip(offsets.first()).map_or(0.0, |(high, low)| high - low);
    let notes = strings(notes, offsets, options.a4_hz)?;
    Ok(Stretch { notes, total_cents, largest_octave_error_cents, iterations, last_change_cents })
}

/// How much sharper partial `n` is of n times the first partial, in cents.
fn sharpness_cents(n: u32, b: f64) -> Result<f64, DomainError> {
    Ok(partial_cents(n, b)? - partial_cents(1, b)?)
}
