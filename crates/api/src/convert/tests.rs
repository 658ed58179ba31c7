//! Round trips and faults of the conversions.

use becket_floor::{self as floor, CoilId, ListId, LotId, PieceId, SerialId, StationId, WireId};
use becket_scale::{Choice, ComputeOptionsDraft, ScaleDraft};
use becket_units::Um;
use becket_wire::WireDraft;
use expect_test::{Expect, expect};
use proptest::option::of as maybe;
use proptest::prelude::*;
use prost_types::Timestamp;

use super::*;
use crate::cutting::{self, CutStep, LevelReport, PlanPolicy, new_coil as amounts};
use crate::stringing::{
    Allowances, AsBuilt, ComputeOptions, Job, Note, Pack, Piece, Scale, Section, SizeNumber, StrengthBasis,
    StrengthPoint, StrengthPowerLaw, StrengthStated, StrengthTable, StringSet, Winding, Wire,
    strength_basis::Basis,
};

fn check(faults: &[Fault], expected: &Expect) {
    let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
    expected.assert_eq(&lines.join("\n"));
}

fn number() -> impl Strategy<Value = f64> {
    proptest::num::f64::NORMAL | proptest::num::f64::ZERO
}

fn text() -> impl Strategy<Value = String> {
    ".{0,8}"
}

fn basis() -> impl Strategy<Value = Option<Basis>> {
    let point = (number(), number())
        .prop_map(|(diameter_mm, tensile_mpa)| StrengthPoint { diameter_mm, tensile_mpa });
    maybe(prop_oneof![
        proptest::collection::vec(point, 0..4).prop_map(|points| Basis::Table(StrengthTable { points })),
        (number(), number()).prop_map(|(a_mpa, m)| Basis::PowerLaw(StrengthPowerLaw { a_mpa, m })),
        number().prop_map(|tensile_mpa| Basis::Stated(StrengthStated { tensile_mpa })),
    ])
}

prop_compose! {
    fn wire()(
        wire_id in text(), title in text(), material in 0..=6, diameter_mm in number(), density_kg_m3 in number(),
        youngs_modulus_gpa in number(), size in maybe((0..=2, number())), strength in maybe((text(), basis())),
        packs in proptest::collection::vec((text(), number()), 0..3),
    ) -> Wire {
        Wire {
            wire_id, title, material, diameter_mm, density_kg_m3, youngs_modulus_gpa,
            size: size.map(|(series, number)| SizeNumber { series, number }),
            strength: strength.map(|(label, basis)| StrengthBasis { label, basis }),
            packs: packs.into_iter().map(|(label, mass_g)| Pack { label, mass_g }).collect(),
            ..Wire::default()
        }
    }
}

prop_compose! {
    fn allowances()(
        a in maybe(number()), b in maybe(number()), c in maybe(number()), d in maybe(number()), e in maybe(number()),
        f in maybe(number()), g in maybe(number()), h in maybe(number()),
    ) -> Allowances {
        Allowances {
            tuning_pin_diameter_mm: a, turns: b, becket_mm: c, hitch_pin_diameter_mm: d, eye_mm: e, working_mm: f,
            cut_step_mm: g, winding_finish_turns: h,
        }
    }
}

prop_compose! {
    fn note()(
        (note, string_count, hitch) in any::<(i32, i32, Option<i32>)>(), section_id in text(), wire_id in text(),
        (speaking_mm, front_mm, back_mm, pitch_offset_cents) in (number(), number(), number(), number()),
        windings in proptest::collection::vec((text(), number(), number()), 0..3), allowances in maybe(allowances()),
        string_spacing_mm in maybe(number()),
    ) -> Note {
        let winding =
            |(wire_id, bare_front_mm, bare_back_mm)| Winding { wire_id, bare_front_mm, bare_back_mm };
        Note {
            note, section_id, string_count, speaking_mm, front_mm, back_mm, wire_id,
            windings: windings.into_iter().map(winding).collect(),
            hitch, pitch_offset_cents, allowances, string_spacing_mm,
        }
    }
}

