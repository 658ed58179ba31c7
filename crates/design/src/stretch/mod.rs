//! Stretch: the pitch offsets at which octaves agree in chosen partials.
//!
//! Partials of stiff strings are sharp, so an octave whose partials agree is wider than 2:1. Which partials a tuner lets
//! agree depends on the region. The octaves give one equation for each pair of notes twelve apart, which leaves the notes
//! within an octave undecided, and at the break B jumps from note to note; both are settled by asking for a smooth curve
//! ([`smooth`]).

mod octave;
mod smooth;

pub use octave::{Octave, OctaveRegion};

use becket_acoustics::{DomainError, cents_between, equal_tempered_hz, fit_inharmonicity};
use becket_scale::{
    ComputeError, DEFAULT_A4_HZ, Models, PitchBasis, Scale, StringBody, WindingModel, bodies,
};
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
    /// One string as it vibrates, its windings by the winding model; speaking length 20 to 3000 mm, linear density of wire
    /// or core 0.01 to 1000 g/m, Young's modulus 10 to 500 GPa, second moment of area 10⁻⁷ to 100 mm⁴.
    pub body: StringBody,
}

impl StretchNote {
    /// Takes every note of a scale.
    ///
    /// # Errors
    /// [`ComputeError`] for a wire that the catalogue lacks or that does not fit.
    pub fn of_scale(
        scale: &Scale,
        catalogue: &Catalogue,
        model: WindingModel,
    ) -> Result<Vec<Self>, ComputeError> {
        Ok(bodies(scale, catalogue, model)?.into_iter().map(|(note, body)| Self { note, body }).collect())
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
    /// String model, and partials to which B is fitted. The pitch basis counts for nothing, since what is tuned is what
    /// sounds; the winding model is in the notes already.
    pub models: Models,
}

impl Default for StretchOptions {
    /// A4 = 440 Hz (ISO 16); octaves that begin below note 13 (A1) by 8:4, below 28 (C3) by 6:3, below 52 (C5) by 4:2, from
    /// there on by 2:1; smoothness 100. Common practice but for the pitch, no source: the partials that are to agree are
    /// to be ones that sound, and a soundboard radiates little of what lies below some 200 Hz. So the lowest octave goes
    /// by the eighth partial of its lower note (A0: 220 Hz), and higher ones by lower partials.
    fn default() -> Self {
        Self {
            a4_hz: DEFAULT_A4_HZ,
            regions: vec![
                OctaveRegion { first_note: -8, octave: Octave::EightFour },
                OctaveRegion { first_note: 13, octave: Octave::SixThree },
                OctaveRegion { first_note: 28, octave: Octave::FourTwo },
                OctaveRegion { first_note: 52, octave: Octave::TwoOne },
            ],
            smoothness: 100.0,
            tolerance_cents: 1e-6,
            max_iterations: 100,
            models: Models::default(),
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
/// octave 2m:m   θ(k+12) − θ(k) = S(k) = s_k(2m) − s_k+12(m),  s(n) = 1200·log₂(f_n/(n·f₁)), the string's own partials
/// minimise      Σ (θ(k+12) − θ(k) − S(k))² + λ·Σ (θ(k−1) − 2·θ(k) + θ(k+1))²,   θ(49) = 0
/// closed form   T = μ·(2·L·f₁)² − π²·E·I/L²,  B = π²·E·I/(T·L²),  s(n) = 600·log₂((1 + B·n²)/(1 + B))
/// stepped       T and f_n exactly, see becket_acoustics::SteppedString; B is fitted and is only told
/// ```
/// repeated from θ = 0 until θ no longer moves: pitch changes tension, tension changes partials and B, these change the
/// stretch.
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
/// use becket_scale::StringBody;
/// // Two octaves of 1 mm steel wire about A4.
/// let note = |note: i16| StretchNote {
///     note,
///     body: StringBody {
///         speaking_mm: 390.0 * (f64::from(49 - note) / 12.5).exp2(),
///         core_g_m: 6.165,
///         youngs_modulus_gpa: 206.0,
///         second_moment_mm4: 0.0491,
///         spans: None,
///     },
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
        let strings = strings(notes, &offsets, options)?;
        let wanted = octave::wanted_cents(&strings, &options.regions);
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
        let path = |field: &str| format!("notes[{at}].body.{field}");
        let body = &note.body;
        faults.range(path("speaking_mm"), body.speaking_mm, SPEAKING_MM, "mm");
        faults.range(path("core_g_m"), body.core_g_m, (0.01, 1000.0), "g/m");
        faults.range(path("youngs_modulus_gpa"), body.youngs_modulus_gpa, (10.0, 500.0), "GPa");
        faults.range(path("second_moment_mm4"), body.second_moment_mm4, (1e-7, 100.0), "mm⁴");
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
        faults.models("options.models", &self.models);
    }
}

/// The strings at their offsets.
fn strings(
    notes: &[StretchNote],
    offsets: &[f64],
    options: &StretchOptions,
) -> Result<Vec<Sounding>, DesignError> {
    let pairs = notes.iter().zip(offsets);
    let all = pairs.map(|(note, &offset)| {
        string(note, offset, options).map_err(|source| DesignError::Formula { note: note.note, source })
    });
    all.collect()
}

/// A string at its offset, and how sharp each of its partials is of its multiple of the first, in cents.
#[derive(Debug)]
pub(crate) struct Sounding {
    pub(crate) note: StretchedNote,
    pub(crate) sharpness_cents: Vec<f64>,
}

fn string(note: &StretchNote, offset_cents: f64, options: &StretchOptions) -> Result<Sounding, DomainError> {
    let first_partial_hz = equal_tempered_hz(note.note.into(), options.a4_hz, offset_cents)?;
    // An octave may need more partials than those to which B is fitted.
    let fitted = options.models.partial_count;
    let partial_count = fitted.max(Octave::HIGHEST_PARTIAL);
    let models = Models { pitch_basis: PitchBasis::FirstPartial, partial_count, ..options.models };
    let at = note.body.at(first_partial_hz, &models, true)?;
    let none = DomainError { argument: "partials", value: f64::NAN, allowed: "partials that were asked for" };
    let partials = at.partials.ok_or(none)?;
    let few = usize::try_from(fitted).ok().and_then(|fitted| partials.partial_hz.get(..fitted));
    Ok(Sounding {
        note: StretchedNote {
            note: note.note,
            offset_cents,
            stiffness_free_offset_cents: offset_cents
                + cents_between(first_partial_hz, partials.stiffness_free_hz)?,
            first_partial_hz,
            tension_n: at.tension_n,
            inharmonicity: match few {
                Some(few) if fitted < partial_count => fit_inharmonicity(few)?.inharmonicity,
                _ => at.inharmonicity,
            },
        },
        sharpness_cents: partials.cents.clone(),
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
    let notes = strings(notes, offsets, options)?.into_iter().map(|string| string.note).collect();
    Ok(Stretch { notes, total_cents, largest_octave_error_cents, iterations, last_change_cents })
}
