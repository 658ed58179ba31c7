//! Orders of an invented instrument: lines, sums, packs, refusals.
#![allow(clippy::unwrap_used, reason = "tests")]

use becket_scale::{
    AsBuilt, Choice, ComputeOptionsDraft, HitchStyle, NoteDraft, Scale, ScaleDraft, SectionDraft,
    WindingDraft, compute,
};
use becket_winding::{Instrument, OrderError, SerialQuantity, WindingOrder, wound_strings};
use becket_wire::{Catalogue, Material, Pack, SizeSeries, WireDraft, standard_wires};
use proptest::prelude::*;

const WOUND: i32 = 20;

fn catalogue() -> Catalogue {
    let mut catalogue = Catalogue::new();
    catalogue.extend(standard_wires(SizeSeries::Inch));
    for (wire_id, diameter_mm) in [("cu-0.50", 0.5), ("cu-1.00", 1.0)] {
        let pack = |label: &str, mass_g| Pack { label: label.to_owned(), mass_g };
        let copper = WireDraft {
            wire_id: wire_id.to_owned(),
            title: String::new(),
            material: Some(Material::Copper),
            diameter_mm,
            size: None,
            density_kg_m3: 8930.0,
            youngs_modulus_gpa: 120.0,
            strength: None,
            packs: vec![pack("500 g coil", 500.0), pack("2 kg coil", 2000.0)],
        };
        catalogue.insert(copper.validate().unwrap());
    }
    catalogue
}

/// 88 notes; up to note 10 two layers and one string, up to note 20 one layer and two strings, then plain.
fn scale(longer_mm: f64) -> ScaleDraft {
    let layer = |wire_id: &str, bare| WindingDraft {
        wire_id: wire_id.to_owned(),
        bare_front_mm: bare,
        bare_back_mm: bare,
    };
    let note = |note: i32| NoteDraft {
        note,
        section_id: "all".to_owned(),
        string_count: if note <= 10 {
            1
        } else if note <= WOUND {
            2
        } else {
            3
        },
        speaking_mm: longer_mm + 1400.0 * (-f64::from(note) / 26.0).exp(),
        front_mm: 100.0,
        back_mm: 120.0,
        wire_id: "mw-in-20".to_owned(),
        windings: match note {
            ..=10 => vec![layer("cu-0.50", 15.0), layer("cu-1.00", 25.0)],
            11..=WOUND => vec![layer("cu-1.00", 20.0)],
            _ => Vec::new(),
        },
        hitch: None,
        pitch_offset_cents: 0.0,
        string_spacing_mm: None,
        allowances: None,
    };
    ScaleDraft {
        model_id: "model".to_owned(),
        revision_id: "a".to_owned(),
        title: "Invented".to_owned(),
        first_note: 1,
        last_note: 88,
        sections: vec![SectionDraft {
            section_id: "all".to_owned(),
            title: "All".to_owned(),
            hitch: Choice::Known(HitchStyle::Tied),
            allowances: None,
        }],
        notes: (1..=88).map(note).collect(),
        allowances: None,
        plate_limit_n: None,
    }
}

/// The order of instruments, each a serial with its scale.
fn order(instruments: &[(&str, Scale)]) -> Result<WindingOrder, OrderError> {
    let catalogue = catalogue();
    let options = ComputeOptionsDraft::default().validate().unwrap();
    let sets: Vec<_> =
        instruments.iter().map(|(_, scale)| compute(scale, &catalogue, &options).unwrap()).collect();
    let instruments: Vec<_> = instruments
        .iter()
        .zip(&sets)
        .map(|((serial_id, scale), set)| Instrument { serial_id, scale, set, catalogue: &catalogue })
        .collect();
    wound_strings(&instruments)
}

fn valid(draft: &ScaleDraft) -> Scale {
    draft.clone().validate(&catalogue()).unwrap()
}

