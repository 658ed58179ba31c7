//! The bass, against brute force that shares nothing with the search.

use becket_acoustics::{
    BareEnds, CoveredSpan, WindingModel, effective_density_g_m, inharmonicity, layer_density_g_m,
    tension_first_partial_n, tension_stiffness_free_n,
};
use becket_design::{
    BareEnds as Bare, BassQuestion, DesignError, Neighbour, NeighbourCosts, Target, Targets, WoundChoice,
    WoundNote, design_bass, design_bass_unless,
};
use becket_scale::{AtPitch, Models, PitchBasis, StringBody, StringModel};
use becket_wire::{Wire, WireId};

use crate::fixture;

/// A combination at a note, with what the objective needs.
#[derive(Clone)]
struct Combination {
    core: usize,
    /// Diameters of the winding wires in mm.
    wires_mm: Vec<f64>,
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
            density_g_m: layer_density_g_m(question.models.winding_model, under_mm, w, layer.density_kg_m3())
                .unwrap(),
            start_mm: bare.front_mm,
            end_mm: note.speaking_mm - bare.back_mm,
        });
        under_mm += 2.0 * w;
    }
    let g_m = effective_density_g_m(note.speaking_mm, wire.linear_density_g_m(), &spans).unwrap();
    let (e, i) = (wire.youngs_modulus_gpa(), wire.second_moment_mm4());
    let tension_n = match question.models.pitch_basis {
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
    let mut inharmonicity = inharmonicity(note.speaking_mm, tension_n, e, i).unwrap();
    if question.models.string_model == StringModel::Stepped {
        let covered_g_m = wire.linear_density_g_m() + spans.iter().map(|span| span.density_g_m).sum::<f64>();
        for (span, bare) in spans.iter().zip(bare) {
            let ends =
                BareEnds::new(note.speaking_mm, bare.front_mm, bare.back_mm, question.models.partial_count);
            inharmonicity += ends.unwrap().inharmonicity(span.density_g_m / covered_g_m);
        }
    }
    let t = &note.targets;
    let mut own = if layers.len() == 2 { question.second_layer_cost } else { 0.0 };
    own += t.tension_n.map_or(0.0, |t| t.weight * (tension_n / t.value - 1.0).powi(2));
    own += t.load_share.map_or(0.0, |t| t.weight * (share / t.value - 1.0).powi(2));
    own +=
        t.inharmonicity_ceiling.map_or(0.0, |t| t.weight * (inharmonicity / t.value - 1.0).max(0.0).powi(2));
    let wires_mm = layers.iter().map(|layer| layer.diameter_mm()).collect();
    Some(Combination { core, wires_mm, tension_n, inharmonicity, own })
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
    let windings = if low.wires_mm.len() == high.wires_mm.len() {
        let steps = low.wires_mm.iter().zip(&high.wires_mm).map(|(low, high)| (high / low).ln().powi(2));
        costs.winding_step * steps.sum::<f64>()
    } else {
        costs.layer_change
    };
    windings
        + costs.tension_step * (high.tension_n / low.tension_n).ln().powi(2)
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
    let found = design_bass(question).unwrap();
    let total = found.search.objective;
    assert!((total - least).abs() <= 1e-9 * (1.0 + least), "found {total}, brute force {least}");
    assert_eq!(found.search.gap, 0.0);
    if question.models.string_model == StringModel::ClosedForm {
        assert!((found.terms.total() - least).abs() <= 1e-9 * (1.0 + least));
    }
}

