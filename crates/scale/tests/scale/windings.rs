//! Where layers lie, how much wire they take, and what room there is beside them.

use std::f64::consts::PI;

use becket_scale::{
    Allowances, Choice, ComputeOptions, ComputeOptionsDraft, ScaleDraft, StringFigures, StringSet,
    WindingDraft, WindingModel, compute,
};

use crate::fixture::{catalogue, row, small_grand};

fn set_of(draft: &ScaleDraft, options: ComputeOptionsDraft) -> StringSet {
    let catalogue = catalogue();
    compute(&draft.validate(&catalogue).unwrap(), &catalogue, &options.validate().unwrap()).unwrap()
}

fn string(set: &StringSet, id: &str) -> StringFigures {
    set.strings.iter().find(|string| string.string_id.to_string() == id).unwrap().clone()
}

/// Note 12: 1.000 mm core, 1000 mm speaking, 110 mm in front, 150 mm behind, 0.50 below 1.00 mm copper.
fn double() -> ScaleDraft {
    let mut draft = small_grand();
    let note = row(&mut draft, 12);
    note.speaking_mm = 1000.0;
    note.wire_id = "mw-mm-17.5".to_owned();
    note.windings = vec![
        WindingDraft { wire_id: "cu-0.50".to_owned(), bare_front_mm: 20.0, bare_back_mm: -30.0 },
        WindingDraft { wire_id: "cu-1.00".to_owned(), bare_front_mm: 40.0, bare_back_mm: 25.0 },
    ];
    draft
}

fn near(value: f64, expected: f64) {
    assert!((value - expected).abs() <= 1e-9 * expected.abs().max(1.0), "{value}, expected {expected}");
}

#[test]
fn layers_are_placed_from_the_eye_at_pitch_and_relaxed() {
    let figures = string(&set_of(&double(), ComputeOptionsDraft::default()), "12.1");
    // The eye is where the back length ends: 150 mm behind the bridge pin.
    let places: Vec<_> = figures.windings.iter().map(|layer| layer.at_pitch).collect();
    assert_eq!((places[0].start_mm, places[0].end_mm), (120.0, 1130.0));
    assert_eq!((places[1].start_mm, places[1].end_mm), (175.0, 1110.0));
    // Music wire of the standard series, over the core's area alone: T/(E·A).
    let modulus_mpa = 1000.0 * catalogue().get("mw-mm-17.5").unwrap().youngs_modulus_gpa();
    let drawn = 1.0 + figures.tension_n / (modulus_mpa * PI / 4.0);
    assert!(drawn > 1.002, "the stretch matters: {drawn}");
    for layer in &figures.windings {
        near(layer.relaxed.start_mm, layer.at_pitch.start_mm / drawn);
        near(layer.relaxed.end_mm, layer.at_pitch.end_mm / drawn);
    }
    let wound = figures.wound.unwrap();
    assert_eq!((wound.outer_diameter_mm, wound.greatest_width_mm), (4.0, 4.0));
    // From the eye to the free end: the straight part, relaxed, three turns round a 7.16 mm pin, its eye, 10 mm to hold.
    let turns_mm = 3.0 * ((PI * 8.16_f64).powi(2) + 1.0).sqrt();
    near(wound.overall_relaxed_mm, 1260.0 / drawn + turns_mm + 7.16 + 10.0);
    near(figures.cut_mm, wound.overall_relaxed_mm + 50.0);
}

