//! From a draft to a scale: every rule of a scale, and all its faults at once.

mod note;
mod wires;

use becket_units::{Fault, IdentifierError};
use becket_wire::Catalogue;

use crate::draft::{Choice, HitchStyle, ScaleDraft, SectionDraft};
use crate::fault::{Faults, Field, Range, shown};
use crate::ids::{HIGHEST_NOTE, LOWEST_NOTE, ModelId, RevisionId, SectionId};
use crate::model::{COMPASSES, Note, Scale, Section, SectionIndex};
use wires::Wires;

/// Most rows of notes that are looked at.
pub const MAX_NOTES: usize = 120;
/// Most sections of a scale.
pub const MAX_SECTIONS: usize = 32;
/// Longest title in characters.
pub const MAX_TITLE_CHARS: usize = 120;

const PLATE_LIMIT: Range = Range::new(1.0, 1_000_000.0, "N");

impl ScaleDraft {
    /// Makes a scale of the draft, or reports everything that is wrong with it.
    ///
    /// The rules, beside the ranges that the fields state:
    ///
    /// - the compass is one that pianos have (1 to 85, 1 to 88, −3 to 88, −8 to 88), with one row for each note, rising;
    /// - sections have different ids, each has notes, and notes come in the order of the sections;
    /// - a plain string is of round steel, a core of round or hexagonal steel, a winding of copper, iron, aluminium or
    ///   brass;
    /// - a layer covers some length, ends where the wire ends at the latest, and an outer layer lies on the inner one.
    ///
    /// # Errors
    /// All faults, each with the field's path, the value, the note's number and what is
    /// allowed. A list that is too long is one fault, and its rows are not looked at.
    pub fn validate(&self, catalogue: &Catalogue) -> Result<Scale, Vec<Fault>> {
        let mut faults = Faults::default();
        let model_id = id(ModelId::new(&self.model_id), "model_id", &mut faults);
        let revision_id = id(RevisionId::new(&self.revision_id), "revision_id", &mut faults);
        check_title(&self.title, "title", &mut faults);
        check_compass(self.first_note, self.last_note, &mut faults);
        let sections = check_sections(&self.sections, &mut faults);
        let mut wires = Wires::new(catalogue);
        let notes = self.check_notes(&sections, &mut wires, &mut faults);
        if let Some(allowances) = &self.allowances {
            allowances.check(&"allowances", &mut faults);
        }
        if let Some(limit_n) = self.plate_limit_n {
            faults.check_range(Field { base: &"", name: "plate_limit_n" }, limit_n, PLATE_LIMIT);
        }
        let list = faults.into_list();
        match (model_id, revision_id) {
            (Some(model_id), Some(revision_id)) if list.is_empty() => {
                let mut scale = Scale {
                    model_id,
                    revision_id,
                    title: self.title.clone(),
                    sections: sections.into_iter().filter_map(|row| row.section).collect(),
                    notes,
                    allowances: self.allowances,
                    plate_limit_n: self.plate_limit_n,
                    wire_ids: Vec::new(),
                };
                scale.wire_ids = wires.into_sorted(&mut scale.notes);
                Ok(scale)
            }
            _ => Err(list),
        }
    }

