//! What is drawn: the figures of one or two string sets.

use crate::PlotError;

/// A section of the plate, drawn as a stretch of the compass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionSpan {
    /// Name for people.
    pub title: String,
    /// Lowest note.
    pub first_note: i32,
    /// Highest note.
    pub last_note: i32,
}

/// The figures of one string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringPoint {
    /// Note: 1 is A0, 49 is A4, 88 is C8.
    pub note: i32,
    /// Speaking length in mm, above 0.
    pub speaking_mm: f64,
    /// Diameter of the wire, or of the core, in mm (across flats for a hexagon), above 0.
    pub wire_mm: f64,
    /// Outer diameter over the windings in mm; none for a plain string.
    pub outer_mm: Option<f64>,
    /// Tension in N.
    pub tension_n: f64,
    /// Tension divided by breaking load; none where the strength is not known.
    pub load_share: Option<f64>,
    /// Inharmonicity coefficient B. One that is not above 0, as a fit to few partials can give, has no place on the
    /// logarithmic axis and is not drawn.
    pub inharmonicity: f64,
    /// Pitch against equal temperament in cents, as the scale states it.
    pub pitch_offset_cents: f64,
    /// Pitch against equal temperament in cents that is computed from the strings' own partials, if it is known.
    pub stretch_cents: Option<f64>,
}

impl StringPoint {
    /// Whether the string has a winding.
    #[must_use]
    pub const fn is_wound(&self) -> bool {
        self.outer_mm.is_some()
    }

    fn check(&self) -> Result<(), PlotError> {
        let positive = [
            ("the speaking length", Some(self.speaking_mm)),
            ("the diameter", Some(self.wire_mm)),
            ("the outer diameter", self.outer_mm),
        ];
        let finite = [
            ("the tension", Some(self.tension_n)),
            ("the inharmonicity", Some(self.inharmonicity)),
            ("the share of breaking load", self.load_share),
            ("the pitch offset", Some(self.pitch_offset_cents)),
            ("the computed stretch", self.stretch_cents),
        ];
        let bad_positive =
            positive.iter().find(|(_, value)| value.is_some_and(|v| !(v.is_finite() && v > 0.0)));
        let bad =
            bad_positive.or_else(|| finite.iter().find(|(_, value)| value.is_some_and(|v| !v.is_finite())));
        match bad {
            None => Ok(()),
            Some((what, value)) => {
                let value = value.map(|value| value.to_string()).unwrap_or_default();
                Err(PlotError::Figure { what, note: self.note, value })
            }
        }
    }
}

/// One string set as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveSet {
    /// What the legend calls it.
    pub label: String,
    /// Sections by rising notes.
    pub sections: Vec<SectionSpan>,
    /// Strings by rising note.
    pub strings: Vec<StringPoint>,
}

impl CurveSet {
    /// The breaks: boundaries between a wound and a plain note, half a note above the lower one.
    pub(crate) fn breaks(&self) -> Vec<f64> {
        let changes = self.strings.windows(2).filter_map(|pair| match pair {
            [low, high] if low.is_wound() != high.is_wound() => {
                Some(f64::midpoint(f64::from(low.note), f64::from(high.note)))
            }
            _ => None,
        });
        changes.collect()
    }

    /// The boundaries between sections, half a note above the lower one.
    pub(crate) fn boundaries(&self) -> Vec<f64> {
        self.sections
            .windows(2)
            .filter_map(|pair| match pair {
                [low, high] => Some(f64::midpoint(f64::from(low.last_note), f64::from(high.first_note))),
                _ => None,
            })
            .collect()
    }
}

/// A picture: a title and one or two sets.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Title above everything.
    pub title: String,
    /// One set, or two that are drawn over each other.
    pub sets: Vec<CurveSet>,
    /// Lines of remarks below the legend, such as the pitch and the strength basis.
    pub remarks: Vec<String>,
}

impl Picture {
    /// Checks that everything can be drawn.
    pub(crate) fn check(&self) -> Result<(), PlotError> {
        if !(1..=2).contains(&self.sets.len()) {
            return Err(PlotError::SetCount(self.sets.len()));
        }
        for set in &self.sets {
            if set.strings.is_empty() {
                return Err(PlotError::Empty { label: set.label.clone() });
            }
            set.strings.iter().try_for_each(StringPoint::check)?;
        }
        Ok(())
    }

    /// Lowest and highest note of all sets.
    pub(crate) fn compass(&self) -> (i32, i32) {
        let notes = || self.sets.iter().flat_map(|set| &set.strings).map(|string| string.note);
        (notes().min().unwrap_or(1), notes().max().unwrap_or(88))
    }
}
