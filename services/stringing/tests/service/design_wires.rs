//! Choosing wire over the socket: bass, plain strings, replacements.

use becket_api::stringing::compute_string_set_request::Source;
use becket_api::stringing::{
    BareEnds, BassLimits, BassNote, ComputeOptions, ComputeStringSetRequest, CoreShape, CurvePoint,
    DesignBassRequest, DesignBassResponse, DesignPlainWiresRequest, DesignPlainWiresResponse, HitchStyle,
    MatchReplacementRequest, MatchReplacementResponse, Material, MeasuredLayer, MeasuredString,
    NeighbourCosts, PitchBasis, PlainNote, StockedWires, StringModel, Target, TargetCurve, TargetCurves,
    Targets, WindingModel, Wire,
};
use tonic::{Code, Status};
use tonic_types::StatusExt;

use crate::world::{World, assert_faults, assert_refused, copper, scale};

async fn bass(world: &World, request: DesignBassRequest) -> Result<DesignBassResponse, Status> {
    Ok(world.designs().design_bass(request).await?.into_inner())
}

async fn plain(world: &World, request: DesignPlainWiresRequest) -> Result<DesignPlainWiresResponse, Status> {
    Ok(world.designs().design_plain_wires(request).await?.into_inner())
}

async fn replacement(
    world: &World,
    request: MatchReplacementRequest,
) -> Result<MatchReplacementResponse, Status> {
    Ok(world.designs().match_replacement(request).await?.into_inner())
}

fn coppers() -> Vec<Wire> {
    (4..=20).map(|tenths| copper(&format!("cu-of-the-request-{tenths}"), f64::from(tenths) / 10.0)).collect()
}

fn tension_curve(low_n: f64, high_n: f64, first: i32, last: i32) -> Option<TargetCurves> {
    let points = vec![CurvePoint { note: first, value: low_n }, CurvePoint { note: last, value: high_n }];
    let tension_n = Some(TargetCurve { points, weight: None });
    Some(TargetCurves { tension_n, ..TargetCurves::default() })
}

/// Notes 5 to 16 of a bass; the lowest four may have two layers.
fn bass_request() -> DesignBassRequest {
    let note = |note: i32| BassNote {
        note,
        speaking_mm: 1300.0 - 15.0 * f64::from(note),
        bare_ends: Some(BareEnds { front_mm: 18.0, back_mm: 14.0 }),
        outer_bare_ends: (note <= 8).then_some(BareEnds { front_mm: 25.0, back_mm: 20.0 }),
        ..BassNote::default()
    };
    DesignBassRequest {
        notes: (5..=16).map(note).collect(),
        targets: tension_curve(1250.0, 900.0, 5, 16),
        cores: Some(StockedWires {
            materials: vec![Material::SteelRound.into()],
            min_diameter_mm: Some(0.95),
            max_diameter_mm: Some(1.3),
            ..StockedWires::default()
        }),
        wires: coppers(),
        ..DesignBassRequest::default()
    }
}

#[tokio::test]
async fn a_designed_bass_has_the_tensions_that_a_set_of_it_has() {
    let world = World::with_wires().await;
    for (basis, string, winding) in [
        (PitchBasis::StiffnessFree, StringModel::ClosedForm, WindingModel::Tube),
        (PitchBasis::FirstPartial, StringModel::ClosedForm, WindingModel::Helix),
        (PitchBasis::StiffnessFree, StringModel::Stepped, WindingModel::Helix),
        (PitchBasis::FirstPartial, StringModel::Stepped, WindingModel::Tube),
    ] {
        let request = DesignBassRequest {
            pitch_basis: Some(basis.into()),
            string_model: Some(string.into()),
            winding_model: Some(winding.into()),
            ..bass_request()
        };
        design_is_as_its_set(&world, request).await;
    }
}

