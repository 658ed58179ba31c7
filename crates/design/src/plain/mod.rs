//! Sizes of plain wire.
//!
//! Plain wire is looped back in pairs of neighbouring strings, and a piece has one size. Which strings are pairs depends
//! on their positions in the run alone: counted from the start of the run, the first and the second, the third and the
//! fourth, and so on; a section, a tied or a wound string ends a run. So whether a change of size between two notes cuts
//! a pair is known before any size is chosen, and the objective is a sum over notes and neighbours that dynamic
//! programming minimises exactly.

mod question;
mod search;

pub use question::{PlainLimits, PlainNote, PlainQuestion};

use becket_wire::WireId;

use crate::error::DesignError;
use crate::objective::ObjectiveTerms;

/// Sizes as chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct PlainDesign {
    /// One entry for each note of the question, in order.
    pub notes: Vec<PlainChoice>,
    /// The objective, term by term.
    pub terms: ObjectiveTerms,
    /// Strings that are tied because a pair would straddle two sizes. A string left over at the end of a run is tied
    /// whatever the sizes are and is not counted.
    pub tied_at_changes: u32,
}

/// What is chosen for one note.
#[derive(Debug, Clone, PartialEq)]
pub struct PlainChoice {
    /// The note.
    pub note: i16,
    /// Wire.
    pub wire_id: WireId,
    /// Tension of one string in N.
    pub tension_n: f64,
    /// Stress in MPa.
    pub stress_mpa: f64,
    /// Share of the breaking load.
    pub load_share: f64,
    /// Inharmonicity coefficient B.
    pub inharmonicity: f64,
    /// Cost of the deviation from the note's targets.
    pub target_cost: f64,
    /// True if a looped pair would have straddled this note and the one below, which have different sizes.
    pub pair_cut_below: bool,
}

/// Chooses a size of plain wire for every note.
///
/// # Units
/// As the fields of [`PlainQuestion`] and [`PlainDesign`] say.
///
/// # Formula
/// ```text
/// minimise  Σ cost of targets + steps and changes between neighbours as in design_bass
///         + 2·c_tied for each change of size that cuts a looped pair
/// subject to  runs of one size of min_run_notes notes or more
/// T = (π/4)·ρ·d²·(2·L·f)², on the first-partial basis less π²·E·I/L²;  B = π²·E·I/(T·L²)
/// ```
///
/// # Valid range and accuracy
/// The optimum of this objective; of equal ones, the first in the order of the stock.
///
/// # Errors
/// [`DesignError::Faults`] with every fault of the question; [`DesignError::NothingFits`] with every note for which no
/// size keeps to the limits; [`DesignError::NoSequence`] where pairs that may not be cut and runs that may not be shorter
/// leave no way.
///
/// # Source
/// Dynamic programming: R. Bellman (1957). Pairing: common practice, no source.
///
/// # Examples
/// ```
/// use becket_design::{
///     NeighbourCosts, PlainLimits, PlainNote, PlainQuestion, Target, Targets, design_plain,
/// };
/// use becket_scale::{HitchStyle, PitchBasis, SectionId};
/// use becket_wire::{SizeSeries, Wire, standard_wires};
///
/// let wires: Vec<Wire> =
///     standard_wires(SizeSeries::Inch).into_iter().filter(|wire| wire.breaking_load_n().is_some()).collect();
/// let section_id = SectionId::new("treble")?;
/// let note = |note: i16, frequency_hz: f64, speaking_mm: f64| PlainNote {
///     note,
///     section_id: section_id.clone(),
///     string_count: 3,
///     hitch: HitchStyle::LoopedBack,
///     speaking_mm,
///     frequency_hz,
///     fixed_wire_id: None,
///     targets: Targets { tension_n: Some(Target { value: 720.0, weight: 1.0 }), ..Targets::default() },
/// };
/// let notes = [note(49, 440.0, 392.0), note(50, 466.16, 374.0), note(51, 493.88, 355.0)];
/// let question = PlainQuestion {
///     notes: &notes,
///     wires: &wires,
///     below: None,
///     neighbour_costs: NeighbourCosts::default(),
///     tied_string_cost: None,
///     min_run_notes: 1,
///     limits: PlainLimits::default(),
///     pitch_basis: PitchBasis::StiffnessFree,
/// };
/// let design = design_plain(&question)?;
/// // Notes 49 and 50 share a piece of wire, so they have one size.
/// assert_eq!(design.notes[0].wire_id, design.notes[1].wire_id);
/// assert!(design_plain(&PlainQuestion { wires: &[], ..question }).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn design_plain(question: &PlainQuestion<'_>) -> Result<PlainDesign, DesignError> {
    question.check()?;
    let figures = search::figures(question)?;
    search::least(question, &figures)
}
