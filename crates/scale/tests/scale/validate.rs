//! Every rule of a scale: what breaks it, and how the fault is said.

use becket_scale::{Allowances, Choice, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};
use becket_wire::{Material, StrengthKind};

use crate::fixture::{catalogue, row, small_grand, wire};

/// Faults of the small grand after an edit, as "field: value; allowed".
fn faults(edit: impl FnOnce(&mut ScaleDraft)) -> Vec<String> {
    let mut draft = small_grand();
    edit(&mut draft);
    let faults = draft.validate(&catalogue()).map_or_else(|faults| faults, |_| Vec::new());
    faults.iter().map(|fault| format!("{}: {}; {}", fault.field, fault.value, fault.allowed)).collect()
}

#[track_caller]
fn check(edit: impl FnOnce(&mut ScaleDraft), expected: &[&str]) {
    assert_eq!(faults(edit), expected);
}

fn layer(wire_id: &str, bare_front_mm: f64, bare_back_mm: f64) -> WindingDraft {
    WindingDraft { wire_id: wire_id.to_owned(), bare_front_mm, bare_back_mm }
}

#[test]
fn a_good_scale_comes_back_as_it_was() {
    let mut draft = small_grand();
    draft.allowances = Some(Allowances { turns: Some(2.5), ..Allowances::default() });
    row(&mut draft, 30).hitch = Some(Choice::Known(HitchStyle::Tied));
    row(&mut draft, 31).pitch_offset_cents = -1.5;
    let scale = draft.validate(&catalogue()).unwrap();
    assert_eq!(ScaleDraft::from(&scale), draft);
    assert_eq!(scale.compass(), (1, 88));
    assert!(scale.wire_ids().is_sorted());
    assert!(scale.notes().iter().all(|note| scale.wire_ids().contains(&note.wire_id)));
}

#[test]
fn names() {
    let id = "1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit";
    check(|d| d.model_id = "Grand".to_owned(), &[&format!("model_id: Grand; {id}")]);
    check(|d| d.revision_id = String::new(), &[&format!("revision_id: ; {id}")]);
    check(|d| d.title = "ä".repeat(120), &[]);
    check(|d| d.title = "ä".repeat(121), &["title: 121 characters; up to 120 characters"]);
    check(
        |d| d.sections[1].title = "x".repeat(121),
        &["sections[1].title: 121 characters; up to 120 characters"],
    );
}

/// A scale of another compass: rows are taken away or repeated downwards.
fn of_compass(first: i32, last: i32) -> impl FnOnce(&mut ScaleDraft) {
    move |draft| {
        (draft.first_note, draft.last_note) = (first, last);
        let lowest = draft.notes[0].clone();
        let mut notes: Vec<NoteDraft> = (first..1).map(|note| NoteDraft { note, ..lowest.clone() }).collect();
        notes.extend(draft.notes.drain(..).filter(|row| (first..=last).contains(&row.note)));
        draft.notes = notes;
    }
}

#[test]
fn compasses_are_those_that_pianos_have() {
    for (first, last) in [(1, 85), (1, 88), (-3, 88), (-8, 88)] {
        check(of_compass(first, last), &[]);
    }
    for (first, last) in [(1, 86), (0, 88), (-8, 85), (2, 88), (88, 1), (i32::MIN, i32::MAX)] {
        let faults = faults(|draft| (draft.first_note, draft.last_note) = (first, last));
        let expected = format!("first_note: {first} to {last}; 1 to 85, 1 to 88, -3 to 88 or -8 to 88");
        assert_eq!(faults, [expected]);
    }
}

#[test]
fn one_row_for_each_note_rising() {
    check(
        |d| drop(d.notes.drain(11..13)),
        &["notes: no row for note 12, 13; one row for each note from 1 to 88"],
    );
    check(
        |d| d.notes.insert(12, d.notes[11].clone()),
        &["notes[12].note: 12 (note 12); rising notes, one row each"],
    );
    check(|d| d.notes.swap(30, 31), &["notes[31].note: 31 (note 31); rising notes, one row each"]);
    check(
        |d| d.notes[87].note = 89,
        &[
            "notes[87].note: 89 (note 89); 1 to 88",
            "notes: no row for note 88; one row for each note from 1 to 88",
        ],
    );
    check(|d| d.notes = vec![d.notes[0].clone(); 121], &["notes: 121 rows; up to 120 rows"]);
    let none = faults(|d| d.notes.clear());
    assert_eq!(none.len(), 5, "all notes missing, all four sections empty: {none:?}");
}