/// Designs a bass and puts it into a scale: its set has the very figures of the design.
async fn design_is_as_its_set(world: &World, asked: DesignBassRequest) {
    let design = bass(world, asked.clone()).await.unwrap();
    let models = design.models.unwrap();
    assert_eq!(
        (Some(models.pitch_basis), Some(models.string_model), Some(models.winding_model)),
        (asked.pitch_basis, asked.string_model, asked.winding_model)
    );
    assert_eq!(design.objective_gap, 0.0);
    let stepped = models.string_model() == StringModel::Stepped;
    assert_eq!(stepped, design.inharmonicity_error_share > 0.0);
    assert_eq!(
        design.notes.iter().map(|choice| choice.note).collect::<Vec<_>>(),
        (5..=16).collect::<Vec<_>>()
    );
    // Inch series: No. 16.5 (0.965 mm) to 23 (1.295 mm); seventeen coppers of the request and cu-1.00 of the catalogue.
    assert_eq!((design.cores, design.windings), (14, 18));
    assert!(design.combinations_kept <= design.combinations_within_limits);
    assert!(design.combinations_within_limits < design.combinations);
    let objective = design.objective.unwrap();
    let sum = objective.targets
        + objective.tension_steps
        + objective.inharmonicity_steps
        + objective.wire_changes
        + objective.thicker_above
        + objective.winding_steps
        + objective.layer_changes
        + objective.second_layers
        + objective.tied_strings;
    assert!((objective.total - sum).abs() < 1e-12 && objective.total > 0.0);
    // What the search reckoned is the same, or as near as its formula for bare ends.
    let off = (design.searched_objective / objective.total - 1.0).abs();
    assert!(off < if stepped { 0.02 } else { 1e-9 }, "{off}");
    // The targets of the curve: 1250 N at the fifth note, 900 N at the sixteenth.
    assert!((design.notes[0].tension_n / 1250.0 - 1.0).abs() < 0.15, "{:?}", design.notes[0]);
    assert!((design.notes[11].tension_n / 900.0 - 1.0).abs() < 0.15, "{:?}", design.notes[11]);

    // Put into a scale, the choices are strings with the very figures of the design.
    let mut whole = scale("grand", "a");
    for (choice, asked) in design.notes.iter().zip(&asked.notes) {
        let row = &mut whole.notes[usize::try_from(choice.note - 1).unwrap()];
        row.speaking_mm = asked.speaking_mm;
        row.wire_id = choice.core_wire_id.clone();
        row.windings = choice.windings.clone();
    }
    let request = ComputeStringSetRequest {
        source: Some(Source::Scale(whole)),
        wires: coppers(),
        options: Some(ComputeOptions {
            pitch_basis: asked.pitch_basis,
            string_model: asked.string_model,
            winding_model: asked.winding_model,
            ..ComputeOptions::default()
        }),
    };
    let set = world.sets().compute_string_set(request).await.unwrap().into_inner().string_set.unwrap();
    for choice in &design.notes {
        let string = set.strings.iter().find(|string| string.note == choice.note).unwrap();
        assert!((string.tension_n / choice.tension_n - 1.0).abs() < 1e-9, "{choice:?}");
        assert!((string.inharmonicity / choice.inharmonicity - 1.0).abs() < 1e-9, "{choice:?}");
        assert!((string.frequency_hz / choice.frequency_hz - 1.0).abs() < 1e-9, "{choice:?}");
        assert!((string.load_share.unwrap() / choice.load_share - 1.0).abs() < 1e-9, "{choice:?}");
        assert_eq!(string.strength_label, choice.strength_label);
    }
    assert_eq!(bass(world, asked).await.unwrap().notes, design.notes, "repeats to the bit");
}

