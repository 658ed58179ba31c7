//! The bass, against brute force that shares nothing with the search.

use becket_acoustics::{
    CoveredSpan, WindingModel, effective_density_g_m, inharmonicity, layer_density_g_m,
    tension_first_partial_n, tension_stiffness_free_n,
};
use becket_design::{
    BassQuestion, DesignError, Neighbour, NeighbourCosts, Target, Targets, WoundNote, design_bass,
    design_bass_unless,
};
use becket_scale::PitchBasis;
use becket_wire::Wire;

use crate::fixture;

/// A combination at a note, with what the objective needs.
#[derive(Clone)]
struct Combination {
    core: usize,
    tension_n: f64,
    inharmonicity: f64,
    own: f64,
}

fn combination(
    question: &BassQuestion<'_>,
    note: &WoundNote,
    core: usize,
    layers: &[&Wire],
) -> Option<Combination> {
    let wire = &question.cores[core];
    let bare = [note.bare_ends, note.outer_bare_ends.unwrap_or(note.bare_ends)];
    let mut under_mm = wire.material().cross_section().girth_diameter_mm(wire.diameter_mm()).unwrap();
    let mut spans = Vec::new();
    for (layer, bare) in layers.iter().zip(bare) {
        let w = layer.diameter_mm();
        spans.push(CoveredSpan {
            density_g_m: layer_density_g_m(WindingModel::Tube, under_mm, w, layer.density_kg_m3()).unwrap(),
            start_mm: bare.front_mm,
            end_mm: note.speaking_mm - bare.back_mm,
        });
        under_mm += 2.0 * w;
    }
    let g_m = effective_density_g_m(note.speaking_mm, wire.linear_density_g_m(), &spans).unwrap();
    let (e, i) = (wire.youngs_modulus_gpa(), wire.second_moment_mm4());
    let tension_n = match question.pitch_basis {
        PitchBasis::StiffnessFree => {
            tension_stiffness_free_n(note.speaking_mm, g_m, note.frequency_hz).ok()?
        }
        PitchBasis::FirstPartial => {
            tension_first_partial_n(note.speaking_mm, g_m, note.frequency_hz, e, i).ok()?
        }
    };
    let share = tension_n / wire.breaking_load_n().unwrap();
    let limits = question.limits;
    if share < limits.min_load_share || share > limits.max_load_share || tension_n > limits.max_tension_n {
        return None;
    }
    if let [inner, outer] = layers {
        let ratio = inner.diameter_mm() / outer.diameter_mm();
        if ratio < limits.min_inner_ratio || ratio > limits.max_inner_ratio {
            return None;
        }
    }
    let inharmonicity = inharmonicity(note.speaking_mm, tension_n, e, i).unwrap();
    let t = &note.targets;
    let mut own = if layers.len() == 2 { question.second_layer_cost } else { 0.0 };
    own += t.tension_n.map_or(0.0, |t| t.weight * (tension_n / t.value - 1.0).powi(2));
    own += t.load_share.map_or(0.0, |t| t.weight * (share / t.value - 1.0).powi(2));
    own +=
        t.inharmonicity_ceiling.map_or(0.0, |t| t.weight * (inharmonicity / t.value - 1.0).max(0.0).powi(2));
    Some(Combination { core, tension_n, inharmonicity, own })
}

fn combinations(question: &BassQuestion<'_>, note: &WoundNote) -> Vec<Combination> {
    let mut all = Vec::new();
    for core in 0..question.cores.len() {
        for inner in question.windings {
            all.extend(combination(question, note, core, &[inner]));
            if note.outer_bare_ends.is_some() {
                for outer in
                    question.windings.iter().filter(|outer| outer.diameter_mm() > inner.diameter_mm())
                {
                    all.extend(combination(question, note, core, &[inner, outer]));
                }
            }
        }
    }
    all
}

fn step(question: &BassQuestion<'_>, low: &Combination, high: &Combination) -> f64 {
    let costs = &question.neighbour_costs;
    let thicker = question.cores[high.core].area_mm2() > question.cores[low.core].area_mm2();
    costs.tension_step * (high.tension_n / low.tension_n).ln().powi(2)
        + costs.inharmonicity_step * (high.inharmonicity / low.inharmonicity).ln().powi(2)
        + if high.core == low.core { 0.0 } else { costs.wire_change }
        + if thicker { costs.thicker_above } else { 0.0 }
}