#[test]
fn sections_follow_each_other() {
    check(
        |d| row(d, 40).section_id = "alto".to_owned(),
        &["notes[39].section_id: alto (note 40); a section of the scale"],
    );
    check(
        |d| row(d, 60).section_id = "tenor".to_owned(),
        &[
            "notes[59].section_id: tenor (note 60); \"treble\" or a later section, since notes come in the order of the \
           sections",
        ],
    );
    let both = faults(|d| [60, 61].into_iter().for_each(|note| row(d, note).section_id = "tenor".to_owned()));
    assert_eq!(both.len(), 2, "each row that goes back is a fault: {both:?}");
    check(
        |d| d.sections.insert(2, SectionDraft { section_id: "empty".to_owned(), ..d.sections[0].clone() }),
        &["sections[2]: empty; a section with at least one note"],
    );
    // The second of two equal ids is the fault, its notes name a section that is gone, and it has none itself.
    let twice = faults(|d| d.sections[3].section_id = "treble".to_owned());
    assert_eq!(twice.len(), 1 + 18 + 1);
    assert_eq!(twice[0], "sections[3].section_id: treble; an id that no other section has");
    assert_eq!(twice[18], "notes[87].section_id: high (note 88); a section of the scale");
    assert_eq!(twice[19], "sections[3]: treble; a section with at least one note");
    check(|d| d.sections.clear(), &["sections: 0 sections; 1 to 32 sections"]);
    check(|d| d.sections = vec![d.sections[0].clone(); 33], &["sections: 33 sections; 1 to 32 sections"]);
}

#[test]
fn hitch_styles_are_stated() {
    let rule = "looped back or tied";
    check(|d| d.sections[0].hitch = Choice::Unknown(0), &[&format!("sections[0].hitch: not stated; {rule}")]);
    check(
        |d| d.sections[0].hitch = Choice::Unknown(7),
        &[&format!("sections[0].hitch: unknown style 7; {rule}")],
    );
    check(
        |d| row(d, 50).hitch = Some(Choice::Unknown(0)),
        &[&format!("notes[49].hitch: not stated (note 50); {rule}")],
    );
    check(
        |d| row(d, 3).hitch = Some(Choice::Known(HitchStyle::LoopedBack)),
        &["notes[2].hitch: looped back (note 3); tied, or no style, for a wound string"],
    );
    check(|d| row(d, 3).hitch = Some(Choice::Known(HitchStyle::Tied)), &[]);
}

#[test]
fn numbers_keep_to_their_ranges() {
    type Edit = fn(&mut NoteDraft, f64);
    let fields: [(&str, Edit, f64, f64, &str); 4] = [
        ("speaking_mm", |row, value| row.speaking_mm = value, 20.0, 3000.0, "20 to 3000 mm"),
        ("front_mm", |row, value| row.front_mm = value, 0.0, 1000.0, "0 to 1000 mm"),
        ("back_mm", |row, value| row.back_mm = value, 0.0, 1500.0, "0 to 1500 mm"),
        (
            "pitch_offset_cents",
            |row, value| row.pitch_offset_cents = value,
            -200.0,
            200.0,
            "-200 to 200 cents",
        ),
    ];
    for (name, edit, low, high, allowed) in fields {
        for good in [low, high] {
            check(|d| edit(row(d, 70), good), &[]);
        }
        for bad in [low - 0.001, high + 0.001, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let expected = format!("notes[69].{name}: {bad} (note 70); {allowed}");
            check(|d| edit(row(d, 70), bad), &[&expected]);
        }
    }
    for good in [1, 4] {
        check(|d| row(d, 70).string_count = good, &[]);
    }
    for bad in [0, 5, -1, i32::MAX] {
        let expected = format!("notes[69].string_count: {bad} (note 70); 1 to 4 strings");
        check(|d| row(d, 70).string_count = bad, &[&expected]);
    }
    check(|d| d.plate_limit_n = None, &[]);
    check(|d| d.plate_limit_n = Some(0.0), &["plate_limit_n: 0; 1 to 1000000 N"]);
    check(|d| d.plate_limit_n = Some(f64::NAN), &["plate_limit_n: NaN; 1 to 1000000 N"]);
}

#[test]
fn allowances_are_checked_on_every_level() {
    let bad = Some(Allowances { turns: Some(6.5), ..Allowances::default() });
    check(|d| d.allowances = bad, &["allowances.turns: 6.5; 0 to 6 turns"]);
    check(|d| d.sections[2].allowances = bad, &["sections[2].allowances.turns: 6.5; 0 to 6 turns"]);
    check(|d| row(d, 9).allowances = bad, &["notes[8].allowances.turns: 6.5 (note 9); 0 to 6 turns"]);
}