#[tokio::test]
async fn a_target_of_a_note_stands_in_place_of_the_curve() {
    let world = World::with_wires().await;
    let mut request = bass_request();
    let usual = bass(&world, request.clone()).await.unwrap();
    let tension_n = Some(Target { value: 700.0, weight: Some(1000.0) });
    request.notes[6].targets = Some(Targets { tension_n, ..Targets::default() });
    let lower = bass(&world, request).await.unwrap();
    assert!(lower.notes[6].tension_n < 750.0 && usual.notes[6].tension_n > 900.0, "{:?}", lower.notes[6]);
}

#[tokio::test]
async fn every_fault_of_a_bass_is_told_with_its_path() {
    let world = World::with_wires().await;
    let absent = bass(&world, DesignBassRequest::default()).await;
    assert_faults(absent, &["notes"]);
    let mut request = bass_request();
    request.notes[1].speaking_mm = f64::NAN;
    request.notes[2].bare_ends = None;
    request.notes[3].note = 900;
    request.notes[11].pitch_offset_cents = 300.0;
    request.targets.as_mut().unwrap().tension_n.as_mut().unwrap().points[0].value = -5.0;
    request.targets.as_mut().unwrap().load_share =
        Some(TargetCurve { points: vec![CurvePoint { note: 1, value: 3.0 }], weight: Some(-1.0) });
    request.cores = Some(StockedWires {
        wire_ids: vec!["mw-in-19".to_owned(), "cu-1.00".to_owned(), "mw-in-19".to_owned(), "none".to_owned()],
        ..StockedWires::default()
    });
    request.windings =
        Some(StockedWires { materials: vec![Material::SteelRound.into(), 99], ..StockedWires::default() });
    request.a4_hz = Some(f64::INFINITY);
    request.pitch_basis = Some(7);
    request.limits = Some(BassLimits { max_load_share: Some(1.5), ..BassLimits::default() });
    request.neighbour_costs = Some(NeighbourCosts { wire_change: Some(-1.0), ..NeighbourCosts::default() });
    request.wires.push(copper("too-thick", 20.0));
    let fields = [
        "a4_hz",
        "pitch_basis",
        "targets.tension_n.points[0].value",
        "notes[2].bare_ends",
        "notes[3].note",
        "notes[11].pitch_offset_cents",
        "wires[17].diameter_mm",
        "cores.wire_ids[1]",
        "cores.wire_ids[2]",
        "cores.wire_ids[3]",
        "windings.materials[0]",
        "windings.materials[1]",
        "notes[4].note",
        "targets.load_share.points",
        "targets.load_share.weight",
        "notes[1].speaking_mm",
        "neighbour_costs.wire_change",
        "limits.max_load_share",
    ];
    assert_faults(bass(&world, request).await, &fields);
}

#[tokio::test]
async fn targets_that_no_stock_can_meet_name_every_note() {
    let world = World::with_wires().await;
    let mut request = bass_request();
    // Heavy copper on the thinnest core: nothing holds.
    request.cores = Some(StockedWires { wire_ids: vec!["mw-in-13".to_owned()], ..StockedWires::default() });
    request.windings =
        Some(StockedWires { wire_ids: vec!["cu-of-the-request-20".to_owned()], ..StockedWires::default() });
    let status = assert_refused(bass(&world, request).await, Code::FailedPrecondition, "TARGET_UNREACHABLE");
    let violations = status.get_details_bad_request().unwrap().field_violations;
    let fields: Vec<_> = violations.iter().map(|violation| violation.field.clone()).collect();
    assert_eq!(fields, (0..12).map(|at| format!("notes[{at}]")).collect::<Vec<_>>());
    assert!(violations[0].description.contains("note 5: of 1 combinations 1 are too high"), "{violations:?}");
}

fn plain_request() -> DesignPlainWiresRequest {
    let lengths_mm = [432.0, 412.0, 392.0, 374.0, 355.0, 340.0, 327.0, 312.0];
    let note = |(note, speaking_mm): (i32, f64)| PlainNote {
        note,
        section_id: "treble".to_owned(),
        string_count: 3,
        hitch: HitchStyle::LoopedBack.into(),
        speaking_mm,
        ..PlainNote::default()
    };
    DesignPlainWiresRequest {
        notes: (47..).zip(lengths_mm).map(note).collect(),
        targets: tension_curve(720.0, 700.0, 47, 54),
        ..DesignPlainWiresRequest::default()
    }
}

