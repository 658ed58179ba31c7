//! An instrument to test with, and the catalogue for it. Also compiled into the benchmark.

use std::f64::consts::PI;

use becket_scale::{Choice, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};
use becket_wire::{
    Catalogue, Material, SizeSeries, StrengthDraft, StrengthKind, Wire, WireDraft, standard_wires,
};

/// Speaking lengths in mm of a small grand, keys 27 to 88, as measured and posted on a technicians' forum in 2019.
pub(crate) const SMALL_GRAND_MM: [u16; 62] = [
    1009, 1001, 990, 979, 965, 948, 922, 900, 847, 798, 756, 715, 678, 640, 607, 572, 542, 511, 482, 456,
    432, 412, 392, 374, 355, 340, 327, 312, 290, 274, 259, 245, 232, 219, 208, 196, 186, 176, 164, 156, 149,
    142, 135, 129, 123, 114, 109, 102, 95, 90, 85, 80, 75, 71, 68, 64, 61, 58, 56, 54, 52, 50,
];

/// Plain wire by the first note that has it; sizes of the millimetre series. Runs within a section are even.
const PLAIN: [(i32, &str); 11] = [
    (27, "mw-mm-21"),
    (33, "mw-mm-20"),
    (37, "mw-mm-19"),
    (41, "mw-mm-18"),
    (47, "mw-mm-17.5"),
    (53, "mw-mm-17"),
    (59, "mw-mm-16.5"),
    (65, "mw-mm-16"),
    (71, "mw-mm-15"),
    (77, "mw-mm-14"),
    (83, "mw-mm-13.5"),
];

/// A wire that is not one of the standard series.
pub(crate) fn wire(
    wire_id: &str,
    material: Material,
    diameter_mm: f64,
    strength: Option<StrengthKind>,
) -> Wire {
    let (density_kg_m3, youngs_modulus_gpa) =
        if material.is_winding() { (8930.0, 120.0) } else { (7850.0, 206.0) };
    let strength = strength.map(|kind| StrengthDraft { label: "stated".to_owned(), kind: Some(kind) });
    WireDraft {
        wire_id: wire_id.to_owned(),
        title: String::new(),
        material: Some(material),
        diameter_mm,
        size: None,
        density_kg_m3,
        youngs_modulus_gpa,
        strength,
        packs: Vec::new(),
    }
    .validate()
    .unwrap()
}

/// Both standard series, copper of 0.15 to 2.00 mm in steps of 0.05, and a hexagonal core.
pub(crate) fn catalogue() -> Catalogue {
    let mut catalogue = Catalogue::new();
    catalogue.extend(standard_wires(SizeSeries::Millimetre));
    catalogue.extend(standard_wires(SizeSeries::Inch));
    for step in 3..=40 {
        catalogue.insert(wire(&copper(step), Material::Copper, f64::from(step) * 0.05, None));
    }
    let stated = Some(StrengthKind::Stated { tensile_mpa: 2100.0 });
    catalogue.insert(wire("hex-1.00", Material::SteelHexagonal, 1.0, stated));
    catalogue
}

fn copper(step: u8) -> String {
    format!("cu-{:.2}", f64::from(step) * 0.05)
}

/// An invented small grand: the measured lengths for keys 27 to 88, and a wound bass below.
pub(crate) fn small_grand() -> ScaleDraft {
    let section = |section_id: &str| SectionDraft {
        section_id: section_id.to_owned(),
        title: section_id.to_owned(),
        hitch: Choice::Known(HitchStyle::LoopedBack),
        allowances: None,
    };
    ScaleDraft {
        model_id: "small".to_owned(),
        revision_id: "a".to_owned(),
        title: "A small grand".to_owned(),
        first_note: 1,
        last_note: 88,
        sections: ["bass", "tenor", "treble", "high"].map(section).to_vec(),
        notes: (1..=88).map(|note| if note < 27 { bass(note) } else { plain(note) }).collect(),
        allowances: None,
        plate_limit_n: Some(200_000.0),
    }
}

/// The row of a note.
pub(crate) fn row(scale: &mut ScaleDraft, note: i32) -> &mut NoteDraft {
    scale.notes.iter_mut().find(|row| row.note == note).unwrap()
}

fn plain(note: i32) -> NoteDraft {
    let length = SMALL_GRAND_MM[usize::try_from(note - 27).unwrap()];
    let section_id = match note {
        27..=52 => "tenor",
        53..=70 => "treble",
        _ => "high",
    };
    let wire_id = PLAIN.iter().rev().find(|(from, _)| *from <= note).unwrap().1;
    NoteDraft {
        note,
        section_id: section_id.to_owned(),
        string_count: 3,
        speaking_mm: length.into(),
        front_mm: 90.0,
        back_mm: f64::from(length) * 0.1 + 60.0,
        wire_id: wire_id.to_owned(),
        windings: Vec::new(),
        hitch: None,
        pitch_offset_cents: 0.0,
        string_spacing_mm: None,
        allowances: None,
    }
}

/// A wound note whose copper is chosen so that its tension comes near a line that falls from 1000 N to 575 N.
fn bass(note: i32) -> NoteDraft {
    let single = note <= 10;
    let (wire_id, core_mm) = if single { ("mw-mm-22", 1.225) } else { ("mw-mm-18", 1.025) };
    let target_n = 1000.0 - 17.0 * f64::from(note - 1);
    let speaking_mm = 1160.0 - 9.0 * f64::from(note - 1);
    let velocity_m_s = 2.0 * speaking_mm * 1e-3 * 440.0 * (f64::from(note - 49) / 12.0).exp2();
    let winding_g_m = target_n / velocity_m_s.powi(2) * 1e3 - 7.850 * PI / 4.0 * core_mm * core_mm;
    // w·(core + w) = winding / (ρ·π²/4), solved for w.
    let product = winding_g_m / (8.930 * PI * PI / 4.0);
    let wire_mm = (core_mm * core_mm / 4.0 + product).sqrt() - core_mm / 2.0;
    let step = (wire_mm / 0.05).round().clamp(3.0, 40.0);
    let step = (3..=40).find(|k| f64::from(*k) == step).unwrap();
    NoteDraft {
        note,
        section_id: "bass".to_owned(),
        string_count: if single { 1 } else { 2 },
        speaking_mm,
        front_mm: 110.0,
        back_mm: 150.0,
        wire_id: wire_id.to_owned(),
        windings: vec![WindingDraft { wire_id: copper(step), bare_front_mm: 20.0, bare_back_mm: 15.0 }],
        hitch: None,
        pitch_offset_cents: 0.0,
        string_spacing_mm: None,
        allowances: None,
    }
}
