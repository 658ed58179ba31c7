//! What-if: changes, against scales changed by hand, and faults led back to the change that brought them in.

use becket_design::{NoteChange, WireChange, changed};
use becket_scale::ScaleDraft;
use becket_wire::{Catalogue, SizeSeries, standard_wires};

use crate::difference;

fn wire(old: &str, new: &str) -> WireChange {
    WireChange { old: old.to_owned(), new: new.to_owned() }
}

fn note(note: i32) -> NoteChange {
    NoteChange { note, ..NoteChange::default() }
}

fn faults(notes: &[NoteChange], wires: &[WireChange]) -> Vec<String> {
    let faults = changed(&difference::draft(), notes, wires).unwrap_err();
    faults.into_iter().map(|fault| fault.field).collect()
}

#[test]
fn a_changed_scale_is_the_one_changed_by_hand() {
    let draft = difference::draft();
    assert_eq!(changed(&draft, &[], &[]).unwrap().scale, draft);
    let mut by_hand: ScaleDraft = draft.clone();
    for row in &mut by_hand.notes {
        row.wire_id = "mw-mm-17".to_owned();
        for layer in &mut row.windings {
            layer.wire_id = "cu-0.600".to_owned();
        }
    }
    by_hand.notes[26].speaking_mm = 1100.0;
    by_hand.notes[26].wire_id = "mw-in-18".to_owned();
    by_hand.notes[87].pitch_offset_cents = 30.0;
    let notes = [
        NoteChange { pitch_offset_cents: Some(30.0), ..note(88) },
        NoteChange { speaking_mm: Some(1100.0), wire_id: Some("mw-in-18".to_owned()), ..note(27) },
    ];
    let wires = [wire("cu-0.500", "cu-0.600"), wire("mw-in-*", "mw-mm-*")];
    assert_eq!(changed(&draft, &notes, &wires).unwrap().scale, by_hand);
    // The first change that is about a wire takes it, and what it makes is not changed again.
    let chain = [wire("mw-in-17", "mw-in-18"), wire("cu-*", "cu-0.600")];
    let once = changed(&draft, &[], &chain).unwrap().scale;
    assert!(once.notes.iter().all(|row| row.wire_id == "mw-in-18"));
    // Without a star on the right all become one wire.
    let one = changed(&draft, &[], &[wire("mw-*", "mw-in-16")]).unwrap().scale;
    assert!(one.notes.iter().all(|row| row.wire_id == "mw-in-16"));
}

#[test]
fn changes_that_do_not_go_together_with_the_scale_are_refused_all_at_once() {
    let found = faults(
        &[note(27), note(27), note(0), note(89)],
        &[wire("mw-in-17", "mw-in-*"), wire("mw-in-17", "mw-in-18"), wire("gut", "silk"), wire("", "")],
    );
    let expected = [
        "wire_changes[0].new",
        "wire_changes[1].old",
        "wire_changes[2].old",
        "wire_changes[3].old",
        "note_changes[1].note",
        "note_changes[2].note",
        "note_changes[3].note",
    ];
    assert_eq!(found, expected);
    let many = vec![note(1); 10_000];
    let long = [wire("mw-in-*", &"x".repeat(1_000_000))];
    assert_eq!(faults(&many, &long), ["note_changes", "wire_changes[0].new"]);
    assert_eq!(faults(&[], &vec![wire("a", "b"); 201]), ["wire_changes"]);
}

#[test]
fn faults_of_the_outcome_lead_back_to_their_change() {
    let catalogue: Catalogue = difference::catalogue();
    let notes = [
        NoteChange { speaking_mm: Some(-1.0), ..note(30) },
        NoteChange { pitch_offset_cents: Some(f64::NAN), wire_id: Some("silk".to_owned()), ..note(40) },
        // The winding no longer fits: no field of the change has that, so the change as a whole.
        NoteChange { speaking_mm: Some(30.0), ..note(5) },
    ];
    let changed = changed(&difference::draft(), &notes, &[wire("cu-0.500", "cu-9")]).unwrap();
    let faults = changed.scale.validate(&catalogue).unwrap_err();
    let fields: Vec<String> = faults.into_iter().map(|fault| changed.blame(fault).field).collect();
    for expected in [
        "note_changes[0].speaking_mm",
        "note_changes[1].pitch_offset_cents",
        "note_changes[1].wire_id",
        "note_changes[2]",
        "wire_changes[0].new",
    ] {
        assert!(fields.iter().any(|field| field == expected), "{expected}: {fields:?}");
    }
    assert!(fields.iter().all(|field| !field.starts_with("scale.")), "{fields:?}");
    let missing: Vec<_> = changed.new_wires().into_iter().collect();
    assert_eq!(missing, [("wire_changes[0].new".to_owned(), "cu-9")], "once, though at many notes");
    // Another series with all its sizes is as good as the first.
    let both: Catalogue =
        difference::catalogue().iter().cloned().chain(standard_wires(SizeSeries::Millimetre)).collect();
    let mm = becket_design::changed(&difference::draft(), &[], &[wire("mw-in-*", "mw-mm-*")]).unwrap();
    assert!(mm.scale.validate(&both).is_ok());
}