#[test]
fn finishing_turns_take_wire_and_do_not_sound() {
    let with = |turns: f64| {
        let mut draft = double();
        draft.allowances = Some(Allowances { winding_finish_turns: Some(turns), ..Allowances::default() });
        set_of(&draft, ComputeOptionsDraft::default())
    };
    let (none, six) = (with(0.0), with(6.0));
    let (without, more) = (string(&none, "12.1"), string(&six, "12.1"));
    for ((under_mm, w_mm), (a, b)) in
        [(1.0, 0.5), (2.0, 1.0)].into_iter().zip(without.windings.iter().zip(&more.windings))
    {
        let turn_mm = ((PI * (under_mm + w_mm)).powi(2) + w_mm * w_mm).sqrt();
        near(b.wire_length_mm - a.wire_length_mm, 6.0 * turn_mm);
        near(b.wire_mass_g - a.wire_mass_g, 6.0 * turn_mm * 8.930e-3 * PI / 4.0 * w_mm * w_mm);
        assert_eq!((a.covered_mm, a.at_pitch, a.relaxed), (b.covered_mm, b.at_pitch, b.relaxed));
    }
    assert_eq!((without.tension_n, without.cut_mm), (more.tension_n, more.cut_mm));
    let total = |set: &StringSet, id: &str| {
        set.wire_totals.iter().find(|total| total.wire_id.as_str() == id).unwrap().length_mm
    };
    assert!(total(&six, "cu-0.50") > total(&none, "cu-0.50"));
    assert_eq!(total(&six, "mw-mm-17.5"), total(&none, "mw-mm-17.5"));
}

#[test]
fn a_helix_weighs_a_little_more_than_a_tube() {
    let set = |model| {
        let winding_model = Some(Choice::Known(model));
        set_of(&double(), ComputeOptionsDraft { winding_model, ..ComputeOptionsDraft::default() })
    };
    let (tube, helix) = (set(WindingModel::Tube), set(WindingModel::Helix));
    let default = set_of(&double(), ComputeOptionsDraft::default());
    assert_eq!(tube, default);
    for (a, b) in tube.strings.iter().zip(&helix.strings) {
        let more = b.tension_n / a.tension_n - 1.0;
        assert!(if a.windings.is_empty() { more == 0.0 } else { more > 1e-4 && more < 0.02 }, "{a:?}");
        let wire = |string: &StringFigures| -> Vec<f64> {
            string.windings.iter().map(|layer| layer.wire_length_mm).collect()
        };
        assert_eq!(wire(a), wire(b), "the wire is as long as it is");
    }
}

#[test]
fn room_beside_a_string_is_told_where_the_spacing_is() {
    let mut draft = double();
    let clearance = |draft: &ScaleDraft, id: &str| {
        string(&set_of(draft, ComputeOptionsDraft::default()), id).clearance_mm
    };
    assert_eq!(clearance(&draft, "12.1"), None);
    row(&mut draft, 12).string_spacing_mm = Some(6.5);
    assert_eq!(clearance(&draft, "12.1"), Some(2.5));
    assert_eq!(clearance(&draft, "12.2"), Some(2.5));
    row(&mut draft, 12).string_spacing_mm = Some(3.0);
    assert_eq!(clearance(&draft, "12.2"), Some(-1.0), "they would overlap");
    // A plain string is as wide as its wire; a note of one string has no neighbour.
    row(&mut draft, 60).string_spacing_mm = Some(10.0);
    assert_eq!(clearance(&draft, "60.3"), Some(10.0 - 0.95));
    row(&mut draft, 3).string_spacing_mm = Some(10.0);
    assert_eq!(clearance(&draft, "3.1"), None);
}

#[test]
fn a_hexagonal_core_is_widest_across_its_corners() {
    let mut draft = double();
    let note = row(&mut draft, 12);
    note.wire_id = "hex-1.00".to_owned();
    note.string_spacing_mm = Some(7.0);
    let figures = string(&set_of(&draft, ComputeOptionsDraft::default()), "12.1");
    let wound = figures.wound.unwrap();
    near(wound.outer_diameter_mm, 2.0 * 3.0_f64.sqrt() / PI + 3.0);
    near(wound.greatest_width_mm, 2.0 / 3.0_f64.sqrt() + 3.0);
    near(figures.clearance_mm.unwrap(), 7.0 - wound.greatest_width_mm);
    assert_eq!(figures.windings[1].outer_diameter_mm, wound.outer_diameter_mm);
}

#[test]
fn plain_strings_have_no_figures_of_wound_ones() {
    let set = set_of(&double(), ComputeOptionsDraft::from(&ComputeOptions::default()));
    for string in &set.strings {
        assert_eq!(string.wound.is_some(), !string.windings.is_empty());
        assert_eq!(string.partials, None);
    }
}
