//! Drafts, faults, standard wires and the catalogue.

#![allow(clippy::unwrap_used, reason = "tests")]

use becket_units::Fault;
use becket_wire::{
    Catalogue, Material, Pack, SizeDraft, SizeSeries, StrengthDraft, StrengthKind, StrengthPoint, Wire,
    WireDraft, WireId, standard_wires,
};
use proptest::prelude::*;

fn good() -> WireDraft {
    WireDraft {
        wire_id: "mine-16".into(),
        title: "Mine".into(),
        material: Some(Material::SteelRound),
        diameter_mm: 0.94,
        size: Some(SizeDraft { series: Some(SizeSeries::Inch), number: 16.0 }),
        density_kg_m3: 7850.0,
        youngs_modulus_gpa: 206.0,
        strength: Some(StrengthDraft {
            label: "Certificate".into(),
            kind: Some(StrengthKind::Stated { tensile_mpa: 2200.0 }),
        }),
        packs: vec![
            Pack { label: "500 g coil".into(), mass_g: 500.0 },
            Pack { label: "1 kg coil".into(), mass_g: 1000.0 },
        ],
    }
}

fn fields(draft: &WireDraft) -> Vec<String> {
    draft.validate().unwrap_err().into_iter().map(|fault: Fault| fault.field).collect()
}

fn changed(change: impl FnOnce(&mut WireDraft)) -> WireDraft {
    let mut draft = good();
    change(&mut draft);
    draft
}

#[test]
fn a_good_draft_becomes_a_wire_and_comes_back() {
    let wire = good().validate().unwrap();
    assert_eq!(wire.to_draft(), good());
    assert_eq!(wire.to_draft().validate().unwrap(), wire);
    assert!((wire.breaking_load_n().unwrap() - 2200.0 * wire.area_mm2()).abs() < 1e-9);
}

#[test]
fn every_fault_is_told_at_once() {
    let faults = WireDraft {
        wire_id: "No 16".into(),
        title: "x".repeat(121),
        material: None,
        diameter_mm: f64::NAN,
        size: Some(SizeDraft { series: None, number: 16.0 }),
        density_kg_m3: f64::INFINITY,
        youngs_modulus_gpa: 0.0,
        strength: Some(StrengthDraft { label: String::new(), kind: None }),
        packs: vec![Pack { label: String::new(), mass_g: -1.0 }],
    };
    let expected = [
        "wire_id",
        "title",
        "material",
        "diameter_mm",
        "size.series",
        "density_kg_m3",
        "youngs_modulus_gpa",
        "strength.label",
        "strength.basis",
        "packs[0].label",
        "packs[0].mass_g",
    ];
    assert_eq!(fields(&faults), expected);
}

#[test]
fn single_faults() {
    let point = |diameter_mm, tensile_mpa| StrengthPoint { diameter_mm, tensile_mpa };
    let kind = |kind| changed(|d| d.strength.as_mut().unwrap().kind = Some(kind));
    let table = |points: &[StrengthPoint]| kind(StrengthKind::Table(points.to_vec()));
    let cases = [
        (changed(|d| d.diameter_mm = 6.001), vec!["diameter_mm", "size.number"]),
        (changed(|d| d.size.as_mut().unwrap().number = 16.2), vec!["size.number"]),
        (changed(|d| d.size.as_mut().unwrap().number = 17.0), vec!["size.number"]),
        (changed(|d| d.strength = None), vec!["strength"]),
        (changed(|d| d.material = Some(Material::Copper)), vec!["size", "strength"]),
        (changed(|d| d.title = "two\nlines".into()), vec!["title"]),
        (changed(|d| d.packs.swap(0, 1)), vec!["packs[1].mass_g"]),
        (changed(|d| d.packs[1].mass_g = 500.0), vec!["packs[1].mass_g"]),
        (changed(|d| d.packs[1].mass_g = f64::NAN), vec!["packs[1].mass_g"]),
        (kind(StrengthKind::Stated { tensile_mpa: f64::NAN }), vec!["strength.stated.tensile_mpa"]),
        (
            kind(StrengthKind::PowerLaw { a_mpa: -1.0, m: 1.1 }),
            vec!["strength.power_law.a_mpa", "strength.power_law.m"],
        ),
        (table(&[point(1.0, 2000.0)]), vec!["strength.table.points"]),
        (table(&[point(1.0, 2000.0), point(1.0, 1900.0)]), vec!["strength.table.points[1].diameter_mm"]),
        (
            table(&[point(0.5, 2000.0), point(0.6, 0.0), point(0.7, 1.0), point(f64::NAN, 1900.0)]),
            vec![
                "strength.table.points[1].tensile_mpa",
                "strength.table.points[2].tensile_mpa",
                "strength.table.points[3].diameter_mm",
            ],
        ),
    ];
    for (draft, expected) in cases {
        assert_eq!(fields(&draft), expected, "{draft:?}");
    }
}

#[test]
fn faults_quote_no_text_without_bound() {
    let draft = changed(|d| {
        d.wire_id = "A".repeat(100_000);
        d.title = "B".repeat(100_000);
        d.strength.as_mut().unwrap().label = "C".repeat(100_000);
        d.packs = vec![Pack { label: "D".repeat(1000), mass_g: 0.0 }; 5000];
    });
    let faults = draft.validate().unwrap_err();
    assert!(faults.len() < 200);
    assert!(faults.iter().all(|fault| fault.value.len() <= 120 && fault.allowed.len() < 200));
}

