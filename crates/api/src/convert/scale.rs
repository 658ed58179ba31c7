//! Scales.

use becket_scale::{Choice, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};

use super::enums::Known;
use crate::stringing::{Allowances, Note, Scale, Section, Winding};

/// A number that may stand for a choice; the domain reports it if it does not.
pub(super) fn choice<T: Known>(number: i32) -> Choice<T> {
    T::known(number).map_or(Choice::Unknown(number), Choice::Known)
}

pub(super) fn choice_number<T: Known>(choice: Choice<T>) -> i32 {
    match choice {
        Choice::Known(value) => value.number(),
        Choice::Unknown(number) => number,
    }
}

/// Takes the scale as it was written. What is output only, state, etag and times, is left out.
impl From<&Scale> for ScaleDraft {
    fn from(scale: &Scale) -> Self {
        let Scale {
            model_id,
            revision_id,
            title,
            first_note,
            last_note,
            sections,
            notes,
            allowances,
            plate_limit_n,
            state: _,
            etag: _,
            create_time: _,
            update_time: _,
            release_time: _,
        } = scale;
        Self {
            model_id: model_id.clone(),
            revision_id: revision_id.clone(),
            title: title.clone(),
            first_note: *first_note,
            last_note: *last_note,
            sections: sections.iter().map(section_draft).collect(),
            notes: notes.iter().map(note_draft).collect(),
            allowances: allowances.as_ref().map(allowances_in),
            plate_limit_n: *plate_limit_n,
        }
    }
}

fn section_draft(Section { section_id, title, hitch, allowances }: &Section) -> SectionDraft {
    SectionDraft {
        section_id: section_id.clone(),
        title: title.clone(),
        hitch: choice(*hitch),
        allowances: allowances.as_ref().map(allowances_in),
    }
}

fn note_draft(note: &Note) -> NoteDraft {
    let Note {
        note,
        section_id,
        string_count,
        speaking_mm,
        front_mm,
        back_mm,
        wire_id,
        windings,
        hitch,
        pitch_offset_cents,
        allowances,
        string_spacing_mm,
    } = note;
    NoteDraft {
        note: *note,
        section_id: section_id.clone(),
        string_count: *string_count,
        speaking_mm: *speaking_mm,
        front_mm: *front_mm,
        back_mm: *back_mm,
        wire_id: wire_id.clone(),
        windings: windings
            .iter()
            .map(|Winding { wire_id, bare_front_mm, bare_back_mm }| WindingDraft {
                wire_id: wire_id.clone(),
                bare_front_mm: *bare_front_mm,
                bare_back_mm: *bare_back_mm,
            })
            .collect(),
        hitch: hitch.map(choice),
        pitch_offset_cents: *pitch_offset_cents,
        string_spacing_mm: *string_spacing_mm,
        allowances: allowances.as_ref().map(allowances_in),
    }
}

fn allowances_in(allowances: &Allowances) -> becket_scale::Allowances {
    let Allowances {
        tuning_pin_diameter_mm,
        turns,
        becket_mm,
        hitch_pin_diameter_mm,
        eye_mm,
        working_mm,
        cut_step_mm,
        winding_finish_turns,
    } = *allowances;
    becket_scale::Allowances {
        tuning_pin_diameter_mm,
        turns,
        becket_mm,
        hitch_pin_diameter_mm,
        eye_mm,
        working_mm,
        cut_step_mm,
        winding_finish_turns,
    }
}

fn allowances_out(allowances: &becket_scale::Allowances) -> Allowances {
    let becket_scale::Allowances {
        tuning_pin_diameter_mm,
        turns,
        becket_mm,
        hitch_pin_diameter_mm,
        eye_mm,
        working_mm,
        cut_step_mm,
        winding_finish_turns,
    } = *allowances;
    Allowances {
        tuning_pin_diameter_mm,
        turns,
        becket_mm,
        hitch_pin_diameter_mm,
        eye_mm,
        working_mm,
        cut_step_mm,
        winding_finish_turns,
    }
}

/// State, etag and times are left empty: the store knows them.
impl From<&ScaleDraft> for Scale {
    fn from(draft: &ScaleDraft) -> Self {
        let ScaleDraft {
            model_id,
            revision_id,
            title,
            first_note,
            last_note,
            sections,
            notes,
            allowances,
            plate_limit_n,
        } = draft;
        Self {
            model_id: model_id.clone(),
            revision_id: revision_id.clone(),
            title: title.clone(),
            first_note: *first_note,
            last_note: *last_note,
            sections: sections.iter().map(section_out).collect(),
            notes: notes.iter().map(note_out).collect(),
            allowances: allowances.as_ref().map(allowances_out),
            plate_limit_n: *plate_limit_n,
            state: 0,
            etag: String::new(),
            create_time: None,
            update_time: None,
            release_time: None,
        }
    }
}

fn section_out(SectionDraft { section_id, title, hitch, allowances }: &SectionDraft) -> Section {
    Section {
        section_id: section_id.clone(),
        title: title.clone(),
        hitch: choice_number(*hitch),
        allowances: allowances.as_ref().map(allowances_out),
    }
}

fn note_out(note: &NoteDraft) -> Note {
    let NoteDraft {
        note,
        section_id,
        string_count,
        speaking_mm,
        front_mm,
        back_mm,
        wire_id,
        windings,
        hitch,
        pitch_offset_cents,
        allowances,
        string_spacing_mm,
    } = note;
    Note {
        note: *note,
        section_id: section_id.clone(),
        string_count: *string_count,
        speaking_mm: *speaking_mm,
        front_mm: *front_mm,
        back_mm: *back_mm,
        wire_id: wire_id.clone(),
        windings: windings
            .iter()
            .map(|WindingDraft { wire_id, bare_front_mm, bare_back_mm }| Winding {
                wire_id: wire_id.clone(),
                bare_front_mm: *bare_front_mm,
                bare_back_mm: *bare_back_mm,
            })
            .collect(),
        hitch: hitch.map(choice_number),
        pitch_offset_cents: *pitch_offset_cents,
        string_spacing_mm: *string_spacing_mm,
        allowances: allowances.as_ref().map(allowances_out),
    }
}

/// State, etag and times are left empty: the store knows them.
impl From<&becket_scale::Scale> for Scale {
    fn from(scale: &becket_scale::Scale) -> Self {
        Self::from(&ScaleDraft::from(scale))
    }
}
