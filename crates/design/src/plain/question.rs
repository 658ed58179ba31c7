//! What is asked of plain strings.

use becket_scale::{
    DEFAULT_LOAD_SHARE_LIMIT, DEFAULT_STRING_TENSION_LIMIT_N, HitchStyle, MAX_UNISONS, PitchBasis, SectionId,
};
use becket_wire::{Wire, WireId};

use crate::check::{FREQUENCY_HZ, Faults, SPEAKING_MM};
use crate::error::DesignError;
use crate::objective::{Neighbour, NeighbourCosts, Targets};

/// Most sizes of a stock.
const MAX_WIRES: usize = 200;
/// Most notes.
const MAX_NOTES: usize = 97;

/// A plain note to be designed.
#[derive(Debug, Clone, PartialEq)]
pub struct PlainNote {
    /// Number of the note, −8 to 88; notes of a question rise by one.
    pub note: i16,
    /// Section; looped pairs do not cross into another.
    pub section_id: SectionId,
    /// Number of strings tuned alike, 1 to 4.
    pub string_count: u8,
    /// How the strings are fixed.
    pub hitch: HitchStyle,
    /// Speaking length in mm, 20 to 3000.
    pub speaking_mm: f64,
    /// Target frequency in Hz, 5 to 10000, on the question's pitch basis.
    pub frequency_hz: f64,
    /// Size that this note keeps; `None` where it is to be chosen.
    pub fixed_wire_id: Option<WireId>,
    /// What is wanted.
    pub targets: Targets,
}

/// What no string may go beyond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlainLimits {
    /// Largest share of breaking load, 0.01 to 1.
    pub max_load_share: f64,
    /// Largest tension of one string in N, 10 to 5000.
    pub max_tension_n: f64,
}

impl Default for PlainLimits {
    /// 70 % of breaking load and 1890 N. Common practice, no source.
    fn default() -> Self {
        Self { max_load_share: DEFAULT_LOAD_SHARE_LIMIT, max_tension_n: DEFAULT_STRING_TENSION_LIMIT_N }
    }
}

/// Plain strings to be designed.
#[derive(Debug, Clone, Copy)]
pub struct PlainQuestion<'a> {
    /// Notes by rising number, without gaps, 1 to 97.
    pub notes: &'a [PlainNote],
    /// Stocked wires, 1 to 200, each with a known breaking load.
    pub wires: &'a [Wire],
    /// Last string below, if the step to it counts.
    pub below: Option<Neighbour>,
    /// Costs of steps between neighbours.
    pub neighbour_costs: NeighbourCosts,
    /// Cost of each string that is tied because its pair would straddle two sizes; `None` if that is not allowed.
    pub tied_string_cost: Option<f64>,
    /// Fewest neighbouring notes of one size, 1 to 20; a run may go on into the next section, and those at the ends of
    /// the row must be as long as any.
    pub min_run_notes: u8,
    /// Limits.
    pub limits: PlainLimits,
    /// Which frequency the notes name.
    pub pitch_basis: PitchBasis,
}

impl PlainQuestion<'_> {
    /// Finds what is wrong with the question without answering it; [`crate::design_plain`] does the same first.
    ///
    /// # Errors
    /// [`DesignError::Faults`] with every fault.
    pub fn check(&self) -> Result<(), DesignError> {
        let mut faults = Faults::default();
        if self.notes.len() > MAX_NOTES {
            faults.count("notes", self.notes.len(), MAX_NOTES);
            return faults.finish();
        }
        faults.consecutive(self.notes.iter().map(|note| note.note));
        for (at, note) in self.notes.iter().enumerate() {
            self.check_note(note, &format!("notes[{at}]"), &mut faults);
        }
        if !self.notes.is_empty() && !self.notes.iter().any(|note| note.targets.any()) {
            faults.add("notes", "no target", "a target with a weight above 0 on one note at least");
        }
        faults.tension_wires("wires", self.wires, MAX_WIRES);
        if let Some(below) = &self.below {
            below.check("below", &mut faults);
        }
        self.neighbour_costs.check("neighbour_costs", &mut faults);
        if let Some(cost) = self.tied_string_cost {
            faults.weight("tied_string_cost", cost);
        }
        if !(1..=20).contains(&self.min_run_notes) {
            faults.add("min_run_notes", self.min_run_notes, "1 to 20");
        }
        faults.range("limits.max_load_share", self.limits.max_load_share, (0.01, 1.0), "");
        faults.range("limits.max_tension_n", self.limits.max_tension_n, (10.0, 5000.0), "N");
        faults.finish()
    }

    fn check_note(&self, note: &PlainNote, path: &str, faults: &mut Faults) {
        if !(1..=MAX_UNISONS).contains(&note.string_count) {
            faults.add(format!("{path}.string_count"), note.string_count, format!("1 to {MAX_UNISONS}"));
        }
        faults.range(format!("{path}.speaking_mm"), note.speaking_mm, SPEAKING_MM, "mm");
        faults.range(format!("{path}.frequency_hz"), note.frequency_hz, FREQUENCY_HZ, "Hz");
        if let Some(fixed) = &note.fixed_wire_id
            && !self.wires.iter().any(|wire| wire.wire_id() == fixed)
        {
            faults.add(format!("{path}.fixed_wire_id"), fixed, "a wire of the stock");
        }
        note.targets.check(&format!("{path}.targets"), faults);
    }

    /// For each note, whether a looped pair joins its first string to the last one of the note below.
    pub(crate) fn pairs_across(&self) -> Vec<bool> {
        let mut across = Vec::with_capacity(self.notes.len());
        // Strings of the run so far, looped and within one section.
        let mut run = 0_u32;
        let mut section: Option<&SectionId> = None;
        for note in self.notes {
            if section != Some(&note.section_id) || note.hitch == HitchStyle::Tied {
                run = 0;
            }
            section = Some(&note.section_id);
            across.push(run % 2 == 1);
            run = match note.hitch {
                HitchStyle::LoopedBack => run + u32::from(note.string_count),
                HitchStyle::Tied => 0,
            };
        }
        across
    }
}
