//! Each warning by a case that triggers it and one that just does not.

use becket_scale::{
    ComputeOptions, ComputeOptionsDraft, ScaleDraft, Severity, StringSet, Warning, WarningCode, compute,
};
use becket_wire::{Catalogue, Material, StrengthKind};

use crate::fixture::{catalogue, row, small_grand, wire};

fn set_of(draft: &ScaleDraft, catalogue: &Catalogue, options: ComputeOptionsDraft) -> StringSet {
    compute(&draft.validate(catalogue).unwrap(), catalogue, &options.validate().unwrap()).unwrap()
}

fn set_with(options: ComputeOptionsDraft) -> StringSet {
    set_of(&small_grand(), &catalogue(), options)
}

fn of_code(set: &StringSet, code: WarningCode) -> Vec<&Warning> {
    set.warnings.iter().filter(|warning| warning.code == code).collect()
}

fn strings(warning: &Warning) -> Vec<String> {
    warning.string_ids.iter().map(ToString::to_string).collect()
}

/// Highest relative step between neighbouring notes, by the first string of each.
fn steepest(set: &StringSet) -> (i16, f64) {
    let firsts: Vec<_> = set.strings.iter().filter(|string| string.string_id.number() == 1).collect();
    let steps = firsts.windows(2).map(|pair| {
        let (low, high) = (pair[0].tension_n, pair[1].tension_n);
        (pair[1].string_id.note(), (high - low).abs() / ((high + low) / 2.0))
    });
    steps.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap()
}

#[test]
fn a_share_of_breaking_load_above_the_limit() {
    let highest = set_with(ComputeOptionsDraft::default()).totals.highest_load_share.unwrap();
    let at =
        |limit: f64| set_with(ComputeOptionsDraft { load_share_limit: Some(limit), ..Default::default() });
    assert!(of_code(&at(highest.value), WarningCode::LoadShareHigh).is_empty());
    let set = at(highest.value.next_down());
    let warnings = of_code(&set, WarningCode::LoadShareHigh);
    assert_eq!(warnings.len(), 1);
    let warning = warnings[0];
    assert_eq!((warning.note, warning.figure), (Some(highest.string_id.note()), Some(highest.value)));
    assert_eq!((warning.severity, warning.limit), (Severity::Warning, Some(highest.value.next_down())));
    assert_eq!(warning.string_ids.len(), 3);
    assert!(warning.message.contains("ASTM A228 minimum"), "{}", warning.message);
    assert!(warning.advice.contains("qualified technician"), "{}", warning.advice);
}

#[test]
fn close_to_breaking_it_is_a_danger() {
    let stress = set_with(ComputeOptionsDraft::default()).strings.last().unwrap().stress_mpa;
    let severity = |share: f64| {
        let mut catalogue = catalogue();
        let stated = Some(StrengthKind::Stated { tensile_mpa: stress / share });
        catalogue.insert(wire("weak", Material::SteelRound, 0.8, stated));
        let mut draft = small_grand();
        row(&mut draft, 88).wire_id = "weak".to_owned();
        let set = set_of(&draft, &catalogue, ComputeOptionsDraft::default());
        of_code(&set, WarningCode::LoadShareHigh).iter().find(|w| w.note == Some(88)).unwrap().severity
    };
    assert_eq!(severity(0.8999), Severity::Warning);
    assert_eq!(severity(0.9001), Severity::Danger);
}

#[test]
fn a_tension_above_the_limit() {
    let highest = set_with(ComputeOptionsDraft::default()).totals.highest_tension.unwrap();
    let at =
        |limit| set_with(ComputeOptionsDraft { string_tension_limit_n: Some(limit), ..Default::default() });
    assert!(of_code(&at(highest.value), WarningCode::StringTensionHigh).is_empty());
    let set = at(highest.value.next_down());
    let warnings = of_code(&set, WarningCode::StringTensionHigh);
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].note, Some(highest.string_id.note()));
    assert_eq!((warnings[0].figure, warnings[0].severity), (Some(highest.value), Severity::Warning));
    assert!(warnings[0].advice.contains("plate's maker"), "{}", warnings[0].advice);
}

