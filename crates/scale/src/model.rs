//! A validated scale.
//!
//! A [`Scale`] can only come from [`ScaleDraft::validate`], so whatever takes one need not look at ranges, gaps or
//! unknown names again. [`ScaleDraft::from`] leads back, value for value.

use becket_wire::WireId;

use crate::allowances::{Allowances, ResolvedAllowances};
use crate::draft::{Choice, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};
use crate::ids::{ModelId, RevisionId, SectionId, StringId};

/// Position of a section in its scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct SectionIndex(pub(crate) u8);

/// Position of a wire among those that a scale names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct WireIndex(pub(crate) u16);

impl SectionIndex {
    pub(crate) fn at(self) -> usize {
        usize::from(self.0)
    }
}

impl WireIndex {
    pub(crate) fn at(self) -> usize {
        usize::from(self.0)
    }
}

/// A compass that pianos have: its lowest and highest note.
pub(crate) const COMPASSES: [(i32, i32); 4] = [(1, 85), (1, 88), (-3, 88), (-8, 88)];

/// One revision of one model, validated.
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    pub(crate) model_id: ModelId,
    pub(crate) revision_id: RevisionId,
    pub(crate) title: String,
    pub(crate) sections: Vec<Section>,
    pub(crate) notes: Vec<Note>,
    pub(crate) allowances: Option<Allowances>,
    pub(crate) plate_limit_n: Option<f64>,
    /// All wires that the notes name, rising and without repetition.
    pub(crate) wire_ids: Vec<WireId>,
}

/// A group of neighbouring notes between two struts of the plate. Looped pairs never cross a section.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Identifier.
    pub section_id: SectionId,
    /// Name for people, up to 120 characters.
    pub title: String,
    /// How plain wire is fixed in this section; wound strings are always tied.
    pub hitch: HitchStyle,
    /// Allowances that differ from the scale's.
    pub allowances: Option<Allowances>,
}

/// One row of a scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// Number of the note, −8 to 88: 1 is A0, 49 is A4, 88 is C8.
    pub note: i16,
    /// Section in which its strings lie.
    pub section_id: SectionId,
    /// Number of strings tuned alike, 1 to 4.
    pub string_count: u8,
    /// Speaking length in mm at pitch, 20 to 3000.
    pub speaking_mm: f64,
    /// Length from the tuning pin to the front end of the speaking length in mm, 0 to 1000, along the wire.
    pub front_mm: f64,
    /// Length from the front bridge pin to the hitch pin in mm, 0 to 1500, along the wire.
    pub back_mm: f64,
    /// Wire of a plain string, or core of a wound one.
    pub wire_id: WireId,
    /// Layers over the core from the inside out: none (plain), one or two.
    pub windings: Vec<Winding>,
    /// How this note is fixed, where it differs from its section.
    pub hitch: Option<HitchStyle>,
    /// Pitch of the note against equal temperament in cents, −200 to 200.
    pub pitch_offset_cents: f64,
    /// Distance of neighbouring strings of the note, centre to centre, in mm, 0.1 to 100, if known. A note of one
    /// string has no neighbours, and nothing follows from it.
    pub string_spacing_mm: Option<f64>,
    /// Allowances that differ from the section's.
    pub allowances: Option<Allowances>,
    pub(crate) section: SectionIndex,
    pub(crate) wire: WireIndex,
    pub(crate) effective_hitch: HitchStyle,
    pub(crate) effective_allowances: ResolvedAllowances,
}

/// One layer over a core, close wound.
#[derive(Debug, Clone, PartialEq)]
pub struct Winding {
    /// Wire of the layer.
    pub wire_id: WireId,
    /// Bare core from the front end of the speaking length to the start of this layer in mm, 0 or more.
    pub bare_front_mm: f64,
    /// Bare core from the end of this layer to the back end of the speaking length in mm; negative where the layer
    /// goes on past the bridge pin into the back length.
    pub bare_back_mm: f64,
    pub(crate) wire: WireIndex,
}

impl Note {
    /// True if the strings of this note have a winding.
    pub fn is_wound(&self) -> bool {
        !self.windings.is_empty()
    }

    /// How the strings are fixed: wound strings are tied, others as the note says and, where it says nothing, its
    /// section.
    pub const fn effective_hitch(&self) -> HitchStyle {
        self.effective_hitch
    }

    /// What is allowed for pins and hands, after note, section, scale and defaults were asked in turn.
    pub const fn effective_allowances(&self) -> &ResolvedAllowances {
        &self.effective_allowances
    }

    /// Ids of the note's strings in order.
    pub fn string_ids(&self) -> impl Iterator<Item = StringId> + use<> {
        let note = self.note;
        (1..=self.string_count).map(move |number| StringId::of_row(note, number))
    }
}

impl Scale {
    /// Model.
    pub const fn model_id(&self) -> &ModelId {
        &self.model_id
    }

    /// Revision of the model.
    pub const fn revision_id(&self) -> &RevisionId {
        &self.revision_id
    }

    /// Name for people, up to 120 characters.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Lowest and highest note.
    pub fn compass(&self) -> (i16, i16) {
        let number = |note: Option<&Note>| note.map_or(0, |note| note.note);
        (number(self.notes.first()), number(self.notes.last()))
    }

    /// Sections in the order of rising notes, 1 to 32; each has a note.
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    /// Notes by rising number, one row for each note of the compass.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Allowances of the whole scale.
    pub const fn allowances(&self) -> Option<&Allowances> {
        self.allowances.as_ref()
    }

    /// Largest sum of all tensions in N that the plate's maker states, if known.
    pub const fn plate_limit_n(&self) -> Option<f64> {
        self.plate_limit_n
    }

    /// All wires that the notes name, cores and windings, rising and without repetition.
    pub fn wire_ids(&self) -> &[WireId] {
        &self.wire_ids
    }
}

impl From<&Scale> for ScaleDraft {
    fn from(scale: &Scale) -> Self {
        let (first_note, last_note) = scale.compass();
        let section = |section: &Section| SectionDraft {
            section_id: section.section_id.to_string(),
            title: section.title.clone(),
            hitch: Choice::Known(section.hitch),
            allowances: section.allowances,
        };
        Self {
            model_id: scale.model_id.to_string(),
            revision_id: scale.revision_id.to_string(),
            title: scale.title.clone(),
            first_note: first_note.into(),
            last_note: last_note.into(),
            sections: scale.sections.iter().map(section).collect(),
            notes: scale.notes.iter().map(note_draft).collect(),
            allowances: scale.allowances,
            plate_limit_n: scale.plate_limit_n,
        }
    }
}

fn note_draft(note: &Note) -> NoteDraft {
    let winding = |winding: &Winding| WindingDraft {
        wire_id: winding.wire_id.to_string(),
        bare_front_mm: winding.bare_front_mm,
        bare_back_mm: winding.bare_back_mm,
    };
    NoteDraft {
        note: note.note.into(),
        section_id: note.section_id.to_string(),
        string_count: note.string_count.into(),
        speaking_mm: note.speaking_mm,
        front_mm: note.front_mm,
        back_mm: note.back_mm,
        wire_id: note.wire_id.to_string(),
        windings: note.windings.iter().map(winding).collect(),
        hitch: note.hitch.map(Choice::Known),
        pitch_offset_cents: note.pitch_offset_cents,
        string_spacing_mm: note.string_spacing_mm,
        allowances: note.allowances,
    }
}