/// Least objective over all sequences, one by one.
fn brute_force(question: &BassQuestion<'_>) -> f64 {
    fn go(
        question: &BassQuestion<'_>,
        notes: &[Vec<Combination>],
        so_far: f64,
        last: Option<&Combination>,
    ) -> f64 {
        let Some((first, rest)) = notes.split_first() else {
            let above = question.above.zip(last).map_or(0.0, |(above, last)| {
                let costs = &question.neighbour_costs;
                costs.tension_step * (above.tension_n / last.tension_n).ln().powi(2)
                    + costs.inharmonicity_step * (above.inharmonicity / last.inharmonicity).ln().powi(2)
            });
            return so_far + above;
        };
        let cost = |c: &Combination| so_far + c.own + last.map_or(0.0, |last| step(question, last, c));
        first.iter().map(|c| go(question, rest, cost(c), Some(c))).fold(f64::INFINITY, f64::min)
    }
    let all: Vec<_> = question.notes.iter().map(|note| combinations(question, note)).collect();
    go(question, &all, 0.0, None)
}

fn assert_optimal(question: &BassQuestion<'_>) {
    let least = brute_force(question);
    let total = design_bass(question).unwrap().terms.total();
    assert!((total - least).abs() <= 1e-9 * (1.0 + least), "found {total}, brute force {least}");
}

#[test]
fn equals_brute_force_on_small_cases() {
    let cores = fixture::steel_sizes(&["16", "19", "22"]);
    let windings: Vec<Wire> = [0.3, 0.55, 0.9, 1.4].map(fixture::copper).to_vec();
    let weights = [
        (1.0, 0.1, 0.0004, 0.01),
        (0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.05, 0.0),
        (5.0, 0.0, 0.02, 0.02),
        (0.0, 2.0, 0.001, 0.0),
        (30.0, 50.0, 0.5, 1.0),
    ];
    for first in [4, 9, 16] {
        let notes = fixture::wound_notes(first, first + 3);
        for (tension_step, inharmonicity_step, wire_change, thicker_above) in weights {
            for pitch_basis in [PitchBasis::StiffnessFree, PitchBasis::FirstPartial] {
                for above in [None, Some(Neighbour { tension_n: 700.0, inharmonicity: 1.4e-4 })] {
                    let question = BassQuestion {
                        above,
                        pitch_basis,
                        second_layer_cost: if above.is_some() { 0.003 } else { 0.0 },
                        neighbour_costs: NeighbourCosts {
                            tension_step,
                            inharmonicity_step,
                            wire_change,
                            thicker_above,
                        },
                        ..fixture::bass_question(&notes, &cores, &windings)
                    };
                    assert_optimal(&question);
                }
            }
        }
    }
}

#[test]
fn answer_is_what_the_formulas_say() {
    let notes = fixture::wound_notes(1, 26);
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    let question = BassQuestion {
        above: Some(Neighbour { tension_n: 700.0, inharmonicity: 2.5e-4 }),
        ..fixture::bass_question(&notes, &cores, &windings)
    };
    let design = design_bass(&question).unwrap();
    assert_eq!(design.notes.len(), 26);
    let mut targets = 0.0;
    for (choice, note) in design.notes.iter().zip(&notes) {
        assert_eq!(choice.note, note.note);
        let core = cores.iter().position(|core| *core.wire_id() == choice.core_id).unwrap();
        let find = |id| windings.iter().find(|wire| wire.wire_id() == id).unwrap();
        let layers: Vec<&Wire> = choice.winding_ids.iter().map(find).collect();
        assert!(layers.len() == 1 || note.note <= 10 && layers[0].diameter_mm() < layers[1].diameter_mm());
        // `None` would be a string beyond the limits.
        let same = combination(&question, note, core, &layers).unwrap();
        assert!((choice.tension_n / same.tension_n - 1.0).abs() < 1e-12);
        assert!((choice.inharmonicity / same.inharmonicity - 1.0).abs() < 1e-12);
        assert!((choice.target_cost - same.own).abs() < 1e-12);
        targets += same.own;
    }
    assert!((targets - design.terms.targets).abs() < 1e-12);
    assert!(design.notes.iter().any(|choice| choice.winding_ids.len() == 2));
    assert!(design.search.kept <= design.search.within_limits);
    assert!(design.search.within_limits < design.search.combinations);
}

#[test]
fn costs_do_what_they_are_for() {
    let notes = fixture::wound_notes(1, 26);
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    let solve = |wire_change, thicker_above| {
        let neighbour_costs = NeighbourCosts { wire_change, thicker_above, ..NeighbourCosts::default() };
        let question = fixture::bass_question(&notes, &cores, &windings);
        let design = design_bass(&BassQuestion { neighbour_costs, ..question }).unwrap();
        let changes = design.notes.windows(2).filter(|pair| pair[0].core_id != pair[1].core_id).count();
        (changes, design.terms)
    };
    let (free, _) = solve(0.0, 0.0);
    let (few, _) = solve(0.01, 0.01);
    let (none, terms) = solve(100.0, 100.0);
    assert!(few < free, "{few} {free}");
    assert_eq!(none, 0);
    assert_eq!((terms.wire_changes, terms.thicker_above), (0.0, 0.0));
}

