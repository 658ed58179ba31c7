//! What makes one choice of wire better than another: a sum of documented terms.

use crate::check::Faults;

/// A wanted value and how much a deviation from it weighs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    /// Wanted value, in the unit of the field that holds the target; above 0.
    pub value: f64,
    /// Weight of the squared relative deviation; 0, or 10⁻⁶ to 10⁶.
    pub weight: f64,
}

/// What is wanted of one note; any combination, also none (then only the neighbours decide).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Targets {
    /// Tension of one string in N, 10 to 5000.
    pub tension_n: Option<Target>,
    /// Tension as a share of the breaking load of wire or core, 0.01 to 1.
    pub load_share: Option<Target>,
    /// Ceiling of the inharmonicity coefficient B, by the string model of the question, 10⁻⁶ to 1; lower values cost
    /// nothing.
    pub inharmonicity_ceiling: Option<Target>,
}

impl Targets {
    /// Cost of a string's deviation from the targets, 0 or above, without unit.
    ///
    /// # Formula
    /// ```text
    /// w_T·(T/T* − 1)² + w_s·(s/s* − 1)² + w_B·max(0, B/B* − 1)²
    /// ```
    ///
    /// # Source
    /// Common practice of least squares, no source.
    #[must_use]
    pub fn cost(&self, tension_n: f64, load_share: f64, inharmonicity: f64) -> f64 {
        let squared = |target: Option<Target>, deviation: fn(f64) -> f64, value: f64| {
            target.map_or(0.0, |t| {
                let d = deviation(value / t.value);
                t.weight * d * d
            })
        };
        squared(self.tension_n, |r| r - 1.0, tension_n)
            + squared(self.load_share, |r| r - 1.0, load_share)
            + squared(self.inharmonicity_ceiling, |r| (r - 1.0).max(0.0), inharmonicity)
    }

    /// True if some deviation costs something.
    pub(crate) fn any(&self) -> bool {
        let all = [self.tension_n, self.load_share, self.inharmonicity_ceiling];
        all.iter().flatten().any(|target| target.weight > 0.0)
    }

    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        let fields = [
            ("tension_n", self.tension_n, (10.0, 5000.0), "N"),
            ("load_share", self.load_share, (0.01, 1.0), ""),
            ("inharmonicity_ceiling", self.inharmonicity_ceiling, (1e-6, 1.0), ""),
        ];
        for (name, target, range, unit) in fields {
            if let Some(target) = target {
                faults.range(format!("{path}.{name}.value"), target.value, range, unit);
                faults.weight(format!("{path}.{name}.weight"), target.weight);
            }
        }
    }
}

/// Costs of differences between neighbouring notes, each 0 or 10⁻⁶ to 10⁶.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NeighbourCosts {
    /// For each squared step of the natural logarithm of tension.
    pub tension_step: f64,
    /// For each squared step of the natural logarithm of B.
    pub inharmonicity_step: f64,
    /// For each change of wire (or core) from a note to the next.
    pub wire_change: f64,
    /// On top of that where the wire gets thicker, by area, from a note to the next higher one.
    pub thicker_above: f64,
    /// For each squared step of the natural logarithm of a winding wire's diameter, layer by layer, between notes with
    /// equally many layers. Without effect on plain strings.
    pub winding_step: f64,
    /// For each change between one layer of winding and two. Without effect on plain strings.
    pub layer_change: f64,
}

impl Default for NeighbourCosts {
    /// A step of 10 % in tension costs as much as being 10 % off a target of weight 1; a step of B a tenth of that, one of
    /// a winding wire a twentieth; a change of wire costs as much as being 2 % off, a thicker wire above and a change
    /// between one layer and two as much as 10 %. Common practice, no source.
    fn default() -> Self {
        Self {
            tension_step: 1.0,
            inharmonicity_step: 0.1,
            wire_change: 0.0004,
            thicker_above: 0.01,
            winding_step: 0.05,
            layer_change: 0.01,
        }
    }
}

impl NeighbourCosts {
    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        faults.weight(format!("{path}.tension_step"), self.tension_step);
        faults.weight(format!("{path}.inharmonicity_step"), self.inharmonicity_step);
        faults.weight(format!("{path}.wire_change"), self.wire_change);
        faults.weight(format!("{path}.thicker_above"), self.thicker_above);
        faults.weight(format!("{path}.winding_step"), self.winding_step);
        faults.weight(format!("{path}.layer_change"), self.layer_change);
    }

    /// Cost of the step between two notes in tension and B, given as natural logarithms.
    pub(crate) fn steps(&self, below: LogFigures, above: LogFigures) -> (f64, f64) {
        let (tension, b) = (above.tension - below.tension, above.inharmonicity - below.inharmonicity);
        (self.tension_step * tension * tension, self.inharmonicity_step * b * b)
    }
}

/// A string beyond the end of the row that is designed, which stays as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// Tension of one string in N, 10 to 5000.
    pub tension_n: f64,
    /// Inharmonicity coefficient B, 10⁻⁷ to 1.
    pub inharmonicity: f64,
}

impl Neighbour {
    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        faults.range(format!("{path}.tension_n"), self.tension_n, (10.0, 5000.0), "N");
        faults.range(format!("{path}.inharmonicity"), self.inharmonicity, (1e-7, 1.0), "");
    }

    pub(crate) fn log(self) -> LogFigures {
        LogFigures { tension: self.tension_n.ln(), inharmonicity: self.inharmonicity.ln() }
    }
}

/// Natural logarithms of tension and B.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LogFigures {
    pub(crate) tension: f64,
    pub(crate) inharmonicity: f64,
}

/// The objective of a design, term by term; lower is better. The terms add up to [`ObjectiveTerms::total`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ObjectiveTerms {
    /// Deviations from the targets.
    pub targets: f64,
    /// Steps in tension.
    pub tension_steps: f64,
    /// Steps in inharmonicity.
    pub inharmonicity_steps: f64,
    /// Changes of wire.
    pub wire_changes: f64,
    /// Wires that get thicker going up.
    pub thicker_above: f64,
    /// Steps of winding wires; 0 for plain strings.
    pub winding_steps: f64,
    /// Changes between one layer of winding and two; 0 for plain strings.
    pub layer_changes: f64,
    /// Notes with two layers of winding; 0 for plain strings.
    pub second_layers: f64,
    /// Strings tied because a looped pair would straddle two sizes; 0 for wound strings.
    pub tied_strings: f64,
}

impl ObjectiveTerms {
    /// Sum of all terms.
    #[must_use]
    pub fn total(&self) -> f64 {
        let Self {
            targets,
            tension_steps,
            inharmonicity_steps,
            wire_changes,
            thicker_above,
            winding_steps,
            layer_changes,
            second_layers,
            tied_strings,
        } = *self;
        let steps = tension_steps + inharmonicity_steps + winding_steps;
        let changes = wire_changes + thicker_above + layer_changes;
        targets + steps + changes + second_layers + tied_strings
    }
}