#[test]
fn equals_brute_force_on_small_cases() {
    let cores = fixture::steel_sizes(&["16", "19", "22"]);
    let windings: Vec<Wire> = [0.3, 0.55, 0.9, 1.4].map(fixture::copper).to_vec();
    let weights = [
        (1.0, 0.1, 0.0004, 0.01, 0.05, 0.01),
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.05, 0.0, 0.0, 0.0),
        (5.0, 0.0, 0.02, 0.02, 2.0, 0.0),
        (0.0, 2.0, 0.001, 0.0, 0.0, 0.3),
        (30.0, 50.0, 0.5, 1.0, 10.0, 1.0),
    ];
    let bases = [PitchBasis::StiffnessFree, PitchBasis::FirstPartial];
    let models = [(StringModel::ClosedForm, WindingModel::Tube), (StringModel::Stepped, WindingModel::Helix)];
    for first in [4, 9, 16] {
        let notes = fixture::wound_notes(first, first + 3);
        for (tension_step, inharmonicity_step, wire_change, thicker_above, winding_step, layer_change) in
            weights
        {
            for (pitch_basis, (string_model, winding_model)) in bases.into_iter().zip(models) {
                let models = Models { pitch_basis, string_model, winding_model, ..Models::default() };
                for above in [None, Some(Neighbour { tension_n: 700.0, inharmonicity: 1.4e-4 })] {
                    let question = BassQuestion {
                        above,
                        models,
                        second_layer_cost: if above.is_some() { 0.003 } else { 0.0 },
                        neighbour_costs: NeighbourCosts {
                            tension_step,
                            inharmonicity_step,
                            wire_change,
                            thicker_above,
                            winding_step,
                            layer_change,
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

/// One string of a design, solved exactly.
fn solved(question: &BassQuestion<'_>, note: &WoundNote, choice: &WoundChoice) -> AtPitch {
    let core = question.cores.iter().find(|core| *core.wire_id() == choice.core_id).unwrap();
    let bare = [note.bare_ends, note.outer_bare_ends.unwrap_or(note.bare_ends)];
    let mut under_mm = core.material().cross_section().girth_diameter_mm(core.diameter_mm()).unwrap();
    let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: note.speaking_mm }; 2];
    for ((id, bare), span) in choice.winding_ids.iter().zip(bare).zip(&mut spans) {
        let wire = question.windings.iter().find(|wire| wire.wire_id() == id).unwrap();
        let (w, density) = (wire.diameter_mm(), wire.density_kg_m3());
        span.density_g_m = layer_density_g_m(question.models.winding_model, under_mm, w, density).unwrap();
        (span.start_mm, span.end_mm) = (bare.front_mm, note.speaking_mm - bare.back_mm);
        under_mm += 2.0 * w;
    }
    let body = StringBody {
        speaking_mm: note.speaking_mm,
        core_g_m: core.linear_density_g_m(),
        youngs_modulus_gpa: core.youngs_modulus_gpa(),
        second_moment_mm4: core.second_moment_mm4(),
        spans: Some(spans),
    };
    body.at(note.frequency_hz, &question.models, false).unwrap()
}

#[test]
fn stepped_designs_hold_exact_figures_and_say_how_near_the_search_was() {
    let notes = fixture::wound_notes(1, 26);
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    for (pitch_basis, winding_model) in
        [(PitchBasis::StiffnessFree, WindingModel::Tube), (PitchBasis::FirstPartial, WindingModel::Helix)]
    {
        let models =
            Models { pitch_basis, winding_model, string_model: StringModel::Stepped, ..Models::default() };
        let question = BassQuestion { models, ..fixture::bass_question(&notes, &cores, &windings) };
        let design = design_bass(&question).unwrap();
        for (note, choice) in notes.iter().zip(&design.notes) {
            let exact = solved(&question, note, choice);
            assert!((choice.tension_n / exact.tension_n - 1.0).abs() < 1e-9);
            assert!((choice.inharmonicity / exact.inharmonicity - 1.0).abs() < 1e-9);
        }
        // Bare ends of at most 2.6 % of the length.
        assert!((1e-4..0.03).contains(&design.search.inharmonicity_error), "{:?}", design.search);
        let total = design.terms.total();
        assert!((total / design.search.objective - 1.0).abs() < 0.02, "{total} {:?}", design.search);
    }
}

#[test]
fn bare_ends_count_in_the_choice() {
    // A low ceiling of B: with the true stiffness of bare ends the design pulls harder.
    let mut notes = fixture::wound_notes(11, 26);
    for note in &mut notes {
        note.targets.inharmonicity_ceiling = Some(Target { value: 1.2e-4, weight: 1.0 });
        note.bare_ends = Bare { front_mm: 25.0, back_mm: 25.0 };
    }
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    let designed = |string_model| {
        let models = Models { string_model, ..Models::default() };
        let question = BassQuestion { models, ..fixture::bass_question(&notes, &cores, &windings) };
        let design = design_bass(&question).unwrap();
        let exact = Models { string_model: StringModel::Stepped, ..models };
        let question = BassQuestion { models: exact, ..question };
        let true_b = notes.iter().zip(&design.notes).map(|(n, c)| solved(&question, n, c).inharmonicity);
        let above: f64 = true_b.map(|b| (b / 1.2e-4 - 1.0).max(0.0).powi(2)).sum();
        (above, design)
    };
    let ((uniform, a), (stepped, b)) = (designed(StringModel::ClosedForm), designed(StringModel::Stepped));
    assert!(stepped < uniform, "{stepped} {uniform}");
    assert_ne!(a.notes, b.notes);
}

#[test]
fn winding_wires_run_steadily() {
    let notes = fixture::wound_notes(1, 26);
    let (cores, windings) = (fixture::steel(), fixture::coppers(40));
    let mm = |id: &WireId| windings.iter().find(|wire| wire.wire_id() == id).unwrap().diameter_mm();
    let greatest = |winding_step, layer_change| {
        let costs = NeighbourCosts { winding_step, layer_change, ..NeighbourCosts::default() };
        let question = fixture::bass_question(&notes, &cores, &windings);
        let design = design_bass(&BassQuestion { neighbour_costs: costs, ..question }).unwrap();
        let mut steps: f64 = 0.0;
        let mut changes = 0;
        for pair in design.notes.windows(2) {
            if pair[0].winding_ids.len() != pair[1].winding_ids.len() {
                changes += 1;
                continue;
            }
            for (low, high) in pair[0].winding_ids.iter().zip(&pair[1].winding_ids) {
                steps = steps.max((mm(high) / mm(low)).ln().abs());
            }
        }
        (steps, changes, design.terms)
    };
    let ((rough, often, none), (smooth, seldom, some)) = (greatest(0.0, 0.0), greatest(0.05, 0.01));
    assert!(smooth < 0.5 * rough, "{smooth} {rough}");
    assert!(seldom <= 1 && seldom <= often, "{seldom} {often}");
    assert_eq!((none.winding_steps, none.layer_changes), (0.0, 0.0));
    assert!(some.winding_steps > 0.0);
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
        // Without costs that hold neighbours together, each note decides for itself.
        let neighbour_costs =
            NeighbourCosts { winding_step: 0.0, layer_change: 0.0, ..NeighbourCosts::default() };
        let question = BassQuestion { second_layer_cost, neighbour_costs, ..question };
        let design = design_bass(&question).unwrap();
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
    // Of several passes, each looks at every note.
    let all = asked.get();
    assert!(all >= 4 * 14 && all.is_multiple_of(14), "{all}");
    for most in [0, 20, 35, 50, all - 1] {
        assert_eq!(stop_after(most), Err(DesignError::Stopped));
        assert_eq!(asked.get(), most + 1, "nothing is done after that");
    }
}
