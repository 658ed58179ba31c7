//! Measurements of one instrument, merged into its scale.

use becket_scale::{Allowances, AsBuilt, Scale, ScaleDraft};

use crate::fixture::{catalogue, row, small_grand};

fn scale() -> Scale {
    small_grand().validate(&catalogue()).unwrap()
}

fn at(note: i32) -> AsBuilt {
    AsBuilt { note, ..AsBuilt::default() }
}

#[track_caller]
fn check_faults(as_built: &[AsBuilt], expected: &[&str]) {
    let faults = scale().with_as_built(as_built, &catalogue()).unwrap_err();
    let faults: Vec<_> = faults.iter().map(|f| format!("{}: {}; {}", f.field, f.value, f.allowed)).collect();
    assert_eq!(faults, expected);
}

#[test]
fn measurements_replace_what_they_state_and_nothing_else() {
    let entries = [
        AsBuilt { speaking_mm: Some(52.5), back_mm: Some(40.0), ..at(88) },
        AsBuilt { tuning_pin_diameter_mm: Some(7.26), front_mm: Some(95.0), ..at(40) },
        AsBuilt { wire_id: Some("mw-mm-16".to_owned()), ..at(60) },
        at(61),
    ];
    let built = scale().with_as_built(&entries, &catalogue()).unwrap();
    let mut expected = small_grand();
    (row(&mut expected, 88).speaking_mm, row(&mut expected, 88).back_mm) = (52.5, 40.0);
    row(&mut expected, 40).front_mm = 95.0;
    row(&mut expected, 40).allowances =
        Some(Allowances { tuning_pin_diameter_mm: Some(7.26), ..Allowances::default() });
    row(&mut expected, 60).wire_id = "mw-mm-16".to_owned();
    assert_eq!(ScaleDraft::from(&built.scale), expected);
    assert_eq!(built.as_built_notes, [40, 60, 88]);
}

#[test]
fn a_measurement_that_agrees_is_no_difference() {
    let entries = [
        AsBuilt { speaking_mm: Some(50.0), ..at(88) },
        AsBuilt { tuning_pin_diameter_mm: Some(7.16), ..at(40) },
    ];
    let built = scale().with_as_built(&entries, &catalogue()).unwrap();
    assert_eq!((built.scale, built.as_built_notes), (scale(), Vec::new()));
}

#[test]
fn a_pin_of_the_serial_keeps_the_other_allowances_of_the_note() {
    let mut draft = small_grand();
    row(&mut draft, 9).allowances = Some(Allowances { turns: Some(2.0), ..Allowances::default() });
    let scale = draft.validate(&catalogue()).unwrap();
    let entries = [AsBuilt { tuning_pin_diameter_mm: Some(7.5), ..at(9) }];
    let built = scale.with_as_built(&entries, &catalogue()).unwrap();
    let allowances = built.scale.notes()[8].effective_allowances();
    assert_eq!((allowances.turns, allowances.tuning_pin_diameter_mm, allowances.becket_mm), (2.0, 7.5, 7.5));
}

#[test]
fn faults_point_at_the_entry() {
    check_faults(
        &[
            AsBuilt { speaking_mm: Some(19.0), ..at(88) },
            AsBuilt { tuning_pin_diameter_mm: Some(f64::NAN), ..at(2) },
            AsBuilt { wire_id: Some("cu-0.50".to_owned()), ..at(50) },
            at(0),
            at(88),
            AsBuilt { speaking_mm: Some(30.0), ..at(5) },
        ],
        &[
            "as_built[3].note: 0; a note of the scale, 1 to 88",
            "as_built[4].note: 88; one entry for a note; as_built[0] is for this note too",
            "as_built[1].tuning_pin_diameter_mm: NaN (note 2); 5 to 10 mm",
            // The winding no longer fits the string, which no single field of the entry says.
            "as_built[5]: 20 mm bare in front and 15 mm behind (note 5); bare ends of less than the speaking length, 30 mm, \
             together",
            "as_built[2].wire_id: cu-0.50 of copper (note 50); round steel for a plain string",
            "as_built[0].speaking_mm: 19 (note 88); 20 to 3000 mm",
        ],
    );
    check_faults(&[at(89)], &["as_built[0].note: 89; a note of the scale, 1 to 88"]);
    check_faults(&vec![at(1); 121], &["as_built: 121 entries; up to 120 entries"]);
}

#[test]
fn a_wire_that_left_the_catalogue_is_not_blamed_on_an_entry() {
    let catalogue =
        catalogue().iter().filter(|wire| wire.wire_id().as_str() != "mw-mm-13.5").cloned().collect();
    let faults = scale().with_as_built(&[at(1)], &catalogue).unwrap_err();
    assert_eq!(faults.len(), 6);
    assert_eq!(faults[0].field, "scale.notes[82].wire_id");
}
