//! A whole instrument as designed, computed by the crate that computes sets.

use becket_design::BareEnds;
use becket_scale::{
    Choice, ComputeOptions, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WarningCode, WindingDraft,
    compute,
};
use becket_wire::Catalogue;

use crate::fixture;

fn row(
    note: i16,
    section_id: &str,
    speaking_mm: f64,
    wire_id: &str,
    windings: Vec<WindingDraft>,
) -> NoteDraft {
    NoteDraft {
        note: note.into(),
        section_id: section_id.to_owned(),
        string_count: if windings.is_empty() { 3 } else { 2 },
        speaking_mm,
        front_mm: 120.0,
        back_mm: 100.0,
        wire_id: wire_id.to_owned(),
        windings,
        hitch: None,
        pitch_offset_cents: 0.0,
        string_spacing_mm: None,
        allowances: None,
    }
}

fn draft(whole: &fixture::Whole) -> ScaleDraft {
    let layer = |wire_id: String, bare: BareEnds| WindingDraft {
        wire_id,
        bare_front_mm: bare.front_mm,
        bare_back_mm: bare.back_mm,
    };
    let wound = whole.wound.notes.iter().zip(&whole.wound_notes).map(|(choice, note)| {
        let bare = [Some(note.bare_ends), note.outer_bare_ends].into_iter().flatten();
        let layers = choice.winding_ids.iter().zip(bare).map(|(id, bare)| layer(id.to_string(), bare));
        row(note.note, "bass", note.speaking_mm, choice.core_id.as_str(), layers.collect())
    });
    let plain = whole.plain.notes.iter().zip(&whole.plain_notes).map(|(choice, note)| {
        row(note.note, note.section_id.as_str(), note.speaking_mm, choice.wire_id.as_str(), Vec::new())
    });
    let section = |section_id: &str| SectionDraft {
        section_id: section_id.to_owned(),
        title: String::new(),
        hitch: Choice::Known(HitchStyle::LoopedBack),
        allowances: None,
    };
    ScaleDraft {
        model_id: "invented".to_owned(),
        revision_id: "a".to_owned(),
        title: String::new(),
        first_note: 1,
        last_note: 88,
        sections: ["bass", "tenor", "treble", "high-treble"].map(section).to_vec(),
        notes: wound.chain(plain).collect(),
        allowances: None,
        plate_limit_n: None,
    }
}

#[test]
fn the_computed_set_has_the_figures_of_the_design() {
    let whole = fixture::Whole::designed();
    let catalogue: Catalogue = fixture::steel().into_iter().chain(fixture::coppers(40)).collect();
    let scale = draft(&whole).validate(&catalogue).unwrap();
    let set = compute(&scale, &catalogue, &ComputeOptions::default()).unwrap();
    let firsts: Vec<_> = set.strings.iter().filter(|string| string.string_id.number() == 1).collect();
    assert_eq!(firsts.len(), 88);
    let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-12, "{a} {b}");
    for (string, choice) in firsts.iter().zip(&whole.wound.notes) {
        near(string.tension_n, choice.tension_n);
        near(string.linear_density_g_m, choice.linear_density_g_m);
        near(string.stress_mpa, choice.stress_mpa);
        near(string.load_share.unwrap(), choice.load_share);
        near(string.inharmonicity, choice.inharmonicity);
        near(string.windings.last().unwrap().outer_diameter_mm, choice.outer_diameter_mm);
    }
    for (string, choice) in firsts.iter().skip(26).zip(&whole.plain.notes) {
        near(string.tension_n, choice.tension_n);
        near(string.stress_mpa, choice.stress_mpa);
        near(string.load_share.unwrap(), choice.load_share);
        near(string.inharmonicity, choice.inharmonicity);
    }
    // The limits of the design are those that a set is warned about; the plate is not part of it.
    let told: Vec<WarningCode> = set.warnings.iter().map(|warning| warning.code).collect();
    assert_eq!(told, [WarningCode::PlateLimitUnknown]);
}