#[tokio::test]
async fn plain_sizes_change_after_an_even_number_of_three_string_notes() {
    let world = World::with_wires().await;
    let design = plain(&world, plain_request()).await.unwrap();
    assert_eq!((design.notes.len(), design.tied_at_changes), (8, 0));
    for pair in design.notes.chunks(2) {
        assert_eq!(pair[0].wire_id, pair[1].wire_id, "a looped pair has one size");
    }
    assert!(design.notes.iter().all(|choice| (choice.tension_n / 710.0 - 1.0).abs() < 0.15), "{design:?}");
    assert!(design.notes.iter().all(|choice| choice.strength_label.contains("A228")), "{design:?}");
    // Where tying costs nothing and smoothness neither, each note takes the size nearest to its target.
    let free = NeighbourCosts {
        tension_step: Some(0.0),
        inharmonicity_step: Some(0.0),
        wire_change: Some(0.0),
        thicker_above: Some(0.0),
        winding_step: Some(0.0),
        layer_change: Some(0.0),
    };
    let request = DesignPlainWiresRequest {
        tied_string_cost: Some(0.0),
        neighbour_costs: Some(free),
        ..plain_request()
    };
    let nearest = plain(&world, request).await.unwrap();
    assert!(nearest.objective.unwrap().targets <= design.objective.unwrap().targets);
}

#[tokio::test]
async fn plain_faults_and_sequences_that_do_not_exist_are_told() {
    let world = World::with_wires().await;
    let mut request = plain_request();
    request.notes[0].section_id = "No Section".to_owned();
    request.notes[1].hitch = 0;
    request.notes[2].string_count = 900;
    request.notes[3].fixed_wire_id = "mw-in-99".to_owned();
    request.notes[4].string_count = 5;
    request.sizes = Some(StockedWires {
        wire_ids: vec!["mw-in-16".to_owned()],
        min_diameter_mm: Some(1.0),
        ..StockedWires::default()
    });
    request.min_run_notes = Some(-1);
    let fields = [
        "notes[0].section_id",
        "notes[1].hitch",
        "notes[2].string_count",
        "min_run_notes",
        "sizes",
        "notes[3].fixed_wire_id",
        "notes[4].string_count",
    ];
    assert_faults(plain(&world, request).await, &fields);

    // Notes 47 and 48 share a pair and cannot keep two sizes.
    let mut request = plain_request();
    request.notes[0].fixed_wire_id = "mw-in-16".to_owned();
    request.notes[1].fixed_wire_id = "mw-in-15".to_owned();
    let status =
        assert_refused(plain(&world, request.clone()).await, Code::FailedPrecondition, "TARGET_UNREACHABLE");
    assert_eq!(status.get_details_bad_request().unwrap().field_violations[0].field, "notes[1]");
    request.tied_string_cost = Some(0.001);
    let tied = plain(&world, request).await.unwrap();
    assert!(tied.tied_at_changes >= 2 && tied.notes[1].pair_cut_below, "{tied:?}");
}

fn old_string() -> MatchReplacementRequest {
    MatchReplacementRequest {
        string: Some(MeasuredString {
            note: 16,
            speaking_mm: 1000.0,
            core_shape: CoreShape::Round.into(),
            // Half way between No. 18 (1.041 mm) and 18.5 (1.067 mm), over copper of just under 1 mm.
            core_diameter_mm: 1.05,
            layers: vec![MeasuredLayer {
                over_diameter_mm: 3.03,
                start_mm: 18.0,
                end_mm: 986.0,
                density_kg_m3: None,
            }],
            ..MeasuredString::default()
        }),
        wires: coppers(),
        ..MatchReplacementRequest::default()
    }
}