    fn check_notes(
        &self,
        sections: &[SectionRow<'_>],
        wires: &mut Wires<'_>,
        faults: &mut Faults,
    ) -> Vec<Note> {
        if self.notes.len() > MAX_NOTES {
            faults.add(
                "notes",
                format_args!("{} rows", self.notes.len()),
                format_args!("up to {MAX_NOTES} rows"),
            );
            return Vec::new();
        }
        self.check_rows(faults);
        let mut notes = Vec::with_capacity(self.notes.len());
        let mut used = vec![false; sections.len()];
        let mut section_before = SectionIndex(0);
        for (index, draft) in self.notes.iter().enumerate() {
            faults.about_note(Some(draft.note));
            let row = note::Row { index, draft, scale: self, sections };
            let section = row.check_section(section_before, faults);
            if let Some(section) = section {
                section_before = section_before.max(section);
                if let Some(used) = used.get_mut(section.at()) {
                    *used = true;
                }
            }
            notes.extend(row.check(section, wires, faults));
        }
        faults.about_note(None);
        for (row, _) in sections.iter().zip(used).filter(|(_, used)| !used) {
            faults.add(
                format!("sections[{}]", row.index),
                shown(row.id_text),
                "a section with at least one note",
            );
        }
        notes
    }

    /// One row for each note of the compass, rising.
    fn check_rows(&self, faults: &mut Faults) {
        let real_compass = COMPASSES.contains(&(self.first_note, self.last_note));
        // A wrong compass is one fault, not one of each row.
        let (first, last) = match real_compass {
            true => (self.first_note, self.last_note),
            false => (LOWEST_NOTE.into(), HIGHEST_NOTE.into()),
        };
        let mut before: Option<i32> = None;
        for (index, row) in self.notes.iter().enumerate() {
            let field = || format!("notes[{index}].note");
            faults.about_note(Some(row.note));
            if !(first..=last).contains(&row.note) {
                faults.add(field(), row.note, format_args!("{first} to {last}"));
            } else if before.is_some_and(|before| row.note <= before) {
                faults.add(field(), row.note, "rising notes, one row each");
            }
            before = before.max(Some(row.note));
        }
        faults.about_note(None);
        if real_compass {
            let missing: Vec<String> = (first..=last)
                .filter(|note| !self.notes.iter().any(|row| row.note == *note))
                .map(|note| note.to_string())
                .collect();
            if !missing.is_empty() {
                faults.add(
                    "notes",
                    format_args!("no row for note {}", missing.join(", ")),
                    format_args!("one row for each note from {first} to {last}"),
                );
            }
        }
    }
}

/// A section of the draft: known by its id even where something else about it is wrong, so that its notes are not
/// reported as lost.
struct SectionRow<'a> {
    index: usize,
    id_text: &'a str,
    draft: &'a SectionDraft,
    section: Option<Section>,
}

fn check_sections<'a>(drafts: &'a [SectionDraft], faults: &mut Faults) -> Vec<SectionRow<'a>> {
    if drafts.is_empty() || drafts.len() > MAX_SECTIONS {
        faults.add(
            "sections",
            format_args!("{} sections", drafts.len()),
            format_args!("1 to {MAX_SECTIONS} sections"),
        );
        return Vec::new();
    }
    let mut rows: Vec<SectionRow<'a>> = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let field = |name: &str| format!("sections[{index}].{name}");
        let section_id = id(SectionId::new(&draft.section_id), &field("section_id"), faults);
        if rows.iter().any(|row| row.id_text == draft.section_id) {
            faults.add(field("section_id"), shown(&draft.section_id), "an id that no other section has");
        }
        check_title(&draft.title, &field("title"), faults);
        let hitch = check_hitch(draft.hitch, &field("hitch"), faults);
        if let Some(allowances) = &draft.allowances {
            allowances.check(&field("allowances"), faults);
        }
        let section = section_id.zip(hitch).map(|(section_id, hitch)| Section {
            section_id,
            title: draft.title.clone(),
            hitch,
            allowances: draft.allowances,
        });
        rows.push(SectionRow { index, id_text: &draft.section_id, draft, section });
    }
    rows
}

fn check_hitch(choice: Choice<HitchStyle>, field: &str, faults: &mut Faults) -> Option<HitchStyle> {
    match choice {
        Choice::Known(style) => Some(style),
        Choice::Unknown(number) => {
            let value = if number == 0 { "not stated".to_owned() } else { format!("unknown style {number}") };
            faults.add(field, value, "looped back or tied");
            None
        }
    }
}

fn check_compass(first_note: i32, last_note: i32, faults: &mut Faults) {
    if !COMPASSES.contains(&(first_note, last_note)) {
        faults.add(
            "first_note",
            format_args!("{first_note} to {last_note}"),
            "1 to 85, 1 to 88, -3 to 88 or -8 to 88",
        );
    }
}

fn check_title(title: &str, field: &str, faults: &mut Faults) {
    let chars = title.chars().count();
    if chars > MAX_TITLE_CHARS {
        faults.add(
            field,
            format_args!("{chars} characters"),
            format_args!("up to {MAX_TITLE_CHARS} characters"),
        );
    }
}

fn id<T>(read: Result<T, IdentifierError>, field: &str, faults: &mut Faults) -> Option<T> {
    read.map_err(|error| faults.add(field, &error.text, IdentifierError::ALLOWED)).ok()
}