#[test]
fn room_between_neighbouring_strings() {
    // Note 12 has two strings; the fixture's copper over a core of 1.025 mm.
    let width_mm = {
        let set = set_with(ComputeOptionsDraft::default());
        set.strings
            .iter()
            .find(|string| string.string_id.note() == 12)
            .unwrap()
            .wound
            .unwrap()
            .greatest_width_mm
    };
    let at = |spacing_mm: f64, limit: Option<f64>| {
        let mut draft = small_grand();
        row(&mut draft, 12).string_spacing_mm = Some(spacing_mm);
        set_of(&draft, &catalogue(), ComputeOptionsDraft { clearance_limit_mm: limit, ..Default::default() })
    };
    assert!(of_code(&at(width_mm + 0.5001, None), WarningCode::ClearanceSmall).is_empty());
    let set = at(width_mm + 0.4999, None);
    let warnings = of_code(&set, WarningCode::ClearanceSmall);
    assert_eq!(warnings.len(), 1);
    assert_eq!((warnings[0].note, warnings[0].severity), (Some(12), Severity::Warning));
    assert_eq!(strings(warnings[0]), ["12.1", "12.2"]);
    assert_eq!(warnings[0].limit, Some(0.5));
    assert!((warnings[0].figure.unwrap() - 0.4999).abs() < 1e-9);
    assert!(of_code(&at(width_mm + 0.4999, Some(0.4998)), WarningCode::ClearanceSmall).is_empty());
    assert_eq!(of_code(&at(width_mm + 0.4999, Some(0.5)), WarningCode::ClearanceSmall).len(), 1);
}

#[test]
fn a_step_between_neighbours() {
    let (note, step) = steepest(&set_with(ComputeOptionsDraft::default()));
    let at = |limit| set_with(ComputeOptionsDraft { tension_step_limit: Some(limit), ..Default::default() });
    assert!(of_code(&at(step * (1.0 + 1e-12)), WarningCode::TensionStep).is_empty());
    let set = at(step * (1.0 - 1e-12));
    let warnings = of_code(&set, WarningCode::TensionStep);
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].note, Some(note));
    assert_eq!(strings(warnings[0]), [format!("{}.1", note - 1), format!("{note}.1")]);
    assert!((warnings[0].figure.unwrap() - step).abs() < 1e-12);
}

#[test]
fn a_step_is_seen_across_the_break_and_between_sections() {
    for (note, wire_id) in [(27, "mw-mm-25"), (53, "mw-mm-22"), (71, "mw-mm-20")] {
        let mut draft = small_grand();
        let from = |draft: &mut ScaleDraft| {
            for row in draft.notes.iter_mut().filter(|row| row.note >= note) {
                row.wire_id = wire_id.to_owned();
            }
        };
        let before = of_code(&set_with(ComputeOptionsDraft::default()), WarningCode::TensionStep).len();
        from(&mut draft);
        let set = set_of(&draft, &catalogue(), ComputeOptionsDraft::default());
        let notes: Vec<_> = of_code(&set, WarningCode::TensionStep).iter().map(|w| w.note).collect();
        assert!(notes.contains(&Some(i16::try_from(note).unwrap())), "{note}: {notes:?}, {before} before");
    }
}

#[test]
fn the_sum_against_the_plate() {
    let sum = set_with(ComputeOptionsDraft::default()).totals.tension_n;
    let at = |limit| {
        let draft = ScaleDraft { plate_limit_n: limit, ..small_grand() };
        set_of(&draft, &catalogue(), ComputeOptionsDraft::default())
    };
    let plate = |set: &StringSet| {
        let codes = [WarningCode::PlateLimitExceeded, WarningCode::PlateLimitUnknown];
        set.warnings.iter().filter(|w| codes.contains(&w.code)).cloned().collect::<Vec<_>>()
    };
    assert_eq!(plate(&at(Some(sum))), []);
    let over = at(Some(sum.next_down()));
    let exceeded = &plate(&over)[..];
    assert_eq!(exceeded.len(), 1);
    assert_eq!((exceeded[0].code, exceeded[0].severity), (WarningCode::PlateLimitExceeded, Severity::Danger));
    assert_eq!((exceeded[0].figure, exceeded[0].limit), (Some(sum), Some(sum.next_down())));
    assert_eq!(over.warnings[0], exceeded[0], "the gravest comes first");
    let unknown = &plate(&at(None))[..];
    assert_eq!(unknown.len(), 1);
    assert_eq!((unknown[0].code, unknown[0].severity), (WarningCode::PlateLimitUnknown, Severity::Notice));
    assert_eq!(unknown[0].figure, Some(sum));
}

