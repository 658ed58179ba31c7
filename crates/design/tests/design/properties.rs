//! Whatever is asked, there is an answer or a refusal: no panic, no NaN, no hang.

use becket_acoustics::{CoveredSpan, CrossSection};
use becket_design::{
    BareEnds, BassQuestion, Curve, Ends, MeasuredLayer, MeasuredString, Neighbour, NeighbourCosts, Octave,
    OctaveRegion, PlainQuestion, ReplacementOptions, StretchNote, StretchOptions, Target, Targets,
    TolerancedFigures, TolerancedString, TolerancedWinding, Tolerances, design_bass, design_plain, propagate,
    replace, stretch,
};
use becket_scale::{Allowances, HitchStyle, Models, PitchBasis, StringBody, StringModel, WindingModel};
use proptest::prelude::*;

use crate::fixture;

/// Numbers in a range, and now and then anything at all.
fn number(low: f64, high: f64) -> impl Strategy<Value = f64> {
    prop_oneof![
        30 => low..high,
        1 => any::<f64>(),
        1 => prop_oneof![Just(0.0), Just(-1.0), Just(f64::NAN), Just(f64::INFINITY), Just(f64::MIN_POSITIVE)],
    ]
}

fn targets() -> impl Strategy<Value = Targets> {
    let target = |low, high| {
        prop::option::of(
            (number(low, high), number(0.0, 10.0)).prop_map(|(value, weight)| Target { value, weight }),
        )
    };
    (target(100.0, 2000.0), target(0.1, 0.9), target(1e-5, 1e-2)).prop_map(
        |(tension_n, load_share, inharmonicity_ceiling)| Targets {
            tension_n,
            load_share,
            inharmonicity_ceiling,
        },
    )
}

fn costs() -> impl Strategy<Value = NeighbourCosts> {
    let weight = || prop_oneof![Just(0.0), number(0.0, 20.0), number(0.0, 1e6)];
    (weight(), weight(), weight(), weight()).prop_map(
        |(tension_step, inharmonicity_step, wire_change, thicker_above)| NeighbourCosts {
            tension_step,
            inharmonicity_step,
            wire_change,
            thicker_above,
            winding_step: tension_step,
            layer_change: wire_change,
        },
    )
}

fn models() -> impl Strategy<Value = Models> {
    let string = prop_oneof![3 => Just(StringModel::ClosedForm), 1 => Just(StringModel::Stepped)];
    let winding = prop_oneof![Just(WindingModel::Tube), Just(WindingModel::Helix)];
    (basis(), string, winding, prop_oneof![10 => 2_u32..60, 1 => any::<u32>()]).prop_map(
        |(pitch_basis, string_model, winding_model, partial_count)| Models {
            pitch_basis,
            string_model,
            winding_model,
            partial_count,
        },
    )
}

fn basis() -> impl Strategy<Value = PitchBasis> {
    prop_oneof![Just(PitchBasis::StiffnessFree), Just(PitchBasis::FirstPartial)]
}

