//! The demo shop is one that a technician would believe.

use std::collections::BTreeSet;

use becket_api::document::parse_toml;
use becket_api::stringing::compute_string_set_request::Source;
use becket_api::stringing::{
    ComputeStringSetRequest, CreateScaleRequest, PieceKind, Scale, ScaleReference, Severity, StringSet,
};
use becket_e2e::{Shop, demo};

use crate::Fresh;

/// One pound-force in N, by definition.
const LBF: f64 = 4.448_221_615_260_5;

async fn set(shop: &mut Shop, model_id: &str) -> StringSet {
    let stored = ScaleReference { model_id: model_id.into(), revision_id: "a".into() };
    let request = ComputeStringSetRequest { source: Some(Source::Stored(stored)), ..Default::default() };
    shop.sets.compute_string_set(request).await.unwrap().into_inner().string_set.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_scales_are_valid_and_give_no_danger() {
    let (_fresh, mut shop) = Fresh::with_demo().await;
    for text in [demo::CONCERT, demo::SMALL] {
        // Under another revision, since those of the demo are there already.
        let mut scale: Scale = parse_toml(text).unwrap();
        scale.revision_id = "another".into();
        let request =
            CreateScaleRequest { request_id: shop.request_id(), scale: Some(scale), validate_only: true };
        shop.scales.create_scale(request).await.unwrap();
    }
    for model in ["concert-270", "small-160"] {
        let set = set(&mut shop, model).await;
        let grave = |severity: i32| severity > i32::from(Severity::Notice);
        let warnings: Vec<_> = set.warnings.iter().filter(|warning| grave(warning.severity)).collect();
        assert!(warnings.is_empty(), "{model}: {warnings:#?}");
    }
}

/// The ranges are common practice, no source.
#[tokio::test(flavor = "multi_thread")]
async fn the_totals_of_the_concert_grand_are_within_practice() {
    let (_fresh, mut shop) = Fresh::with_demo().await;
    let set = set(&mut shop, "concert-270").await;
    let totals = set.totals.as_ref().unwrap();
    assert!((220..=240).contains(&totals.strings), "{} strings", totals.strings);
    let sum_lbf = totals.tension_n / LBF;
    assert!((36_000.0..=46_000.0).contains(&sum_lbf), "{sum_lbf:.0} lbf in all");
    let highest_lbf = totals.highest_tension.as_ref().unwrap().value / LBF;
    assert!(highest_lbf < 425.0, "one string has {highest_lbf:.0} lbf");

    let plain = |set: &StringSet| -> Vec<f64> {
        let plain = set.strings.iter().filter(|string| string.windings.is_empty());
        plain.map(|string| string.tension_n / LBF).collect()
    };
    let plain = plain(&set);
    let usual = plain.iter().filter(|lbf| (130.0..=220.0).contains(*lbf)).count();
    assert!(
        usual * 10 >= plain.len() * 8,
        "only {usual} of {} plain strings have 130 to 220 lbf",
        plain.len()
    );

    let shares: Vec<f64> = set.strings.iter().map(|string| string.load_share.unwrap()).collect();
    assert!(shares.iter().all(|share| *share < 0.70), "above 70 % of breaking load");
    let usual = shares.iter().filter(|share| (0.40..=0.65).contains(*share)).count();
    assert!(usual * 10 >= shares.len() * 8, "only {usual} of {} strings have 40 to 65 %", shares.len());

    let looped = set.pieces.iter().filter(|piece| piece.kind == i32::from(PieceKind::LoopedPair)).count();
    assert_eq!(looped, usize::try_from(totals.looped_pairs).unwrap());
    let made: usize = set.pieces.iter().map(|piece| piece.string_ids.len()).sum();
    assert_eq!(made, set.strings.len(), "every string is made from one piece");
}

/// What is cut beyond the straight part, but for eye and hitch pin: three turns on a 2/0 or 3/0 pin and its becket take 80 to
/// 90 mm, a hand's hold 10 mm; the stretch at pitch, up to 9 mm, is saved. Common practice, no source.
#[tokio::test(flavor = "multi_thread")]
async fn the_wire_at_the_tuning_pin_is_within_practice() {
    let (_fresh, mut shop) = Fresh::with_demo().await;
    for model in ["concert-270", "small-160"] {
        let set = set(&mut shop, model).await;
        let scale = set.basis.as_ref().unwrap().scale.as_ref().unwrap();
        let pairs = set.pieces.iter().filter(|piece| piece.kind == i32::from(PieceKind::LoopedPair));
        let looped: BTreeSet<&String> = pairs.flat_map(|piece| &piece.string_ids).collect();
        for string in &set.strings {
            let note = scale.notes.iter().find(|note| note.note == string.note).unwrap();
            let section = scale.sections.iter().find(|s| s.section_id == note.section_id).unwrap();
            let eye_mm = section.allowances.and_then(|allowances| allowances.eye_mm).unwrap_or(50.0);
            // Half the way round a hitch pin of 4 to 5 mm is some 8 mm.
            let at_hitch_mm = if looped.contains(&string.string_id) { 8.0 } else { eye_mm };
            let straight_mm = note.front_mm + note.speaking_mm + note.back_mm;
            let at_pin_mm = string.cut_mm - straight_mm - at_hitch_mm;
            assert!((80.0..=102.0).contains(&at_pin_mm), "{model} {}: {at_pin_mm:.1} mm", string.string_id);
        }
    }
}
