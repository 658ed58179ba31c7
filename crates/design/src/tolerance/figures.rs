//! The figures that depend on inputs with tolerances.

/// Everything about a string that is off when wire, length or pitch are: plain values, or values with their tolerances.
#[derive(Debug, Clone, PartialEq)]
pub struct TolerancedFigures<T> {
    /// Tension in N.
    pub tension_n: T,
    /// Stress of wire or core in MPa.
    pub stress_mpa: T,
    /// Share of breaking load at the stated tensile strength; `None` where none is stated.
    pub load_share: Option<T>,
    /// Inharmonicity coefficient B.
    pub inharmonicity: T,
    /// Linear density in g/m as it acts on the first partial.
    pub linear_density_g_m: T,
    /// Elastic stretch of the straight part when pulled to pitch, in mm.
    pub stretch_mm: T,
    /// Length of wire for the string in mm before rounding.
    pub cut_mm: T,
    /// What only a wound string has; `None` for a plain one.
    pub wound: Option<WoundStringFigures<T>>,
    /// Room to a neighbour of the note in mm: the spacing, which is held fixed, less the greatest width of the string; `None`
    /// where no spacing is stated.
    pub clearance_mm: Option<T>,
}

/// What the winder goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct WoundStringFigures<T> {
    /// Diameter over the outermost layer in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: T,
    /// Length of the relaxed core in mm from the eye to its free end.
    pub overall_relaxed_mm: T,
    /// Layers from the inside out.
    pub layers: Vec<LayerFigures<T>>,
}

/// One layer. The core that it leaves bare at either end is held fixed.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerFigures<T> {
    /// Where it begins, in mm from the eye along the relaxed core.
    pub start_relaxed_mm: T,
    /// Where it ends, in mm from the eye along the relaxed core.
    pub end_relaxed_mm: T,
    /// Length of its wire in mm, finishing turns included.
    pub wire_length_mm: T,
    /// Mass of its wire in g, finishing turns included.
    pub wire_mass_g: T,
}

impl<T> TolerancedFigures<T> {
    /// Puts each figure together with the same figure of another such string; what only one of them has is left out.
    pub(crate) fn zip<U, V>(
        &self,
        other: &TolerancedFigures<U>,
        with: impl Fn(&T, &U) -> V,
    ) -> TolerancedFigures<V> {
        TolerancedFigures {
            tension_n: with(&self.tension_n, &other.tension_n),
            stress_mpa: with(&self.stress_mpa, &other.stress_mpa),
            load_share: both(&self.load_share, &other.load_share, &with),
            inharmonicity: with(&self.inharmonicity, &other.inharmonicity),
            linear_density_g_m: with(&self.linear_density_g_m, &other.linear_density_g_m),
            stretch_mm: with(&self.stretch_mm, &other.stretch_mm),
            cut_mm: with(&self.cut_mm, &other.cut_mm),
            wound: both(&self.wound, &other.wound, |own, other| own.zip(other, &with)),
            clearance_mm: both(&self.clearance_mm, &other.clearance_mm, &with),
        }
    }
}

impl<T> WoundStringFigures<T> {
    fn zip<U, V>(&self, other: &WoundStringFigures<U>, with: &impl Fn(&T, &U) -> V) -> WoundStringFigures<V> {
        let layers = self.layers.iter().zip(&other.layers).map(|(own, other)| LayerFigures {
            start_relaxed_mm: with(&own.start_relaxed_mm, &other.start_relaxed_mm),
            end_relaxed_mm: with(&own.end_relaxed_mm, &other.end_relaxed_mm),
            wire_length_mm: with(&own.wire_length_mm, &other.wire_length_mm),
            wire_mass_g: with(&own.wire_mass_g, &other.wire_mass_g),
        });
        WoundStringFigures {
            outer_diameter_mm: with(&self.outer_diameter_mm, &other.outer_diameter_mm),
            overall_relaxed_mm: with(&self.overall_relaxed_mm, &other.overall_relaxed_mm),
            layers: layers.collect(),
        }
    }
}

fn both<T, U, V>(own: &Option<T>, other: &Option<U>, with: impl Fn(&T, &U) -> V) -> Option<V> {
    own.as_ref().zip(other.as_ref()).map(|(own, other)| with(own, other))
}