#[test]
fn two_layers_are_taken_where_they_are_worth_their_cost() {
    let notes = fixture::wound_notes(1, 26);
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    let doubles = |second_layer_cost: f64| {
        let question = fixture::bass_question(&notes, &cores, &windings);
        let design = design_bass(&BassQuestion { second_layer_cost, ..question }).unwrap();
        let count: u32 = design.notes.iter().map(|choice| u32::from(choice.winding_ids.len() == 2)).sum();
        assert!((design.terms.second_layers - second_layer_cost * f64::from(count)).abs() < 1e-9);
        count
    };
    let (free, some, dear) = (doubles(0.0), doubles(0.001), doubles(100.0));
    assert!(some < free && dear < some, "{free} {some} {dear}");
}

#[test]
fn an_inner_winding_wire_is_thinner_than_the_outer_one() {
    let notes = fixture::wound_notes(8, 9);
    let cores = fixture::steel_sizes(&["19", "22"]);
    let windings = [1.0, 1.4].map(fixture::copper);
    let count = |ratios: (f64, f64)| {
        let mut question = fixture::bass_question(&notes, &cores, &windings);
        (question.limits.min_inner_ratio, question.limits.max_inner_ratio) = ratios;
        design_bass(&question).unwrap().search.combinations
    };
    // On each of two notes and two cores: two single layers and at most one pair.
    assert_eq!(count((0.0, 1.0)), 12);
    assert_eq!(count((0.7, 0.8)), 12);
    assert_eq!(count((0.8, 1.0)), 8);
    assert_eq!(count((0.2, 0.7)), 8);
}

#[test]
fn tells_every_note_without_a_fit_and_every_fault() {
    let mut notes = fixture::wound_notes(5, 9);
    let cores = fixture::steel_sizes(&["13"]);
    let windings = vec![fixture::copper(2.0)];
    // Heavy copper on the thinnest core: nothing holds.
    match design_bass(&fixture::bass_question(&notes, &cores, &windings)) {
        Err(DesignError::NothingFits(unmet)) => {
            assert_eq!(unmet.iter().map(|unmet| unmet.note).collect::<Vec<_>>(), [5, 6, 7, 8, 9]);
            assert!(unmet.iter().all(|unmet| unmet.too_high == unmet.tried && unmet.tried == 1));
            assert!(unmet[0].lowest_load_share.unwrap() > 0.7);
        }
        other => panic!("{other:?}"),
    }
    notes[1].speaking_mm = f64::NAN;
    notes[2].note = 40;
    notes[3].targets.tension_n = Some(Target { value: -5.0, weight: f64::INFINITY });
    let mut question = fixture::bass_question(&notes, &windings, &[]);
    question.limits.max_load_share = 1.5;
    match design_bass(&question) {
        Err(DesignError::Faults(faults)) => {
            let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
            for field in [
                "notes[2].note",
                "notes[1].speaking_mm",
                "notes[3].targets.tension_n.value",
                "notes[3].targets.tension_n.weight",
                "cores[0].material",
                "windings",
                "limits.max_load_share",
            ] {
                assert!(fields.contains(&field), "{field} not in {fields:?}");
            }
        }
        other => panic!("{other:?}"),
    }
    let none =
        notes.iter().map(|note| WoundNote { targets: Targets::default(), ..*note }).collect::<Vec<_>>();
    let question = fixture::bass_question(&none[..1], &cores, &windings);
    assert!(matches!(design_bass(&question), Err(DesignError::Faults(faults)) if faults.len() == 1));
}

#[test]
fn repeats_to_the_bit() {
    let notes = fixture::wound_notes(1, 14);
    let (cores, windings) = (fixture::steel(), fixture::coppers(30));
    let question = fixture::bass_question(&notes, &cores, &windings);
    assert_eq!(design_bass(&question).unwrap(), design_bass(&question).unwrap());
}

#[test]
fn stops_when_it_is_told_to_and_soon() {
    let notes = fixture::wound_notes(1, 14);
    let (cores, windings) = (fixture::steel(), fixture::coppers(30));
    let question = fixture::bass_question(&notes, &cores, &windings);
    let asked = std::cell::Cell::new(0);
    let stop_after = |most: u32| {
        asked.set(0);
        design_bass_unless(&question, &|| {
            asked.set(asked.get() + 1);
            asked.get() > most
        })
    };
    assert_eq!(stop_after(u32::MAX), design_bass(&question));
    // Four passes over all notes.
    assert_eq!(asked.get(), 4 * 14);
    for most in [0, 20, 35, 50] {
        assert_eq!(stop_after(most), Err(DesignError::Stopped));
        assert_eq!(asked.get(), most + 1, "nothing is done after that");
    }
}