prop_compose! {
    fn scale()(
        (model_id, revision_id, title) in (text(), text(), text()), (first_note, last_note) in any::<(i32, i32)>(),
        sections in proptest::collection::vec((text(), text(), any::<i32>(), maybe(allowances())), 0..3),
        notes in proptest::collection::vec(note(), 0..4), allowances in maybe(allowances()),
        plate_limit_n in maybe(number()),
    ) -> Scale {
        let section = |(section_id, title, hitch, allowances)| Section { section_id, title, hitch, allowances };
        Scale {
            model_id, revision_id, title, first_note, last_note,
            sections: sections.into_iter().map(section).collect(),
            notes, allowances, plate_limit_n,
            ..Scale::default()
        }
    }
}

proptest! {
    #[test]
    fn a_wire_comes_back(wire in wire()) {
        prop_assert_eq!(&Wire::from(&WireDraft::from(&wire)), &wire);
    }

    /// Numbers that stand for no style come back too: the domain must be able to say what was given.
    #[test]
    fn a_scale_comes_back(scale in scale()) {
        prop_assert_eq!(&Scale::from(&ScaleDraft::from(&scale)), &scale);
    }

    #[test]
    fn options_come_back(
        a4_hz in maybe(number()), pitch_basis: Option<i32>, load_share_limit in maybe(number()),
        string_tension_limit_n in maybe(number()), tension_step_limit in maybe(number()),
        clearance_limit_mm in maybe(number()), (string_model, winding_model, partial_count) in any::<(Option<i32>, Option<i32>, Option<i32>)>(),
        include_partials: Option<bool>,
    ) {
        let options = ComputeOptions {
            a4_hz, pitch_basis, load_share_limit, string_tension_limit_n, tension_step_limit, string_model,
            winding_model, partial_count, include_partials, clearance_limit_mm,
        };
        prop_assert_eq!(ComputeOptions::from(&ComputeOptionsDraft::from(&options)), options);
    }

    #[test]
    fn measurements_come_back(note: i32, speaking_mm in maybe(number()), wire_id in maybe(text())) {
        let as_built = AsBuilt { note, speaking_mm, wire_id, ..AsBuilt::default() };
        prop_assert_eq!(&AsBuilt::from(&becket_scale::AsBuilt::from(&as_built)), &as_built);
    }

    #[test]
    fn times_come_back(us: i64) {
        let time = timestamp(us);
        prop_assert!((0..1_000_000_000).contains(&time.nanos));
        prop_assert_eq!(micros(&time), Some(us));
    }

    #[test]
    fn no_timestamp_panics(seconds: i64, nanos: i32) {
        let _ = micros(&Timestamp { seconds, nanos });
    }

    #[test]
    fn policies_come_back(
        unison in 1..=3, order in 1..=3, trim in 0_i64..=1_000_000, margin in 0_i64..=10_000_000, wound_cores: bool,
        sds in 0_u16..=10_000,
        levels in Just(becket_planner::LevelOrder::default().levels().to_vec()).prop_shuffle(),
        budget in proptest::option::of(1..=3_600_000_u32), rounds in 0..=1_000_000_u32,
        window in proptest::option::of(0..=100_000_u32), fifo: bool,
    ) {
        let policy = floor::PlanPolicy {
            unison_rule: Known::known(unison).unwrap(),
            end_trim: Um::new(trim),
            coil_margin: Um::new(margin),
            coil_margin_sds: floor::Sds::of_thousandths(sds).unwrap(),
            piece_order: Known::known(order).unwrap(),
            wound_cores,
            level_order: becket_planner::LevelOrder::new(levels.try_into().unwrap()).unwrap(),
            time_budget_ms: budget,
            due_window: window,
            fifo,
            effort: becket_planner::Effort { rounds_per_coil: rounds },
        };
        prop_assert_eq!(read_plan_policy(Some(&PlanPolicy::from(&policy))), Ok(policy));
    }
}