#[test]
fn wires_fit_their_use() {
    let set = |note: i32, wire_id: &'static str| {
        move |d: &mut ScaleDraft| row(d, note).wire_id = wire_id.to_owned()
    };
    check(set(50, "mw-mm-99"), &["notes[49].wire_id: mw-mm-99 (note 50); a wire of the catalogue"]);
    let long = faults(|d| row(d, 50).wire_id = "x".repeat(100_000));
    assert!(long.len() == 1 && long[0].len() < 200, "a fault is short, however long the input");
    check(set(50, ""), &["notes[49].wire_id: nothing (note 50); a wire of the catalogue"]);
    check(
        set(50, "hex-1.00"),
        &["notes[49].wire_id: hex-1.00 of hexagonal steel (note 50); round steel for a plain string"],
    );
    check(set(5, "hex-1.00"), &[]);
    check(set(5, "cu-0.50"), &["notes[4].wire_id: cu-0.50 of copper (note 5); steel for a core"]);
    let wound_with =
        |wire_id: &'static str| move |d: &mut ScaleDraft| row(d, 5).windings[0].wire_id = wire_id.to_owned();
    check(
        wound_with("mw-mm-13"),
        &[
            "notes[4].windings[0].wire_id: mw-mm-13 of round steel (note 5); copper, iron, aluminium or brass for a winding",
        ],
    );
    check(wound_with("x"), &["notes[4].windings[0].wire_id: x (note 5); a wire of the catalogue"]);
    for material in [Material::Iron, Material::Aluminium, Material::Brass] {
        let mut catalogue = catalogue();
        catalogue.insert(wire("other", material, 0.8, None));
        let mut draft = small_grand();
        wound_with("other")(&mut draft);
        assert!(draft.validate(&catalogue).is_ok());
    }
    // A core or plain wire always has a strength basis, because no steel wire is valid without.
    let mut steel = catalogue().get("mw-mm-16").unwrap().to_draft();
    steel.strength = None;
    assert!(steel.validate().is_err());
    // A basis that says nothing at the diameter is a basis; the set warns about it.
    let mut catalogue = catalogue();
    let law = Some(StrengthKind::PowerLaw { a_mpa: 2211.0, m: 0.145 });
    catalogue.insert(wire("other", Material::SteelRound, 1.0, law));
    let mut draft = small_grand();
    set(50, "other")(&mut draft);
    assert!(draft.validate(&catalogue).is_ok());
}

#[test]
fn layers_lie_on_the_string_and_on_each_other() {
    // Note 5: 1124 mm speaking, 150 mm back.
    let wound = |layers: Vec<WindingDraft>| move |d: &mut ScaleDraft| row(d, 5).windings = layers;
    check(wound(vec![layer("cu-1.00", 0.0, -150.0)]), &[]);
    check(wound(vec![layer("cu-0.50", 20.0, -10.0), layer("cu-1.00", 20.0, -10.0)]), &[]);
    check(
        wound(vec![layer("cu-1.00", -0.5, -150.5)]),
        &[
            "notes[4].windings[0].bare_front_mm: -0.5 (note 5); 0 to 1124 mm",
            "notes[4].windings[0].bare_back_mm: -150.5 (note 5); -150 to 1124 mm",
        ],
    );
    check(wound(vec![layer("cu-1.00", 1000.0, 123.9)]), &[]);
    for (front, back) in [(1000.0, 124.0), (1124.0, -10.0), (0.0, 1124.0)] {
        let expected = format!(
            "notes[4].windings[0]: {front} mm bare in front and {back} mm behind (note 5); bare ends of less than the \
             speaking length, 1124 mm, together"
        );
        check(wound(vec![layer("cu-1.00", front, back)]), &[&expected]);
    }
    check(
        wound(vec![layer("cu-0.50", 20.0, 10.0), layer("cu-1.00", 19.9, 9.9)]),
        &[
            "notes[4].windings[1].bare_front_mm: 19.9 (note 5); at least 20 mm, where the layer below ends",
            "notes[4].windings[1].bare_back_mm: 9.9 (note 5); at least 10 mm, where the layer below ends",
        ],
    );
    check(
        wound(vec![layer("cu-0.50", f64::NAN, f64::INFINITY)]),
        &[
            "notes[4].windings[0].bare_front_mm: NaN (note 5); 0 to 1124 mm",
            "notes[4].windings[0].bare_back_mm: inf (note 5); -150 to 1124 mm",
        ],
    );
    check(
        wound(vec![layer("cu-0.50", 20.0, 10.0); 3]),
        &["notes[4].windings: 3 layers (note 5); none, one or 2 layers"],
    );
}

#[test]
fn a_length_that_is_no_number_is_one_fault_of_a_wound_note() {
    check(|d| row(d, 5).speaking_mm = f64::NAN, &["notes[4].speaking_mm: NaN (note 5); 20 to 3000 mm"]);
}

#[test]
fn all_faults_come_at_once_in_the_order_of_the_draft() {
    check(
        |d| {
            d.model_id = "!".to_owned();
            d.sections[1].hitch = Choice::Unknown(0);
            row(d, 2).speaking_mm = 1.0;
            row(d, 2).string_count = 9;
            row(d, 80).wire_id = "none".to_owned();
            d.plate_limit_n = Some(-1.0);
        },
        &[
            "model_id: !; 1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit",
            "sections[1].hitch: not stated; looped back or tied",
            "notes[1].speaking_mm: 1 (note 2); 20 to 3000 mm",
            "notes[1].string_count: 9 (note 2); 1 to 4 strings",
            "notes[79].wire_id: none (note 80); a wire of the catalogue",
            "plate_limit_n: -1; 1 to 1000000 N",
        ],
    );
}