#[test]
fn a_pair_that_would_straddle_a_wire_change() {
    let even = set_with(ComputeOptionsDraft::default());
    assert!(of_code(&even, WarningCode::PairTiedAtWireChange).is_empty());
    let mut draft = small_grand();
    // One note more of size 16.5: 59 to 65 have 21 strings, and 65 to 70 of size 16 lose three.
    row(&mut draft, 65).wire_id = "mw-mm-16.5".to_owned();
    let set = set_of(&draft, &catalogue(), ComputeOptionsDraft::default());
    let warnings = of_code(&set, WarningCode::PairTiedAtWireChange);
    assert_eq!(warnings.len(), 1);
    assert_eq!((warnings[0].note, warnings[0].severity), (Some(66), Severity::Notice));
    assert_eq!(strings(warnings[0]), ["65.3", "66.1"]);
    assert!(
        warnings[0].message.starts_with(
            "Strings 65.3 and 66.1 would share a looped piece but are of mw-mm-16.5 and mw-mm-16"
        ),
        "{}",
        warnings[0].message
    );
    // 66.2 pairs with 66.3 and the rest follows, so nothing is left at the section's end.
    assert_eq!(set.totals.tied_singles, 2);
    assert!(set.pieces.iter().any(|piece| piece.piece_id.to_string() == "66.2+66.3"));
}

#[test]
fn a_strength_that_the_basis_does_not_know() {
    // The table of ASTM A228 ends at 2.032 mm, which is No. 30 of the inch series.
    let at = |diameter_mm: f64| {
        let mut catalogue = catalogue();
        let basis = becket_wire::astm_a228_minimum();
        catalogue.insert(wire("thick", Material::SteelRound, diameter_mm, Some(basis.kind)));
        let mut draft = small_grand();
        for note in [3, 4, 7] {
            row(&mut draft, note).wire_id = "thick".to_owned();
        }
        set_of(&draft, &catalogue, ComputeOptionsDraft::default())
    };
    assert!(of_code(&at(2.032), WarningCode::StrengthUnknown).is_empty());
    let set = at(2.033);
    let warnings = of_code(&set, WarningCode::StrengthUnknown);
    assert_eq!(warnings.len(), 1);
    assert_eq!((warnings[0].note, warnings[0].severity), (Some(3), Severity::Warning));
    assert_eq!(strings(warnings[0]), ["3.1", "4.1", "7.1"]);
    let unknown: Vec<_> = set.strings.iter().filter(|s| s.load_share.is_none()).collect();
    assert_eq!(unknown.len(), 3);
    assert!(unknown.iter().all(|string| string.breaking_load_n.is_none()));
}

#[test]
fn gravest_first_then_by_note() {
    let draft = ScaleDraft { plate_limit_n: Some(1000.0), ..small_grand() };
    let options = ComputeOptionsDraft {
        load_share_limit: Some(0.1),
        string_tension_limit_n: Some(100.0),
        tension_step_limit: Some(0.01),
        ..Default::default()
    };
    let set = set_of(&draft, &catalogue(), options);
    assert!(set.warnings.len() > 176);
    assert!(set.warnings.is_sorted_by_key(|w| (std::cmp::Reverse(w.severity), w.note)));
    assert_eq!(set.warnings[0].code, WarningCode::PlateLimitExceeded);
    for text in set.warnings.iter().flat_map(|warning| [&warning.message, &warning.advice]) {
        assert!(text.ends_with('.') && !text.contains(';') && text.len() < 300, "{text}");
    }
}

#[test]
fn the_fixture_is_quiet_by_default() {
    let set = set_with(ComputeOptionsDraft::from(&ComputeOptions::default()));
    let loud: Vec<_> = set.warnings.iter().map(|w| w.message.as_str()).collect();
    assert_eq!(loud, [""; 0]);
}