#[test]
fn every_number_of_an_enum_has_its_value() {
    fn all<T: Known + std::fmt::Debug + PartialEq>(count: i32) {
        assert_eq!(T::known(0), None);
        for number in 1..=count {
            assert_eq!(T::known(number).map(Known::number), Some(number));
        }
        assert_eq!((T::known(count + 1), T::known(-1)), (None, None));
        assert_eq!(T::allowed().split(", ").count(), usize::try_from(count).unwrap());
    }
    all::<becket_floor::EvidenceState>(4);
    all::<becket_wire::Material>(6);
    all::<becket_wire::SizeSeries>(2);
    all::<becket_scale::HitchStyle>(2);
    all::<becket_scale::PitchBasis>(2);
    all::<becket_scale::PieceKind>(3);
    all::<becket_scale::Severity>(3);
    all::<becket_scale::StringModel>(2);
    all::<becket_scale::WindingModel>(2);
    all::<becket_scale::WarningCode>(8);
    all::<floor::PieceKind>(3);
    all::<floor::CoilState>(5);
    all::<floor::CutListState>(4);
    all::<floor::StepKind>(3);
    all::<floor::StepState>(3);
    all::<floor::TailUse>(2);
    all::<floor::SpoilCause>(2);
    all::<floor::Unison>(3);
    all::<floor::PieceOrder>(3);
}

#[test]
fn a_style_that_is_none_reaches_the_domain() {
    let section = Section { hitch: 9, ..Section::default() };
    let draft = ScaleDraft::from(&Scale { sections: vec![section], ..Scale::default() });
    assert_eq!(draft.sections[0].hitch, Choice::Unknown(9));
}

#[test]
fn etags() {
    let stamps = Stamps { version: 12, create_us: 1, update_us: 2 };
    assert_eq!(etag_version(&stamps.etag()), Some(12));
    for foreign in ["", "0", "-1", "+12", "012", "12 ", "abc", "99999999999999999999"] {
        assert_eq!(etag_version(foreign), None, "{foreign:?}");
    }
}