#[tokio::test]
async fn a_measured_string_leads_back_to_stocked_wire() {
    let world = World::with_wires().await;
    let found = replacement(&world, old_string()).await.unwrap();
    assert_eq!(found.candidates.len(), 10);
    let best = &found.candidates[0];
    assert!(["mw-in-18", "mw-in-18.5"].contains(&best.core_wire_id.as_str()), "{best:?}");
    assert!(["cu-1.00", "cu-of-the-request-10"].contains(&best.winding_wire_ids[0].as_str()), "{best:?}");
    let old = found.old.unwrap();
    assert!((best.tension_n / old.tension_n - 1.0 - best.tension_deviation).abs() < 1e-12);
    // At one tension frequency goes as 1/√μ.
    let cents = -600.0 * (best.linear_density_g_m / old.linear_density_g_m).log2();
    assert!((best.pitch_deviation_cents - cents).abs() < 1e-9 && cents.abs() < 50.0, "{best:?}");
    assert!(found.candidates.windows(2).all(|pair| pair[0].score <= pair[1].score));

    // By the exact solution, on the first-partial basis and with windings as helices: another tension and a higher B.
    let exact = MatchReplacementRequest {
        pitch_basis: Some(PitchBasis::FirstPartial.into()),
        string_model: Some(StringModel::Stepped.into()),
        winding_model: Some(WindingModel::Helix.into()),
        ..old_string()
    };
    let exact = replacement(&world, exact).await.unwrap();
    assert_eq!(exact.models.unwrap().string_model(), StringModel::Stepped);
    assert!(exact.combinations_exact > 0 && exact.combinations_exact <= exact.combinations_within_limits);
    let (true_b, uniform_b) = (exact.old.unwrap().inharmonicity, old.inharmonicity);
    assert!(true_b > 1.05 * uniform_b, "{true_b} {uniform_b}");
    assert_eq!(exact.candidates[0].core_wire_id, best.core_wire_id);
    assert_eq!(found.combinations_exact, found.combinations_within_limits);

    let mut bare = old_string();
    let string = bare.string.as_mut().unwrap();
    (string.note, string.speaking_mm) = (40, 620.0);
    (string.core_diameter_mm, string.layers) = (0.94, vec![]);
    bare.candidate_count = Some(1);
    let found = replacement(&world, bare).await.unwrap();
    assert_eq!(found.candidates.len(), 1);
    assert_eq!(found.candidates[0].core_wire_id, "mw-in-16", "0.9398 mm");
}

#[tokio::test]
async fn replacements_that_cannot_be_are_refused() {
    let world = World::with_wires().await;
    assert_faults(replacement(&world, MatchReplacementRequest::default()).await, &["string"]);
    let mut request = old_string();
    request.string.as_mut().unwrap().core_shape = 0;
    request.string.as_mut().unwrap().core_diameter_mm = 9.0;
    request.string.as_mut().unwrap().layers[0].end_mm = f64::NAN;
    request.candidate_count = Some(-2);
    (request.density_weight, request.inharmonicity_weight) = (Some(0.0), Some(0.0));
    request.max_load_share = Some(2.0);
    let fields = [
        "candidate_count",
        "string.core_shape",
        "string.core_diameter_mm",
        "string.layers[0].over_diameter_mm",
        "string.layers[0].end_mm",
        "max_load_share",
        "density_weight",
    ];
    assert_faults(replacement(&world, request).await, &fields);

    let request = MatchReplacementRequest { max_load_share: Some(0.01), ..old_string() };
    let status =
        assert_refused(replacement(&world, request).await, Code::FailedPrecondition, "TARGET_UNREACHABLE");
    assert_eq!(status.get_details_bad_request().unwrap().field_violations[0].field, "string");
}
