//! Changes of a scale that a question puts.

use becket_design::{NoteChange, WireChange};

use crate::stringing as api;

/// Reads changes of notes.
#[must_use]
pub fn read_note_changes(changes: Vec<api::NoteChange>) -> Vec<NoteChange> {
    let read = |change| {
        let api::NoteChange { note, speaking_mm, pitch_offset_cents, wire_id } = change;
        NoteChange { note, speaking_mm, pitch_offset_cents, wire_id }
    };
    changes.into_iter().map(read).collect()
}

/// Reads changes of wires.
#[must_use]
pub fn read_wire_changes(changes: Vec<api::WireChange>) -> Vec<WireChange> {
    changes.into_iter().map(|api::WireChange { old, new }| WireChange { old, new }).collect()
}
