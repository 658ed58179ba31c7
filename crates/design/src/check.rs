//! Collecting the faults of a question.

use std::fmt::Display;

use becket_scale::Models;
use becket_units::Fault;
use becket_wire::Wire;

use crate::error::DesignError;

/// Range of speaking lengths in mm, the same as in a scale.
pub(crate) const SPEAKING_MM: (f64, f64) = (20.0, 3000.0);
/// Range of frequencies in Hz: an octave beyond any compass on either side.
pub(crate) const FREQUENCY_HZ: (f64, f64) = (5.0, 10_000.0);
/// Range of note numbers.
pub(crate) const NOTE: (i16, i16) = (becket_scale::LOWEST_NOTE, becket_scale::HIGHEST_NOTE);
/// Largest weight or cost.
const WEIGHT_MAX: f64 = 1e6;
/// Smallest weight other than 0: below it, sums with other terms would lose it.
const WEIGHT_MIN: f64 = 1e-6;

/// Faults found so far.
#[derive(Debug, Default)]
pub(crate) struct Faults(Vec<Fault>);

impl Faults {
    pub(crate) fn add(&mut self, field: impl Into<String>, value: impl Display, allowed: impl Into<String>) {
        self.0.push(Fault::new(field, value, allowed));
    }

    pub(crate) fn range(
        &mut self,
        field: impl Into<String>,
        value: f64,
        (low, high): (f64, f64),
        unit: &str,
    ) {
        self.0.extend(Fault::outside(field, value, low, high, unit));
    }

    /// A weight or cost: 0, or large enough to count and small enough to be added up.
    pub(crate) fn weight(&mut self, field: impl Into<String>, value: f64) {
        if value != 0.0 && !(WEIGHT_MIN..=WEIGHT_MAX).contains(&value) {
            self.add(field, value, format!("0, or {WEIGHT_MIN} to {WEIGHT_MAX}"));
        }
    }

    /// Notes that rise by one, so that neighbours in the list are neighbours in the piano.
    pub(crate) fn consecutive(&mut self, notes: impl Iterator<Item = i16>) {
        let mut before: Option<i16> = None;
        for (at, note) in notes.enumerate() {
            if !(NOTE.0..=NOTE.1).contains(&note) {
                self.add(format!("notes[{at}].note"), note, format!("{} to {}", NOTE.0, NOTE.1));
            } else if let Some(last) = before
                && i32::from(note) != i32::from(last) + 1
            {
                self.add(
                    format!("notes[{at}].note"),
                    note,
                    format!("{}: notes rise by one", i32::from(last) + 1),
                );
            }
            before = Some(note);
        }
        if before.is_none() {
            self.add("notes", "none", "one note or more");
        }
    }

    /// Wires that carry tension and whose breaking load is known, 1 to `most`.
    pub(crate) fn tension_wires(&mut self, field: &str, wires: &[Wire], most: usize) {
        self.count(field, wires.len(), most);
        for (at, wire) in wires.iter().enumerate() {
            if !wire.material().carries_tension() {
                let path = format!("{field}[{at}].material");
                self.add(path, wire.material(), "steel, which carries tension");
            } else if wire.breaking_load_n().is_none() {
                self.add(
                    format!("{field}[{at}].strength"),
                    wire.wire_id(),
                    "a strength basis with a value at the wire's diameter, since limits are shares of breaking load",
                );
            }
        }
    }

    pub(crate) fn winding_wires(&mut self, field: &str, wires: &[Wire], most: usize) {
        self.count(field, wires.len(), most);
        for (at, wire) in wires.iter().enumerate().filter(|(_, wire)| !wire.material().is_winding()) {
            self.add(format!("{field}[{at}].material"), wire.material(), "winding wire");
        }
    }

    pub(crate) fn models(&mut self, path: &str, models: &Models) {
        self.0.extend(models.check().err().map(|fault| fault.within(path)));
    }

    pub(crate) fn count(&mut self, field: &str, count: usize, most: usize) {
        if count == 0 || count > most {
            self.add(field, format!("{count} entries"), format!("1 to {most} entries"));
        }
    }

    pub(crate) fn finish(self) -> Result<(), DesignError> {
        if self.0.is_empty() { Ok(()) } else { Err(DesignError::Faults(self.0)) }
    }
}