#[test]
fn winding_wire_needs_no_strength() {
    let copper = changed(|d| {
        d.material = Some(Material::Copper);
        d.density_kg_m3 = 8930.0;
        d.size = None;
        d.strength = None;
    });
    let wire = copper.validate().unwrap();
    assert_eq!((wire.breaking_load_n(), wire.strength()), (None, None));
}

#[test]
fn a_hexagonal_wire_has_the_section_of_a_hexagon() {
    let round = good().validate().unwrap();
    let hex = changed(|d| d.material = Some(Material::SteelHexagonal)).validate().unwrap();
    assert!((hex.area_mm2() / round.area_mm2() - 1.102_66).abs() < 5e-6);
    assert!((hex.second_moment_mm4() / round.second_moment_mm4() - 1.225_18).abs() < 5e-6);
    assert!((hex.linear_density_g_m() / round.linear_density_g_m() - 1.102_66).abs() < 5e-6);
}

#[test]
fn standard_wires_are_all_there() {
    for (series, count) in [(SizeSeries::Inch, 36), (SizeSeries::Millimetre, 27)] {
        let wires = standard_wires(series);
        assert_eq!(wires.len(), count);
        assert_eq!(wires.len(), series.numbers().len());
        assert!(wires.is_sorted_by(|a, b| a.diameter_mm() < b.diameter_mm()));
        for wire in &wires {
            assert_eq!(wire.to_draft().validate().as_ref(), Ok(wire));
            assert_eq!(wire.size().unwrap().series(), series);
        }
    }
    let ids: Vec<_> = standard_wires(SizeSeries::Inch).iter().map(|w| w.wire_id().to_string()).collect();
    assert!(ids.contains(&"mw-in-13.5".into()) && ids.contains(&"mw-in-30".into()));
}

#[test]
fn the_same_number_names_different_wires() {
    let all: Catalogue = SizeSeries::ALL.into_iter().flat_map(standard_wires).collect();
    assert_eq!(all.len(), 63);
    let diameter = |id: &str| all.get(id).map(Wire::diameter_mm);
    assert_eq!(
        (diameter("mw-in-13"), diameter("mw-mm-13"), diameter("mw-13")),
        (Some(0.7874), Some(0.775), None)
    );
    assert!(all.iter().is_sorted_by(|a, b| a.wire_id() < b.wire_id()));
}

#[test]
fn inserting_again_replaces() {
    let mut catalogue = Catalogue::new();
    assert!(catalogue.is_empty());
    let wire = good().validate().unwrap();
    assert_eq!(catalogue.insert(wire.clone()), None);
    let heavier = changed(|d| d.density_kg_m3 = 7900.0).validate().unwrap();
    assert_eq!(catalogue.insert(heavier.clone()), Some(wire));
    assert_eq!((catalogue.len(), catalogue.get("mine-16")), (1, Some(&heavier)));
}

proptest! {
    #[test]
    fn ids_that_are_accepted_are_kept(text in "\\PC{0,70}") {
        match WireId::new(&text) {
            Ok(id) => prop_assert_eq!(id.as_str(), text.as_str()),
            Err(error) => prop_assert!(error.text.chars().count() <= 63),
        }
    }

    #[test]
    fn mass_and_length_are_inverse(length in 0.1..1e7_f64, diameter in 0.05..6.0_f64) {
        let wire = changed(|d| { d.diameter_mm = diameter; d.size = None; }).validate().unwrap();
        prop_assert!((wire.length_mm(wire.mass_g(length)) / length - 1.0).abs() < 1e-12);
    }

    #[test]
    fn any_numbers_give_a_wire_or_faults(
        diameter in any::<f64>(), density in any::<f64>(), modulus in any::<f64>(), number in any::<f64>(),
        rows in prop::collection::vec((any::<f64>(), any::<f64>()), 0..5), mass in any::<f64>(),
    ) {
        let points = rows.into_iter().map(|(diameter_mm, tensile_mpa)| StrengthPoint { diameter_mm, tensile_mpa });
        let draft = changed(|d| {
            (d.diameter_mm, d.density_kg_m3, d.youngs_modulus_gpa) = (diameter, density, modulus);
            d.size = Some(SizeDraft { series: Some(SizeSeries::Inch), number });
            d.strength.as_mut().unwrap().kind = Some(StrengthKind::Table(points.collect()));
            d.packs[0].mass_g = mass;
        });
        match draft.validate() {
            Ok(wire) => prop_assert!(wire.linear_density_g_m().is_finite()),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn strength_of_music_wire_falls_with_diameter(d in 0.6604..2.031_f64, more in 0.0001..0.5_f64) {
        let basis = becket_wire::astm_a228_minimum();
        if let (Some(thin), Some(thick)) = (basis.tensile_mpa(d), basis.tensile_mpa(d + more)) {
            prop_assert!(thick < thin);
            prop_assert!(thick * (d + more).powi(2) > thin * d * d);
        }
    }

    #[test]
    fn a_table_never_leaves_its_rows(
        rows in prop::collection::vec((0.05..6.0_f64, 10.0..1e4_f64), 0..8), d in any::<f64>(),
    ) {
        // Also an unsorted table must not panic, since its fields are open.
        let points = rows.iter().map(|&(diameter_mm, tensile_mpa)| StrengthPoint { diameter_mm, tensile_mpa }).collect();
        let basis = becket_wire::StrengthBasis { label: "x".into(), kind: StrengthKind::Table(points) };
        for diameter in [d, d.abs() % 6.0] {
            if let Some(mpa) = basis.tensile_mpa(diameter) {
                prop_assert!(mpa.is_finite() && mpa > 0.0);
            }
        }
    }
}
