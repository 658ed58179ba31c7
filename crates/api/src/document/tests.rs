//! Tests of files: what people write, and what they are told when it is wrong.

use expect_test::{Expect, expect};
use proptest::prelude::*;
use prost_reflect::Kind;

use super::*;
use crate::cutting::{NewCoil, ScheduleLine, Station, new_coil};
use crate::stringing::{
    Allowances, HitchStyle, Job, Material, Note, Pack, Scale, Section, SizeNumber, SizeSeries, StrengthBasis,
    StrengthPowerLaw, StrengthStated, Winding, Wire, strength_basis::Basis,
};

fn faults<T: std::fmt::Debug>(result: Result<T, DocumentError>, expected: &Expect) {
    expected.assert_eq(&result.unwrap_err().to_string());
}

const SCALE: &str = r#"
model_id = "small-160"   # a comment
revision_id = "a"
first_note = 1
last_note = 88
plate_limit_n = 175000
notes = [
  { note = 1, section_id = "bass", string_count = 1, speaking_mm = 1166, wire_id = "hex-1.20",
    windings = [{ wire_id = "cu-0.90", bare_front_mm = 20, bare_back_mm = -3.5 }], hitch = "tied" },
]

[allowances]
turns = 3

[[sections]]
section_id = "bass"
hitch = "looped_back"
"#;

fn scale() -> Scale {
    Scale {
        model_id: "small-160".to_owned(),
        revision_id: "a".to_owned(),
        first_note: 1,
        last_note: 88,
        plate_limit_n: Some(175_000.0),
        notes: vec![Note {
            note: 1,
            section_id: "bass".to_owned(),
            string_count: 1,
            speaking_mm: 1166.0,
            wire_id: "hex-1.20".to_owned(),
            windings: vec![Winding {
                wire_id: "cu-0.90".to_owned(),
                bare_front_mm: 20.0,
                bare_back_mm: -3.5,
            }],
            hitch: Some(HitchStyle::Tied.into()),
            ..Note::default()
        }],
        allowances: Some(Allowances { turns: Some(3.0), ..Allowances::default() }),
        sections: vec![Section {
            section_id: "bass".to_owned(),
            hitch: HitchStyle::LoopedBack.into(),
            ..Section::default()
        }],
        ..Scale::default()
    }
}

#[test]
fn a_scale_as_a_person_writes_it() {
    assert_eq!(parse_toml::<Scale>(SCALE).unwrap(), scale());
}