#[test]
fn faults_of_a_job() {
    let job = Job {
        serial_id: "C27 0107".to_owned(),
        revision_id: "A".to_owned(),
        due_date: "2026-02-30".to_owned(),
        options: Some(ComputeOptions {
            a4_hz: Some(f64::NAN),
            pitch_basis: Some(0),
            ..ComputeOptions::default()
        }),
        ..Job::default()
    };
    check(
        &within(job_faults(&job), "job"),
        &expect![[r#"
        job.serial_id: "C27 0107" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        job.model_id: "" is not allowed; allowed: 1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit
        job.revision_id: "A" is not allowed; allowed: 1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit
        job.due_date: "2026-02-30" is not allowed; allowed: a day in ISO 8601, such as 2026-11-30
        job.station_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        job.options.a4_hz: "NaN" is not allowed; allowed: 380 to 500 Hz
        job.options.pitch_basis: "0" is not allowed; allowed: stiffness-free or first partial, or no value for the default"#]],
    );
    let sound = Job {
        serial_id: "C27-0107".to_owned(),
        model_id: "concert-270".to_owned(),
        revision_id: "a".to_owned(),
        due_date: "2026-12-01".to_owned(),
        station_id: "bench-1".to_owned(),
        ..Job::default()
    };
    assert_eq!(job_faults(&sound), []);
}

fn received() -> cutting::NewCoil {
    cutting::NewCoil {
        coil_id: "R1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        lot_id: "H1".to_owned(),
        received_date: "2026-02-03".to_owned(),
        amount: Some(amounts::Amount::ReceivedLengthMm(81_000.0)),
        remaining_length_mm: Some(780.0),
        length_sd_mm: Some(12.5),
    }
}

#[test]
fn a_coil_comes_in_and_is_shown() {
    let stock = read_new_coil(&received(), 3.8).unwrap().receive().unwrap();
    let shown = coil(&stock, Um::new(5), 2, &Stamps { version: 3, create_us: 1_500_000, update_us: -1 });
    let expected = cutting::Coil {
        coil_id: "R1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        lot_id: "H1".to_owned(),
        received_date: "2026-02-03".to_owned(),
        state: cutting::CoilState::Opened.into(),
        received_um: 81_000_000,
        remaining_um: 780_000,
        cut_um: 0,
        scrapped_um: 0,
        adjusted_um: 780_000 - 81_000_000,
        reserved_um: 5,
        linear_density_g_m: 3.8,
        etag: "3".to_owned(),
        create_time: Some(Timestamp { seconds: 1, nanos: 500_000_000 }),
        update_time: Some(Timestamp { seconds: -1, nanos: 999_999_000 }),
        remaining_sd_mm: 12.5,
        likely_density_g_m: 3.8,
        held_evidence_count: 2,
        last_evidence: None,
    };
    assert_eq!(shown, expected);
}

/// Every value of the ledger has its place.
#[test]
fn evidence_is_shown() {
    let stock = read_new_coil(&received(), 3.8).unwrap().receive().unwrap();
    let scales = read_scales(&cutting::WeighCoilRequest {
        gross_g: 3.9,
        tare_g: 1.5,
        resolution_g: Some(0.5),
        ..cutting::WeighCoilRequest::default()
    });
    assert_eq!((scales.resolution_g, scales.tare_sd_g), (0.5, 0.0075));
    let finding = stock.weigh(&scales, false).unwrap().finding;
    let line = EvidenceLine {
        number: 7,
        evidence: &stock.held(&finding),
        list_id: None,
        note: "why",
        actor: "anna",
        created_us: 1_500_000,
        decided: Some(("bert", 2_000_000)),
    };
    let shown = coil_evidence(&line);
    let expected = cutting::CoilEvidence {
        evidence_number: 7,
        kind: cutting::EvidenceKind::Weighing.into(),
        state: cutting::EvidenceState::from(finding.state).into(),
        length_um: finding.length.get(),
        length_sd_mm: finding.sd_mm,
        deviation_sds: Some(finding.deviation_sds),
        remaining_before_um: 780_000,
        remaining_before_sd_mm: 12.5,
        remaining_after_um: 780_000,
        remaining_after_sd_mm: 12.5,
        gross_g: Some(3.9),
        tare_g: Some(1.5),
        resolution_g: Some(0.5),
        tare_sd_g: Some(0.0075),
        accepted_number: 0,
        list_id: String::new(),
        note: "why".to_owned(),
        actor: "anna".to_owned(),
        create_time: Some(Timestamp { seconds: 1, nanos: 500_000_000 }),
        decided_by: "bert".to_owned(),
        decide_time: Some(Timestamp { seconds: 2, nanos: 0 }),
    };
    assert_eq!(shown, expected);
    let mut accepted = stock.receipt();
    accepted.kind = floor::EvidenceKind::Acceptance(3);
    let list_id = floor::ListId::numbered(2);
    let line = EvidenceLine { evidence: &accepted, list_id: Some(&list_id), decided: None, ..line };
    let shown = coil_evidence(&line);
    assert_eq!((shown.accepted_number, shown.list_id.as_str()), (3, "L-0002"));
    assert_eq!((shown.gross_g, shown.deviation_sds, shown.decide_time), (None, None, None));
}

#[test]
fn faults_of_the_floor() {
    let coil = cutting::NewCoil { coil_id: "a b".to_owned(), ..cutting::NewCoil::default() };
    check(
        &within(read_new_coil(&coil, 3.8).unwrap_err(), "coils[2]"),
        &expect![[r#"
        coils[2].coil_id: "a b" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].wire_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].lot_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].received_mass_g: "nothing" is not allowed; allowed: a mass, or a length in received_length_mm
        coils[2].received_date: "" is not allowed; allowed: a day in ISO 8601, such as 2026-11-30, of the years 1950 to 2200"#]],
    );

    let bad = cutting::Station { reel_positions: -1, trays: 1001, ..cutting::Station::default() };
    check(
        &read_station(&bad).unwrap_err(),
        &expect![[r#"
        station_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        reel_positions: "-1" is not allowed; allowed: 1 to 64
        trays: "1001" is not allowed; allowed: 1 to 1000"#]],
    );

    let bad = cutting::StockRule { wire_id: String::new(), smallest_remnant_mm: f64::INFINITY };
    check(
        &read_stock_rule(&bad).unwrap_err(),
        &expect![[r#"
        smallest_remnant_mm: "inf" is not allowed; allowed: 0 to 100000 mm
        wire_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit"#]],
    );

    let bad = PlanPolicy {
        unison_rule: Some(0),
        end_trim_mm: Some(1000.0001),
        coil_margin_mm: Some(-0.0001),
        piece_order: Some(4),
        wound_cores: None,
        level_order: vec![4, 5, 6, 6],
        time_budget_ms: Some(0),
        search_rounds: Some(-1),
        due_window: Some(100_001),
        fifo: None,
        coil_margin_sds: Some(10.001),
    };
    check(
        &within(read_plan_policy(Some(&bad)).unwrap_err(), "policy"),
        &expect![[r#"
            policy.unison_rule: "unspecified" is not allowed; allowed: one of hard, preferred, off
            policy.end_trim_mm: "1000.0001" is not allowed; allowed: 0 to 1000 mm
            policy.coil_margin_mm: "-0.0001" is not allowed; allowed: 0 to 10000 mm
            policy.coil_margin_sds: "10.001" is not allowed; allowed: 0 to 10 standard deviations
            policy.piece_order: "4" is not allowed; allowed: one of by_length, up_the_scale, down_the_scale
            policy.level_order: "4 levels" is not allowed; allowed: scrap, coils_opened, reel_changes and lots, each once
            policy.time_budget_ms: "0" is not allowed; allowed: 1 to 3600000
            policy.search_rounds: "-1" is not allowed; allowed: 0 to 1000000
            policy.due_window: "100001" is not allowed; allowed: 0 to 100000"#]],
    );
    assert_eq!(read_plan_policy(None), Ok(floor::PlanPolicy::default()));
    assert_eq!(read_plan_policy(Some(&PlanPolicy::default())), Ok(floor::PlanPolicy::default()));
}

#[test]
fn a_station_comes_back() {
    let shown = cutting::Station {
        station_id: "bench-1".to_owned(),
        title: "Bench".to_owned(),
        reel_positions: 4,
        trays: 9,
        ..cutting::Station::default()
    };
    let mut domain = read_station(&shown).unwrap();
    domain.mounted.insert(2, CoilId::new("R1").unwrap());
    let again = super::station(&domain, &Stamps { version: 1, create_us: 0, update_us: 0 });
    assert_eq!((again.reel_positions, again.trays, again.title.as_str()), (4, 9, "Bench"));
    assert_eq!(again.mounted, [cutting::MountedReel { reel_position: 2, coil_id: "R1".to_owned() }]);
}

fn step() -> floor::Step {
    floor::Step {
        step_number: 7,
        kind: floor::StepKind::Cut,
        state: floor::StepState::Spoiled,
        coil_id: CoilId::new("R1").unwrap(),
        lot_id: LotId::new("H1").unwrap(),
        wire_id: WireId::new("mw-in-13").unwrap(),
        reel_position: 2,
        piece: Some(floor::StepPiece {
            serial_id: SerialId::new("C27").unwrap(),
            piece_id: PieceId::new("52.3+53.1").unwrap(),
            kind: floor::PieceKind::LoopedPair,
            notes: vec![52, 53],
            length: Um::new(1_000),
            recut: true,
        }),
        length: Um::new(1_500),
        remaining_after: Um::new(9_000),
        tail_use: None,
        opens_coil: false,
        spoil_cause: Some(floor::SpoilCause::Broken),
        done_us: Some(2_000_001),
        done_by: "anna".to_owned(),
    }
}

#[test]
fn a_list_is_shown() {
    let shown = CutStep::from(&step());
    let expected = CutStep {
        step_number: 7,
        kind: cutting::StepKind::Cut.into(),
        state: cutting::StepState::Spoiled.into(),
        coil_id: "R1".to_owned(),
        lot_id: "H1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        reel_position: 2,
        serial_id: "C27".to_owned(),
        piece_id: "52.3+53.1".to_owned(),
        piece_kind: crate::stringing::PieceKind::LoopedPair.into(),
        length_um: 1_500,
        remaining_after_um: 9_000,
        tail_use: 0,
        recut: true,
        spoil_cause: Some(cutting::SpoilCause::Broken.into()),
        done_time: Some(Timestamp { seconds: 2, nanos: 1_000 }),
        done_by: "anna".to_owned(),
    };
    assert_eq!(shown, expected);

    let list = floor::NewCutList {
        station_id: StationId::new("bench-1").unwrap(),
        serials: Vec::new(),
        policy: floor::PlanPolicy::default(),
        steps: vec![step()],
        shortages: Vec::new(),
        quality: becket_planner::Quality {
            levels: vec![becket_planner::LevelReport {
                level: becket_planner::Level::Scrap,
                value: 20,
                lower_bound: 10,
                proven: false,
            }],
            stopped: true,
        },
    }
    .named(ListId::numbered(7));
    let stamps = Stamps { version: 99, create_us: 0, update_us: 0 };
    let shown = cut_list(&list, &stamps);
    assert_eq!((shown.list_id.as_str(), shown.etag.as_str(), shown.steps.len()), ("L-0007", "1", 1));
    assert_eq!(shown.state, i32::from(cutting::CutListState::Planned));
    assert_eq!((shown.start_time, shown.figures.unwrap().scrap_um), (None, 1_500));
    let scrap = LevelReport { level: 4, value: 20, lower_bound: 10, proven: false };
    assert_eq!((shown.levels, shown.search_stopped), (vec![scrap], true));
    assert_eq!(cut_list_header(&list.header, &stamps).steps, []);
}

#[test]
fn needs_of_a_serial() {
    let piece = |piece_id: &str, strings: &[&str], kind: i32, length_um| Piece {
        piece_id: piece_id.to_owned(),
        kind,
        wire_id: "mw-in-13".to_owned(),
        string_ids: strings.iter().map(|&id| id.to_owned()).collect(),
        length_um,
        ..Piece::default()
    };
    let set = StringSet {
        serial_id: "C27".to_owned(),
        digest: "ab".to_owned(),
        pieces: vec![
            piece("52.1+52.2", &["52.1", "52.2"], 1, 900),
            piece("52.3+53.1", &["52.3", "53.1"], 1, 800),
        ],
        ..StringSet::default()
    };
    let need = serial_need(&set, "2026-12-01").unwrap();
    assert_eq!((need.serial.serial_id.as_str(), need.serial.set_digest.as_str()), ("C27", "ab"));
    let notes: Vec<&[i32]> = need.pieces.iter().map(|piece| piece.notes.as_slice()).collect();
    assert_eq!(notes, [&[52][..], &[52, 53]]);
    assert_eq!(need.pieces[1].length, Um::new(800));

    let bad = StringSet {
        pieces: vec![
            piece("52.1", &["52.1"], 0, 900),
            piece("5/2", &["52.1"], 2, 1),
            piece("1.1", &["x"], 2, 1),
            piece("1.1", &["1.1"], 2, 0),
        ],
        ..StringSet::default()
    };
    check(
        &serial_need(&bad, "2026-12-01").unwrap_err(),
        &expect![[r#"
        serial_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        pieces[0].kind: "unspecified" is not allowed; allowed: one of looped_pair, tied_single, wound_core
        pieces[1].piece_id: "5/2" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-', '_' and '+'
        pieces[2].string_ids[0]: "x" is not allowed; allowed: note (-8 to 88), dot, number of the string (1 to 4), such as "52.3"
        pieces[3].length_um: "0" is not allowed; allowed: more than 0"#]],
    );
}

#[test]
fn quantities_carry_the_codes_of_the_recommendation() {
    let quantity = |value, unit_code: &str| cutting::Quantity { value, unit_code: unit_code.to_owned() };
    assert_eq!(metres(Um::new(1_234_567)), quantity(1.234_567, "MTR"));
    assert_eq!(kilograms(453.6), quantity(0.4536, "KGM"));
    assert_eq!(pieces(230), quantity(230.0, "C62"));
}

#[test]
fn rules_come_back() {
    let rule = cutting::StockRule { wire_id: "mw-in-13".to_owned(), smallest_remnant_mm: 340.5 };
    let (wire_id, length) = read_stock_rule(&rule).unwrap();
    assert_eq!(length, Um::new(340_500));
    assert_eq!(stock_rule(&wire_id, length), rule);
}

#[test]
fn a_missing_message_is_a_fault() {
    assert_eq!(given("scale", Some(&1)), Ok(&1));
    check(
        &[given::<Scale>("scale", None).unwrap_err()],
        &expect![[r#"scale: "nothing" is not allowed; allowed: a value; it must be given"#]],
    );
}
