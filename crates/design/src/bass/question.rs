//! What is asked of a bass.

use becket_scale::{DEFAULT_LOAD_SHARE_LIMIT, DEFAULT_STRING_TENSION_LIMIT_N, Models};
use becket_wire::Wire;

use crate::bass::builds::Builds;
use crate::check::{FREQUENCY_HZ, Faults, SPEAKING_MM};
use crate::error::DesignError;
use crate::objective::{Neighbour, NeighbourCosts, Targets};

/// Most cores of a stock.
pub const MAX_CORES: usize = 100;
/// Most winding wires of a stock.
pub const MAX_WINDING_WIRES: usize = 200;
/// Most combinations of core and windings over all notes together: a bound on time and memory, of the order of a
/// second.
pub const MAX_COMBINATIONS: u64 = 4_000_000;
/// Most notes.
const MAX_NOTES: usize = 97;

/// Core left bare at the ends of the speaking length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BareEnds {
    /// From the front end of the speaking length to the start of the layer in mm, 0 or more.
    pub front_mm: f64,
    /// From the end of the layer to the back end of the speaking length in mm; negative where the layer goes on beyond
    /// it.
    pub back_mm: f64,
}

/// A wound note to be designed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WoundNote {
    /// Number of the note, −8 to 88; notes of a question rise by one.
    pub note: i16,
    /// Speaking length in mm, 20 to 3000.
    pub speaking_mm: f64,
    /// Target frequency in Hz, 5 to 10000, on the question's pitch basis.
    pub frequency_hz: f64,
    /// Bare ends of the only layer, or of the inner one of two.
    pub bare_ends: BareEnds,
    /// Bare ends of the outer layer of two; `None` where two layers are not allowed.
    pub outer_bare_ends: Option<BareEnds>,
    /// What is wanted.
    pub targets: Targets,
}

/// What no string may go beyond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BassLimits {
    /// Smallest share of the core's breaking load, 0 to 1; a slack core sounds dull.
    pub min_load_share: f64,
    /// Largest share of the core's breaking load, above the smallest, up to 1.
    pub max_load_share: f64,
    /// Largest tension of one string in N, 10 to 5000.
    pub max_tension_n: f64,
    /// Thinnest winding wire that can be wound, in mm, 0.05 to 6.
    pub min_winding_mm: f64,
    /// Thickest winding wire that can be wound, in mm, above the thinnest, up to 6.
    pub max_winding_mm: f64,
    /// Thinnest inner winding wire of two, as a share of the outer one, 0 to 1.
    pub min_inner_ratio: f64,
    /// Thickest inner winding wire of two, as a share of the outer one, above the thinnest, up to 1; it is thinner than
    /// the outer one in any case.
    pub max_inner_ratio: f64,
}

impl Default for BassLimits {
    /// 10 to 70 % of breaking load, 1890 N, winding wire of 0.15 to 2.2 mm, the inner one of two 0.25
    /// to 0.8 times as thick as the outer one. Common practice, no source; 0.15 mm is the
    /// thinnest copper in use.
    fn default() -> Self {
        Self {
            min_load_share: 0.1,
            max_load_share: DEFAULT_LOAD_SHARE_LIMIT,
            max_tension_n: DEFAULT_STRING_TENSION_LIMIT_N,
            min_winding_mm: 0.15,
            max_winding_mm: 2.2,
            min_inner_ratio: 0.25,
            max_inner_ratio: 0.8,
        }
    }
}

/// A bass to be designed.
#[derive(Debug, Clone, Copy)]
pub struct BassQuestion<'a> {
    /// Notes by rising number, without gaps, 1 to 97.
    pub notes: &'a [WoundNote],
    /// Stocked cores, 1 to [`MAX_CORES`], each with a known breaking load.
    pub cores: &'a [Wire],
    /// Stocked winding wires, 1 to [`MAX_WINDING_WIRES`]; those outside the limits are passed over.
    pub windings: &'a [Wire],
    /// First plain string above the break, if steps to it count.
    pub above: Option<Neighbour>,
    /// Costs of steps between neighbours.
    pub neighbour_costs: NeighbourCosts,
    /// Cost of each note with two layers, 0 or 10⁻⁶ to 10⁶: they are more work, so one layer is taken where it does.
    pub second_layer_cost: f64,
    /// Limits.
    pub limits: BassLimits,
    /// Which frequency the notes name, and what a string is taken to be.
    pub models: Models,
}