#[test]
fn a_scale_as_it_is_written() {
    let text = to_toml(&scale()).unwrap();
    expect![[r#"
        model_id = "small-160"
        revision_id = "a"
        first_note = 1
        last_note = 88
        sections = [
          { section_id = "bass", hitch = "looped_back" },
        ]
        notes = [
          { note = 1, section_id = "bass", string_count = 1, speaking_mm = 1166.0, wire_id = "hex-1.20", windings = [{ wire_id = "cu-0.90", bare_front_mm = 20.0, bare_back_mm = -3.5 }], hitch = "tied" },
        ]
        allowances = { turns = 3.0 }
        plate_limit_n = 175000.0
    "#]]
    .assert_eq(&text);
    assert_eq!(parse_toml::<Scale>(&text).unwrap(), scale());
}

#[test]
fn all_faults_of_a_scale_with_their_lines() {
    let text = SCALE
        .replace("revision_id = \"a\"", "revision = \"a\"")
        .replace("first_note = 1", "first_note = 1.5")
        .replace("last_note = 88", "last_note = 99999999999")
        .replace("175000", "nan")
        .replace("speaking_mm = 1166", "speaking_mm = \"1166\"")
        .replace("\"tied\"", "\"glued\"")
        .replace("turns = 3", "turns = true")
        .replace("hitch = \"looped_back\"", "hitch = 1");
    faults(
        parse_toml::<Scale>(&text),
        &expect![[r#"
            line 3: revision: there is no such key; keys are model_id, revision_id, title, first_note, last_note, sections, notes, allowances, plate_limit_n, state, etag, create_time, update_time, release_time
            line 4: first_note: 1.5 is not allowed; allowed: a whole number
            line 5: last_note: 99999999999 is not allowed; allowed: a whole number of at most 32 bits
            line 6: plate_limit_n: NaN is not allowed; allowed: a number
            line 8: notes[0].speaking_mm: "1166" is not allowed; allowed: a number
            line 9: notes[0].hitch: "glued" is not allowed; allowed: one of looped_back, tied
            line 13: allowances.turns: true is not allowed; allowed: a number
            line 17: sections[0].hitch: 1 is not allowed; allowed: one of looped_back, tied"#]],
    );
}

#[test]
fn broken_texts() {
    faults(
        parse_toml::<Scale>("title = \"a\"\nfirst_note = = 1\n"),
        &expect![[r#"line 2: not TOML: extra `=`, expected nothing"#]],
    );
    faults(
        parse_toml::<Scale>("title = \"a\"\ntitle = \"b\"\n"),
        &expect![[r#"line 2: not TOML: duplicate key"#]],
    );
    faults(
        parse::<Scale>("{\n \"title\": 1,\n \"title\": 2 }", Format::Json),
        &expect![[r#"line 3: not JSON: key "title" is there twice at line 3 column 8"#]],
    );
    faults(parse::<Scale>("[]", Format::Json), &expect![[r#"a list is not allowed; allowed: a table"#]]);
    faults(
        parse::<Scale>("", Format::Json),
        &expect![[r#"line 1: not JSON: EOF while parsing a value at line 1 column 0"#]],
    );
    faults(
        parse::<Scale>("{ \"title\": null, \"first_note\": 18446744073709551615 }", Format::Json),
        &expect![[r#"
            title: null is not allowed; allowed: a text in quotes
            first_note: 18446744073709551615 is not allowed; allowed: a whole number"#]],
    );
}

#[test]
fn one_of_two_ways() {
    let both = r#"coil_id = "R1"
received_mass_g = 453.6
received_length_mm = 81000"#;
    faults(
        parse_toml::<NewCoil>(both),
        &expect![[
            r#"line 3: received_length_mm: only one of received_length_mm and received_mass_g may be given"#
        ]],
    );
}

#[test]
fn dates_and_times_need_no_quotes() {
    let job: Job = parse_toml("due_date = 2026-12-01\ncreate_time = 2026-11-30T08:15:00.000001Z").unwrap();
    assert_eq!(job.due_date, "2026-12-01");
    assert_eq!(job.create_time, Some(prost_types::Timestamp { seconds: 1_796_026_500, nanos: 1_000 }));
    let again: Job = parse_toml(&to_toml(&job).unwrap()).unwrap();
    assert_eq!(again, job);
    // Before 1970 the nanoseconds count forward from the second before.
    let job: Job = parse_toml("create_time = \"1969-12-31T23:59:59.5Z\"").unwrap();
    assert_eq!(job.create_time, Some(prost_types::Timestamp { seconds: -1, nanos: 500_000_000 }));
    faults(
        parse_toml::<Job>("create_time = 2026-11-30"),
        &expect![[
            r#"line 1: create_time: 2026-11-30 is not allowed; allowed: a time such as 2026-11-30T08:15:00Z"#
        ]],
    );
}

#[test]
fn lists_of_messages() {
    let lines: Vec<ScheduleLine> = parse_list(
        "[[lines]]\nmodel_id = \"a\"\ncount = 2\n[[lines]]\nmodel_id = \"b\"\n",
        Format::Toml,
        "lines",
    )
    .unwrap();
    assert_eq!(lines.len(), 2);
    assert_eq!((lines[0].count, lines[1].model_id.as_str()), (2, "b"));
    assert_eq!(
        parse_list::<ScheduleLine>(&list_to_toml("lines", &lines).unwrap(), Format::Toml, "lines").unwrap(),
        lines
    );
    assert_eq!(
        parse_list::<ScheduleLine>(
            &list_to_toml::<ScheduleLine>("lines", &[]).unwrap(),
            Format::Toml,
            "lines"
        )
        .unwrap(),
        []
    );

    faults(
        parse_list::<Wire>("", Format::Toml, "wires"),
        &expect![[r#"wires: the file does not have this list"#]],
    );
    faults(
        parse_list::<Wire>("[[coils]]", Format::Toml, "wires"),
        &expect![[r#"line 1: coils: there is no such key; keys are wires"#]],
    );
    faults(
        parse_list::<Wire>("wires = 3", Format::Toml, "wires"),
        &expect![[r#"line 1: wires: 3 is not allowed; allowed: a list"#]],
    );
    faults(
        parse_list::<Wire>("wires = [3, {}, { packs = [{ mass = 1 }] }]", Format::Toml, "wires"),
        &expect![[r#"
        line 1: wires[0]: 3 is not allowed; allowed: a table
        line 1: wires[2].packs[0].mass: there is no such key; keys are label, mass_g"#]],
    );
}

#[test]
fn coils_and_rules() {
    let text = r#"
[[stock_rules]]
wire_id = "mw-in-13"
smallest_remnant_mm = 340

[[coils]]
coil_id = "R1"
received_mass_g = 453.6
remaining_length_mm = 780
"#;
    let document = parse_coils(text, Format::Toml).unwrap();
    assert_eq!(document.coils[0].amount, Some(new_coil::Amount::ReceivedMassG(453.6)));
    assert_eq!(document.coils[0].remaining_length_mm, Some(780.0));
    assert_eq!(document.stock_rules[0].smallest_remnant_mm, 340.0);

    let bad = text.replace("= 340", "= \"340\"").replace("453.6", "false");
    faults(
        parse_coils(&bad, Format::Toml),
        &expect![[r#"
        line 4: stock_rules[0].smallest_remnant_mm: "340" is not allowed; allowed: a number
        line 8: coils[0].received_mass_g: false is not allowed; allowed: a number"#]],
    );
}

#[test]
fn wires_from_a_table() {
    let text = "\u{feff}wire_id,material,diameter_mm,title,density_kg_m3,youngs_modulus_gpa,size_series,size_number,strength_label,tensile_mpa,pack_masses_g\n\
                mw-13, steel_round, 0.7874,\"No. 13, round\", 7850, 203.4, inch, 13, certificate, 2265, 453.6; 2268\n\
                cu-1, copper, 1, , 8930, 120, , , , ,\n";
    let wires = wires_from_csv(text).unwrap();
    let expected = Wire {
        wire_id: "mw-13".to_owned(),
        title: "No. 13, round".to_owned(),
        material: Material::SteelRound.into(),
        diameter_mm: 0.7874,
        size: Some(SizeNumber { series: SizeSeries::Inch.into(), number: 13.0 }),
        density_kg_m3: 7850.0,
        youngs_modulus_gpa: 203.4,
        strength: Some(StrengthBasis {
            label: "certificate".to_owned(),
            basis: Some(Basis::Stated(StrengthStated { tensile_mpa: 2265.0 })),
        }),
        packs: vec![
            Pack { label: "453.6 g".to_owned(), mass_g: 453.6 },
            Pack { label: "2268 g".to_owned(), mass_g: 2268.0 },
        ],
        ..Wire::default()
    };
    assert_eq!(wires[0], expected);
    assert_eq!((wires[1].size, wires[1].strength.clone(), wires[1].packs.len()), (None, None, 0));
}

#[test]
fn all_faults_of_a_table() {
    let text = "wire_id,material,diameter_mm,density_kg_m3,youngs_modulus_gpa,pack_masses_g\n\
                a,steel,0.7,7850,200,\n\
                b,copper,\"0,7\",inf,,500;x\n\
                c,copper\n\
                \"d\nd\",copper,1,8930,120,500\n\
                e,copper,1,8930,1e999,;1;\n";
    faults(
        wires_from_csv(text),
        &expect![[r#"
        line 2: material: "steel" is not allowed; allowed: one of steel_round, steel_hexagonal, copper, iron, aluminium, brass
        line 3: diameter_mm: "0,7" is not allowed; allowed: a number
        line 3: density_kg_m3: inf is not allowed; allowed: a number
        line 3: youngs_modulus_gpa: the cell is empty
        line 3: pack_masses_g: "x" is not allowed; allowed: a number
        line 4: the row has 2 cells, the header 6
        line 7: youngs_modulus_gpa: inf is not allowed; allowed: a number"#]],
    );
    faults(
        wires_from_csv("wire_id,colour,wire_id\n"),
        &expect![[r#"
        line 1: colour: there is no such column; columns are wire_id, title, material, diameter_mm, size_series, size_number, density_kg_m3, youngs_modulus_gpa, strength_label, tensile_mpa, pack_masses_g
        line 1: wire_id: the column is there twice"#]],
    );
    faults(
        coils_from_csv("coil_id,wire_id\nR1,w\n"),
        &expect![[r#"
        line 1: lot_id: the column is missing
        line 1: received_date: the column is missing"#]],
    );
}

#[test]
fn coils_from_a_table() {
    let text = "coil_id,wire_id,lot_id,received_date,received_mass_g,received_length_mm,remaining_length_mm\n\
                R1,mw-13,H1,2026-02-03,453.6,,780\n\
                R2,mw-13,H1,2026-02-03,,81000,\n";
    let coils = coils_from_csv(text).unwrap();
    assert_eq!(coils[0].amount, Some(new_coil::Amount::ReceivedMassG(453.6)));
    assert_eq!(coils[1].amount, Some(new_coil::Amount::ReceivedLengthMm(81_000.0)));
    assert_eq!((coils[0].remaining_length_mm, coils[1].remaining_length_mm), (Some(780.0), None));
    faults(
        coils_from_csv(&text.replace(",,780", ",1,780")),
        &expect![[
            r#"line 2: received_length_mm: only one of received_length_mm and received_mass_g may be given"#
        ]],
    );
}

/// Files know doubles, 32- and 64-bit integers, booleans, texts, enums, times and messages. If the API gains another
/// kind in a message that is a file, this test asks for it to be read and written.
#[test]
fn every_field_of_a_document_can_be_given() {
    fn walk(descriptor: &prost_reflect::MessageDescriptor) {
        for field in descriptor.fields() {
            assert!(!field.is_map(), "{}", field.full_name());
            match field.kind() {
                Kind::Double | Kind::Int32 | Kind::Int64 | Kind::Bool | Kind::String | Kind::Enum(_) => {}
                Kind::Message(inner) if inner.full_name() == "google.protobuf.Timestamp" => {}
                Kind::Message(inner) => {
                    assert!(!inner.full_name().starts_with("google."), "{}", field.full_name());
                    walk(&inner);
                }
                other => panic!("{}: {other:?}", field.full_name()),
            }
        }
    }
    for descriptor in [
        descriptors::of::<crate::stringing::ImportWiresRequest>(),
        descriptors::of::<Scale>(),
        descriptors::of::<Job>(),
        descriptors::of::<crate::stringing::StringSet>(),
        descriptors::of::<crate::cutting::ReceiveCoilsRequest>(),
        descriptors::of::<Station>(),
        descriptors::of::<crate::cutting::CutList>(),
        descriptors::of::<crate::cutting::EstimateWireRequest>(),
    ] {
        walk(&descriptor.unwrap());
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<i32>().prop_map(f64::from),
        proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL | proptest::num::f64::ZERO,
    ]
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z0-9.-]{0,12}", any::<String>()]
}

prop_compose! {
    fn any_wire()(
        wire_id in text(), title in text(), material in 0..=6, diameter_mm in number(), density_kg_m3 in number(),
        size in proptest::option::of((0..=2, number())), label in text(), a_mpa in number(), m in number(),
        packs in proptest::collection::vec((text(), number()), 0..3), strength in 0..3,
        seconds in proptest::option::of(-62_135_596_800_i64..253_402_000_000), nanos in 0..1_000_000_000,
    ) -> Wire {
        let basis = match strength {
            0 => None,
            1 => Some(Basis::PowerLaw(StrengthPowerLaw { a_mpa, m })),
            _ => Some(Basis::Stated(StrengthStated { tensile_mpa: a_mpa })),
        };
        Wire {
            wire_id, title, material, diameter_mm, density_kg_m3, youngs_modulus_gpa: 0.0,
            size: size.map(|(series, number)| SizeNumber { series, number }),
            strength: Some(StrengthBasis { label, basis }),
            packs: packs.into_iter().map(|(label, mass_g)| Pack { label, mass_g }).collect(),
            etag: String::new(),
            create_time: seconds.map(|seconds| prost_types::Timestamp { seconds, nanos }),
            update_time: None,
        }
    }
}

proptest! {
    #[test]
    fn what_is_written_reads_back(wires in proptest::collection::vec(any_wire(), 1..4)) {
        let text = list_to_toml("wires", &wires).unwrap();
        prop_assert_eq!(&parse_list::<Wire>(&text, Format::Toml, "wires").unwrap(), &wires);
        for wire in wires {
            prop_assert_eq!(&parse::<Wire>(&to_toml(&wire).unwrap(), Format::Toml).unwrap(), &wire);
            prop_assert_eq!(&parse::<Wire>(&to_json(&wire).unwrap(), Format::Json).unwrap(), &wire);
            prop_assert_eq!(&crate::json::from_json::<Wire>(&crate::json::to_json(&wire).unwrap()).unwrap(), &wire);
        }
    }

    #[test]
    fn no_text_panics(text in any::<String>(), noise in "[\\[\\]{}=\",\n a-z0-9_.#;-]{0,200}") {
        for text in [text, noise] {
            let _ = parse::<Scale>(&text, Format::Toml);
            let _ = parse::<Scale>(&text, Format::Json);
            let _ = parse_coils(&text, Format::Toml);
            let _ = wires_from_csv(&text);
            let _ = wires_from_csv(&format!("wire_id,material,diameter_mm,density_kg_m3,youngs_modulus_gpa\n{text}"));
        }
    }
}
