//! A scale as somebody wrote it, before it is validated: plain values, anything may be wrong.

use crate::allowances::Allowances;

/// How plain wire is fixed at the hitch pin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HitchStyle {
    /// One piece runs from a tuning pin round the hitch pin to the next tuning pin and makes two strings.
    LoopedBack,
    /// Every string is a piece of its own with a twisted eye.
    Tied,
}

/// A choice from a list as it was given: one that is known, or a number that stands for none.
///
/// It lets the validation report a missing style together with all other faults, where a conversion at the edge would
/// have to stop at the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Choice<T> {
    /// A known one.
    Known(T),
    /// A number that stands for none; 0 is "not stated".
    Unknown(i32),
}

/// A scale before validation. Meaning and ranges of the fields are those of [`crate::Scale`].
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleDraft {
    /// Model.
    pub model_id: String,
    /// Revision of the model.
    pub revision_id: String,
    /// Name for people, up to 120 characters.
    pub title: String,
    /// Lowest note, −8 to 1.
    pub first_note: i32,
    /// Highest note, 85 to 88.
    pub last_note: i32,
    /// Sections in the order of rising notes, up to 32.
    pub sections: Vec<SectionDraft>,
    /// Notes by rising number, one row for each note of the compass, up to 120 rows.
    pub notes: Vec<NoteDraft>,
    /// Allowances of the whole scale.
    pub allowances: Option<Allowances>,
    /// Largest sum of all tensions in N that the plate's maker states, if known.
    pub plate_limit_n: Option<f64>,
}

/// A section before validation.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionDraft {
    /// Identifier.
    pub section_id: String,
    /// Name for people, up to 120 characters.
    pub title: String,
    /// How plain wire is fixed in this section.
    pub hitch: Choice<HitchStyle>,
    /// Allowances that differ from the scale's.
    pub allowances: Option<Allowances>,
}

/// A row of a scale before validation.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteDraft {
    /// Number of the note: 1 is A0, 49 is A4, 88 is C8.
    pub note: i32,
    /// Section in which its strings lie.
    pub section_id: String,
    /// Number of strings tuned alike, 1 to 4.
    pub string_count: i32,
    /// Speaking length in mm at pitch, 20 to 3000.
    pub speaking_mm: f64,
    /// Length from the tuning pin to the front end of the speaking length in mm, 0 to 1000, along the wire.
    pub front_mm: f64,
    /// Length from the front bridge pin to the hitch pin in mm, 0 to 1500, along the wire.
    pub back_mm: f64,
    /// Wire of a plain string, or core of a wound one.
    pub wire_id: String,
    /// Layers over the core from the inside out: none, one or two.
    pub windings: Vec<WindingDraft>,
    /// How this note is fixed, where it differs from its section.
    pub hitch: Option<Choice<HitchStyle>>,
    /// Pitch of the note against equal temperament in cents, −200 to 200.
    pub pitch_offset_cents: f64,
    /// Distance of neighbouring strings of the note, centre to centre, in mm, 0.1 to 100, if known.
    pub string_spacing_mm: Option<f64>,
    /// Allowances that differ from the section's.
    pub allowances: Option<Allowances>,
}

/// A layer before validation.
#[derive(Debug, Clone, PartialEq)]
pub struct WindingDraft {
    /// Wire of the layer.
    pub wire_id: String,
    /// Bare core from the front end of the speaking length to the start of this layer in mm, 0 or more.
    pub bare_front_mm: f64,
    /// Bare core from the end of this layer to the back end of the speaking length in mm; negative where the layer
    /// goes on past the bridge pin into the back length.
    pub bare_back_mm: f64,
}