impl BassQuestion<'_> {
    /// Finds what is wrong with the question without answering it; [`crate::design_bass`] does the same first. What the
    /// combinations of the stock come to is not counted here.
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
            note.check(&format!("notes[{at}]"), &mut faults);
        }
        if !self.notes.is_empty() && !self.notes.iter().any(|note| note.targets.any()) {
            faults.add("notes", "no target", "a target with a weight above 0 on one note at least");
        }
        faults.tension_wires("cores", self.cores, MAX_CORES);
        faults.winding_wires("windings", self.windings, MAX_WINDING_WIRES);
        if let Some(above) = &self.above {
            above.check("above", &mut faults);
        }
        self.neighbour_costs.check("neighbour_costs", &mut faults);
        faults.weight("second_layer_cost", self.second_layer_cost);
        self.limits.check(&mut faults);
        faults.models("models", &self.models);
        let usable = |wire: &Wire| {
            (self.limits.min_winding_mm..=self.limits.max_winding_mm).contains(&wire.diameter_mm())
        };
        if !self.windings.is_empty() && !self.windings.iter().any(usable) {
            let allowed = format!(
                "one wire of {} to {} mm at least",
                self.limits.min_winding_mm, self.limits.max_winding_mm
            );
            faults.add("windings", "none within the limits", allowed);
        }
        faults.finish()
    }

    /// Refuses what would take too long or too much memory.
    pub(crate) fn check_size(&self, builds: &Builds) -> Result<(), DesignError> {
        let combinations: u64 =
            self.notes.iter().map(|note| builds.count(note.outer_bare_ends.is_some())).sum();
        let mut faults = Faults::default();
        if combinations > MAX_COMBINATIONS {
            let allowed = format!(
                "up to {MAX_COMBINATIONS} combinations; give fewer wires, or allow two layers on fewer notes"
            );
            faults.add("windings", format!("{combinations} combinations"), allowed);
        }
        faults.finish()
    }
}

impl WoundNote {
    fn check(&self, path: &str, faults: &mut Faults) {
        faults.range(format!("{path}.speaking_mm"), self.speaking_mm, SPEAKING_MM, "mm");
        faults.range(format!("{path}.frequency_hz"), self.frequency_hz, FREQUENCY_HZ, "Hz");
        self.bare_ends.check(&format!("{path}.bare_ends"), self.speaking_mm, faults);
        if let Some(outer) = &self.outer_bare_ends {
            outer.check(&format!("{path}.outer_bare_ends"), self.speaking_mm, faults);
            // The outer layer lies on the inner one.
            if outer.front_mm < self.bare_ends.front_mm || outer.back_mm < self.bare_ends.back_mm {
                let value = format!("{} and {}", outer.front_mm, outer.back_mm);
                faults.add(
                    format!("{path}.outer_bare_ends"),
                    value,
                    "not shorter than those of the inner layer",
                );
            }
        }
        self.targets.check(&format!("{path}.targets"), faults);
    }
}

impl BareEnds {
    /// Half of the string at least must be covered: with less it is no wound string, and Rayleigh's quotient no longer
    /// holds.
    pub(crate) fn check(&self, path: &str, speaking_mm: f64, faults: &mut Faults) {
        faults.range(format!("{path}.front_mm"), self.front_mm, (0.0, 1500.0), "mm");
        faults.range(format!("{path}.back_mm"), self.back_mm, (-1500.0, 1500.0), "mm");
        let bare = self.front_mm + self.back_mm.max(0.0);
        if bare > speaking_mm / 2.0 {
            faults.add(path, format!("{bare} mm"), "half of the speaking length at most");
        }
    }
}

impl BassLimits {
    fn check(&self, faults: &mut Faults) {
        faults.range("limits.min_load_share", self.min_load_share, (0.0, 1.0), "");
        faults.range("limits.max_load_share", self.max_load_share, (self.min_load_share.max(0.01), 1.0), "");
        faults.range("limits.max_tension_n", self.max_tension_n, (10.0, 5000.0), "N");
        faults.range("limits.min_winding_mm", self.min_winding_mm, (0.05, 6.0), "mm");
        faults.range(
            "limits.max_winding_mm",
            self.max_winding_mm,
            (self.min_winding_mm.max(0.05), 6.0),
            "mm",
        );
        faults.range("limits.min_inner_ratio", self.min_inner_ratio, (0.0, 1.0), "");
        faults.range(
            "limits.max_inner_ratio",
            self.max_inner_ratio,
            (self.min_inner_ratio.max(0.0), 1.0),
            "",
        );
    }
}
