//! Replacements of measured strings.

use becket_acoustics::CrossSection;
use becket_design::{DesignError, MeasuredLayer, MeasuredString, ReplacementOptions, design_bass, replace};

use crate::fixture;

fn measured(core_mm: f64, over_mm: &[f64]) -> MeasuredString {
    let layer = |(at, &over_diameter_mm): (usize, &f64)| MeasuredLayer {
        over_diameter_mm,
        start_mm: if at == 0 { 18.0 } else { 25.0 },
        end_mm: if at == 0 { 1086.0 } else { 1080.0 },
        density_kg_m3: 8930.0,
    };
    MeasuredString {
        note: 8,
        speaking_mm: 1100.0,
        frequency_hz: fixture::hz(8),
        core_section: CrossSection::Round,
        core_diameter_mm: core_mm,
        core_density_kg_m3: 7850.0,
        core_youngs_modulus_gpa: 206.0,
        layers: over_mm.iter().enumerate().map(layer).collect(),
    }
}

#[test]
fn a_string_of_stocked_wire_is_its_own_replacement() {
    let (cores, coppers) = (fixture::steel(), fixture::coppers(30));
    // .047 in core (No. 21) with one layer, then with two.
    for layers in [vec![24], vec![10, 22]] {
        let mut over_mm = Vec::new();
        let mut d = 1.1938;
        for &layer in &layers {
            d += 2.0 * coppers[layer].diameter_mm();
            over_mm.push(d);
        }
        let found =
            replace(&measured(1.1938, &over_mm), &cores, &coppers, &ReplacementOptions::default()).unwrap();
        let best = &found.candidates[0];
        assert_eq!(best.core_id.as_str(), "mw-in-21");
        let ids: Vec<_> = layers.iter().map(|&layer| coppers[layer].wire_id().clone()).collect();
        assert_eq!(best.winding_ids, ids);
        assert!(best.score < 1e-20, "{}", best.score);
        assert!(best.density_deviation.abs() < 1e-10 && best.inharmonicity_deviation.abs() < 1e-10);
        assert!((best.outer_diameter_mm - d).abs() < 1e-9);
        assert_eq!(found.candidates.len(), 10);
        assert!(found.candidates.windows(2).all(|pair| pair[0].score <= pair[1].score));
    }
}

#[test]
fn deviations_hang_together() {
    let (cores, coppers) = (fixture::steel(), fixture::coppers(30));
    let old = measured(1.17, &[3.7]);
    let options = ReplacementOptions { count: 1000, max_load_share: 1.0, ..ReplacementOptions::default() };
    let found = replace(&old, &cores, &coppers, &options).unwrap();
    // Nothing is lost but what would break.
    assert!(found.candidates.len() > 300);
    for candidate in &found.candidates {
        // Without stiffness, tension at equal pitch goes as the density; pitch at equal tension as its root.
        assert!((candidate.tension_deviation - candidate.density_deviation).abs() < 1e-9);
        let ratio = (candidate.pitch_deviation_cents / 1200.0).exp2();
        assert!((ratio * ratio * (1.0 + candidate.density_deviation) - 1.0).abs() < 1e-9);
        let tension_n = found.old.tension_n * (1.0 + candidate.tension_deviation);
        assert!((candidate.tension_n / tension_n - 1.0).abs() < 1e-9);
    }
}

#[test]
fn plain_strings_have_replacements_too() {
    let mut old = measured(0.94, &[]);
    (old.speaking_mm, old.frequency_hz) = (620.0, 261.63);
    let found = replace(&old, &fixture::steel(), &[], &ReplacementOptions::default()).unwrap();
    // .037 in is 0.9398 mm.
    assert_eq!(found.candidates[0].core_id.as_str(), "mw-in-16");
    assert!(found.candidates[0].pitch_deviation_cents.abs() < 0.5);
}

#[test]
fn finds_back_what_a_bass_was_designed_with() {
    let notes = fixture::wound_notes(8, 12);
    let (cores, coppers) = (fixture::steel(), fixture::coppers(30));
    let design = design_bass(&fixture::bass_question(&notes, &cores, &coppers)).unwrap();
    for (choice, note) in design.notes.iter().zip(&notes).filter(|(choice, _)| choice.winding_ids.len() == 1)
    {
        let core = cores.iter().find(|core| *core.wire_id() == choice.core_id).unwrap();
        let mut old = measured(core.diameter_mm(), &[choice.outer_diameter_mm]);
        (old.speaking_mm, old.frequency_hz) = (note.speaking_mm, note.frequency_hz);
        old.layers[0].end_mm = note.speaking_mm - 14.0;
        let found = replace(&old, &cores, &coppers, &ReplacementOptions::default()).unwrap();
        assert_eq!(found.candidates[0].winding_ids, choice.winding_ids);
        assert!((found.old.tension_n / choice.tension_n - 1.0).abs() < 1e-9);
    }
}

#[test]
fn refuses_what_cannot_be() {
    let (cores, coppers) = (fixture::steel(), fixture::coppers(10));
    let mut old = measured(1.2, &[1.1]);
    old.frequency_hz = f64::NAN;
    let options = ReplacementOptions { count: 0, ..ReplacementOptions::default() };
    match replace(&old, &cores, &coppers, &options) {
        Err(DesignError::Faults(faults)) => {
            let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
            assert_eq!(fields, ["frequency_hz", "layers[0].over_diameter_mm", "options.count"]);
        }
        other => panic!("{other:?}"),
    }
    let mut sharp = measured(1.2, &[4.0]);
    sharp.frequency_hz = 400.0;
    let refused = replace(&sharp, &cores, &coppers, &ReplacementOptions::default());
    assert!(matches!(refused, Err(DesignError::NothingFits(unmet)) if unmet[0].too_high == unmet[0].tried));
    // A single winding wire makes no pair.
    let double = measured(1.2, &[2.0, 4.0]);
    let refused = replace(&double, &cores, &coppers[..1], &ReplacementOptions::default());
    assert!(matches!(refused, Err(DesignError::NothingFits(unmet)) if unmet[0].tried == 0));
}