#[test]
fn an_order_has_a_line_for_each_wound_note() {
    let order = order(&[("X-1", valid(&scale(50.0)))]).unwrap();
    let notes: Vec<_> = order.lines.iter().map(|line| line.note).collect();
    assert_eq!(notes, (1..=20).collect::<Vec<i16>>());
    assert_eq!(order.lines.iter().map(|line| line.quantity).sum::<u32>(), 10 + 2 * 10);
    let first = &order.lines[0];
    let (inner, outer) = (&first.layers[0], &first.layers[1]);
    // The layer begins behind the back length and its bare end, a little nearer on the relaxed core.
    assert!((134.0..135.0).contains(&inner.start_from_eye_mm), "{inner:?}");
    assert!((outer.start_from_eye_mm - inner.start_from_eye_mm - 10.0).abs() < 0.1, "{outer:?}");
    assert!(inner.end_from_eye_mm > outer.end_from_eye_mm && outer.end_from_eye_mm > outer.start_from_eye_mm);
    assert!(first.overall_relaxed_mm > inner.end_from_eye_mm, "the free end goes on to the tuning pin");
    // The cut is overall length and eye, rounded up to the step of 1 mm.
    let bare_mm = first.overall_relaxed_mm + first.eye_mm;
    assert!((0.0..1.01).contains(&(first.cut.as_mm() - bare_mm + 0.005)), "{first:?}");
    assert!((outer.outer_diameter_mm - 1.143 - 1.0 - 2.0).abs() < 2e-3, "{outer:?}");
}

#[test]
fn batches_share_lines_and_measured_strings_have_their_own() {
    let standard = valid(&scale(50.0));
    let longer =
        AsBuilt { note: 12, speaking_mm: Some(standard.notes()[11].speaking_mm + 4.0), ..AsBuilt::default() };
    let measured = standard.with_as_built(&[longer], &catalogue()).unwrap().scale;
    let order = order(&[("X-1", standard.clone()), ("X-2", measured), ("X-3", standard)]).unwrap();
    assert_eq!(order.lines.len(), 21);
    let twelves: Vec<_> = order.lines.iter().filter(|line| line.note == 12).collect();
    let serial = |serial_id: &str, quantity| SerialQuantity { serial_id: serial_id.to_owned(), quantity };
    assert_eq!(twelves[0].serials, [serial("X-1", 2), serial("X-3", 2)]);
    assert_eq!(twelves[1].serials, [serial("X-2", 2)]);
    assert!(twelves[1].layers[0].end_from_eye_mm > twelves[0].layers[0].end_from_eye_mm);
    assert_eq!(order.lines[0].quantity, 3);
}

#[test]
fn packs_hold_the_wire() {
    let order = order(&[("X-1", valid(&scale(50.0)))]).unwrap();
    let copper = order.materials.iter().find(|material| material.wire_id.as_str() == "cu-1.00").unwrap();
    let held_g: f64 = copper.packs.iter().map(|pack| pack.mass_g * pack.count as f64).sum();
    assert!(held_g >= copper.mass_kg * 1e3 && held_g < copper.mass_kg * 1e3 + 500.0, "{copper:?}");
    // 8.93 g/cm³ over a round section of 1 mm is 7.0136 g for a metre.
    assert!((copper.mass_kg * 1e3 / copper.length_m - 7.0136).abs() < 0.01, "{copper:?}");
}

#[test]
fn an_instrument_without_wound_strings_is_refused() {
    let mut plain = scale(50.0);
    plain.notes.iter_mut().for_each(|note| note.windings.clear());
    let refused = order(&[("X-1", valid(&scale(50.0))), ("X-2", valid(&plain))]).unwrap_err();
    assert_eq!(refused, OrderError::NothingWound { serial_id: "X-2".to_owned() });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whoever adds up the lines finds the sums, and every string is there once.
    #[test]
    fn sums_are_sums_of_lines(lengths_mm in proptest::collection::vec(40.0..90.0_f64, 1..4)) {
        let names = ["X-1", "X-2", "X-3"];
        let instruments: Vec<_> =
            names.iter().zip(&lengths_mm).map(|(name, mm)| (*name, valid(&scale(*mm)))).collect();
        let order = order(&instruments).unwrap();
        let strings: u32 = order.lines.iter().map(|line| line.quantity).sum();
        prop_assert_eq!(strings as usize, 30 * instruments.len());
        for line in &order.lines {
            prop_assert_eq!(line.quantity, line.serials.iter().map(|serial| serial.quantity).sum::<u32>());
        }
        for material in &order.materials {
            let (mut length_mm, mut mass_g) = (0.0, 0.0);
            for line in &order.lines {
                let quantity = f64::from(line.quantity);
                if line.core_wire_id == material.wire_id {
                    length_mm += quantity * line.cut.as_mm();
                    mass_g += quantity * line.core_mass_g;
                }
                for layer in line.layers.iter().filter(|layer| layer.wire_id == material.wire_id) {
                    length_mm += quantity * layer.wire_length_mm;
                    mass_g += quantity * layer.wire_mass_g;
                }
            }
            prop_assert!((material.length_m - length_mm / 1e3).abs() < 1e-3);
            prop_assert!((material.mass_kg - mass_g / 1e3).abs() < 1e-6);
        }
    }
}
