//! Collecting faults: a validation reports all of them, never only the first.

use std::fmt;

use becket_units::Fault;

/// Faults found so far, and the note that the next ones belong to.
#[derive(Debug, Default)]
pub(crate) struct Faults {
    list: Vec<Fault>,
    note: Option<i32>,
}

impl Faults {
    /// Faults added from here on belong to this note. Its number goes into the text, since a person looks for the note
    /// and not for the index of a row.
    pub(crate) fn about_note(&mut self, note: Option<i32>) {
        self.note = note;
    }

    pub(crate) fn add(
        &mut self,
        field: impl Into<String>,
        value: impl fmt::Display,
        allowed: impl fmt::Display,
    ) {
        let value = match (self.note, value.to_string()) {
            (Some(note), value) if value.is_empty() => format!("nothing (note {note})"),
            (Some(note), value) => format!("{value} (note {note})"),
            (None, value) => value,
        };
        self.list.push(Fault::new(field, value, allowed.to_string()));
    }

    /// Adds a fault unless `value` lies in the closed range. NaN and the infinities never do.
    pub(crate) fn check_range(&mut self, field: Field<'_>, value: f64, range: Range) {
        if !range.contains(value) {
            self.add(field.path(), value, range);
        }
    }

    pub(crate) fn into_list(self) -> Vec<Fault> {
        self.list
    }
}

/// A text of the input, cut after 63 characters: a valid id is no longer, and a fault should not be as long as whatever was
/// sent. Whoever shows a fault quotes its value.
pub(crate) fn shown(text: &str) -> String {
    text.chars().take(63).collect()
}

/// The same in quotes, for a sentence.
pub(crate) fn quoted(text: &str) -> String {
    format!("{:?}", shown(text))
}

/// A field below a path; the text is put together only when there is something to say.
#[derive(Clone, Copy)]
pub(crate) struct Field<'a> {
    pub(crate) base: &'a dyn fmt::Display,
    pub(crate) name: &'static str,
}

impl Field<'_> {
    pub(crate) fn path(self) -> String {
        let base = self.base.to_string();
        if base.is_empty() { self.name.to_owned() } else { format!("{base}.{}", self.name) }
    }
}

/// A closed range with its unit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Range {
    low: f64,
    high: f64,
    unit: &'static str,
}

impl Range {
    pub(crate) const fn new(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, unit }
    }

    pub(crate) const fn high(self) -> f64 {
        self.high
    }

    pub(crate) fn contains(self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", self.low, self.high)?;
        if self.unit.is_empty() { Ok(()) } else { write!(f, " {}", self.unit) }
    }
}