proptest! {
    #[test]
    fn bass(
        rows in prop::collection::vec((number(300.0, 2000.0), number(0.0, 40.0), number(-10.0, 40.0), targets()), 1..8),
        first in 1_i16..20,
        costs in costs(),
        models in models(),
        above in prop::option::of((number(300.0, 1500.0), number(1e-5, 1e-2))),
        limits in (number(0.0, 0.3), number(0.4, 1.0), number(500.0, 4000.0), number(0.1, 0.3), number(0.5, 3.0)),
    ) {
        let mut notes = fixture::wound_notes(first, first + i16::try_from(rows.len()).unwrap() - 1);
        for (note, (speaking_mm, front_mm, back_mm, targets)) in notes.iter_mut().zip(rows) {
            note.speaking_mm = speaking_mm;
            note.bare_ends = BareEnds { front_mm, back_mm };
            note.targets = targets;
        }
        let (cores, windings) = (fixture::steel_sizes(&["14", "17", "20", "23"]), fixture::coppers(6));
        let mut question = BassQuestion {
            above: above.map(|(tension_n, inharmonicity)| Neighbour { tension_n, inharmonicity }),
            neighbour_costs: costs,
            models,
            ..fixture::bass_question(&notes, &cores, &windings)
        };
        question.limits.min_load_share = limits.0;
        question.limits.max_load_share = limits.1;
        question.limits.max_tension_n = limits.2;
        question.limits.min_winding_mm = limits.3;
        question.limits.max_winding_mm = limits.4;
        match design_bass(&question) {
            Ok(design) => {
                prop_assert_eq!(design.notes.len(), notes.len());
                prop_assert!(design.terms.total().is_finite());
                for choice in &design.notes {
                    // The search keeps to the limits with Rayleigh's density; the exact one is that near.
                    prop_assert!(choice.tension_n > 0.0 && choice.tension_n <= limits.2 * 1.01);
                    prop_assert!((limits.0 * 0.99..=limits.1 * 1.01).contains(&choice.load_share));
                    prop_assert!(choice.inharmonicity > 0.0 && choice.outer_diameter_mm.is_finite());
                }
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn plain(
        lengths in prop::collection::vec(number(40.0, 1200.0), 1..20),
        counts in prop::collection::vec((0_u8..6, any::<bool>()), 20),
        costs in costs(),
        basis in basis(),
        tied in prop::option::of(number(0.0, 1.0)),
        min_run_notes in 0_u8..6,
    ) {
        let mut notes = fixture::plain_notes(30, 29 + i16::try_from(lengths.len()).unwrap());
        for ((note, length), (count, tied)) in notes.iter_mut().zip(&lengths).zip(counts) {
            note.speaking_mm = *length;
            note.string_count = count.clamp(1, 5);
            note.hitch = if tied { HitchStyle::Tied } else { HitchStyle::LoopedBack };
        }
        let wires = fixture::steel();
        let question = PlainQuestion {
            neighbour_costs: costs,
            pitch_basis: basis,
            tied_string_cost: tied,
            min_run_notes,
            ..fixture::plain_question(&notes, &wires)
        };
        match design_plain(&question) {
            Ok(design) => {
                prop_assert_eq!(design.notes.len(), notes.len());
                prop_assert!(design.terms.total().is_finite());
                prop_assert!(tied.is_some() || design.tied_at_changes == 0);
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn replacement(
        (speaking_mm, frequency_hz, core_mm) in (number(300.0, 2000.0), number(20.0, 300.0), number(0.7, 1.8)),
        layers in prop::collection::vec((number(1.5, 6.0), number(0.0, 40.0), number(300.0, 2000.0), number(7000.0, 9000.0)), 0..4),
        hexagonal in any::<bool>(),
        models in models(),
        (count, share, density, b) in (0_usize..30, number(0.2, 1.0), number(0.0, 2.0), number(0.0, 2.0)),
    ) {
        let layer = |(over_diameter_mm, start_mm, end_mm, density_kg_m3)| {
            MeasuredLayer { over_diameter_mm, start_mm, end_mm, density_kg_m3 }
        };
        let old = MeasuredString {
            note: 10,
            speaking_mm,
            frequency_hz,
            core_section: if hexagonal { CrossSection::Hexagonal } else { CrossSection::Round },
            core_diameter_mm: core_mm,
            core_density_kg_m3: 7850.0,
            core_youngs_modulus_gpa: 206.0,
            layers: layers.iter().copied().map(layer).collect(),
        };
        let windings = if layers.is_empty() { Vec::new() } else { fixture::coppers(8) };
        let options = ReplacementOptions {
            count,
            max_load_share: share,
            density_weight: density,
            inharmonicity_weight: b,
            models,
        };
        match replace(&old, &fixture::steel(), &windings, &options) {
            Ok(found) => {
                prop_assert!(!found.candidates.is_empty() && found.candidates.len() <= count);
                for candidate in &found.candidates {
                    prop_assert!(candidate.score.is_finite() && candidate.load_share <= share);
                    prop_assert!(candidate.pitch_deviation_cents.is_finite());
                }
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn stretching(
        lengths in prop::collection::vec((number(50.0, 1500.0), number(3.0, 100.0), number(0.01, 0.2)), 5..70),
        models in models(),
        winding in prop::option::of((number(5.0, 100.0), number(0.0, 40.0))),
        (smoothness, tolerance_cents) in (number(0.01, 1e4), number(1e-8, 1e-3)),
        max_iterations in 0_u32..60,
        first_note in -20_i16..90,
    ) {
        let note = |(at, &(speaking_mm, core_g_m, second_moment_mm4)): (usize, &(f64, f64, f64))| StretchNote {
            note: 40 + i16::try_from(at).unwrap(),
            body: StringBody {
                speaking_mm,
                core_g_m,
                youngs_modulus_gpa: 206.0,
                second_moment_mm4,
                spans: winding.map(|(density_g_m, bare_mm)| {
                    let layer = CoveredSpan { density_g_m, start_mm: bare_mm, end_mm: speaking_mm - bare_mm };
                    [layer, CoveredSpan { density_g_m: 0.0, ..layer }]
                }),
            },
        };
        let notes: Vec<StretchNote> = lengths.iter().enumerate().map(note).collect();
        let options = StretchOptions {
            regions: vec![OctaveRegion { first_note, octave: Octave::SixThree }],
            smoothness,
            tolerance_cents,
            max_iterations,
            models,
            ..StretchOptions::default()
        };
        match stretch(&notes, &options) {
            Ok(result) => {
                prop_assert!(result.total_cents.is_finite() && result.iterations <= max_iterations);
                prop_assert!(result.notes.iter().all(|note| note.offset_cents.is_finite() && note.tension_n > 0.0));
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn tolerances(
        (speaking_mm, frequency_hz, core_mm, e) in (number(40.0, 2000.0), number(20.0, 5000.0), number(0.5, 2.0), number(150.0, 220.0)),
        winding in prop::option::of((number(0.1, 2.5), number(7000.0, 9000.0), number(0.0, 30.0))),
        all in prop::array::uniform7(number(0.0, 0.1)),
        models in models(),
        turns in number(0.0, 5.0),
    ) {
        let mut allowances = Allowances::resolve(None, None, None);
        allowances.turns = turns;
        let string = TolerancedString {
            note: 30,
            speaking_mm,
            frequency_hz,
            models,
            core_section: CrossSection::Round,
            core_diameter_mm: core_mm,
            core_density_kg_m3: 7850.0,
            youngs_modulus_gpa: e,
            tensile_mpa: None,
            outer_winding: None,
            string_spacing_mm: Some(8.0),
            winding: winding.map(|(wire_diameter_mm, density_kg_m3, bare_mm)| TolerancedWinding {
                wire_diameter_mm,
                density_kg_m3,
                bare_ends: BareEnds { front_mm: bare_mm, back_mm: bare_mm },
            }),
            ends: Ends { front_mm: 100.0, back_mm: 100.0, hitch: HitchStyle::Tied, allowances },
        };
        let winding_only = f64::from(u8::from(winding.is_some()));
        let tolerances = Tolerances {
            core_diameter_mm: all[0],
            winding_diameter_mm: all[1] * winding_only,
            speaking_mm: all[2],
            pitch_cents: all[3],
            youngs_modulus: all[4],
            core_density: all[5],
            winding_density: all[6] * winding_only,
        };
        match propagate(&string, &tolerances) {
            Ok(report) => {
                let TolerancedFigures { tension_n, stress_mpa, inharmonicity, cut_mm, stretch_mm, .. } = &report;
                let always = [tension_n, stress_mpa, inharmonicity, cut_mm, stretch_mm, &report.linear_density_g_m];
                let wound = report.wound.iter().flat_map(|wound| [&wound.outer_diameter_mm, &wound.overall_relaxed_mm]);
                let layers = report.wound.iter().flat_map(|wound| &wound.layers);
                let layers = layers.flat_map(|layer| [&layer.end_relaxed_mm, &layer.wire_length_mm, &layer.wire_mass_g]);
                for quantity in always.into_iter().chain(&report.clearance_mm).chain(wound).chain(layers) {
                    prop_assert!(quantity.nominal.is_finite() && quantity.worst_case.is_finite());
                    prop_assert!(quantity.root_sum_square <= quantity.worst_case * (1.0 + 1e-12));
                }
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn curves(points in prop::collection::vec((-20_i16..100, number(1.0, 1000.0)), 0..6), note in any::<i16>()) {
        if let Ok(curve) = Curve::new(&points) {
            let values = points.iter().map(|(_, value)| *value);
            let (low, high) = (values.clone().fold(f64::INFINITY, f64::min), values.fold(0.0, f64::max));
            prop_assert!((low * (1.0 - 1e-9)..=high * (1.0 + 1e-9)).contains(&curve.at(note)));
        }
    }
}
