//! Published tensions through the whole path: a draft with that string in it, validated and computed.

use becket_scale::{ComputeOptions, StringFigures, compute};
use becket_units::{INCH_MM, KGF_N, LBF_N};
use becket_wire::{Material, StrengthKind};

use crate::fixture::{catalogue, row, small_grand, wire};

fn figures(note: i32, speaking_mm: f64, wire_id: &str) -> StringFigures {
    let mut catalogue = catalogue();
    let breaking_mpa = 135.0 * KGF_N / (std::f64::consts::PI / 4.0 * 0.785 * 0.785);
    let basis = Some(StrengthKind::Stated { tensile_mpa: breaking_mpa });
    catalogue.insert(wire("posted-0.785", Material::SteelRound, 0.785, basis));
    let mut draft = small_grand();
    let changed = row(&mut draft, note);
    (changed.speaking_mm, changed.wire_id) = (speaking_mm, wire_id.to_owned());
    let scale = draft.validate(&catalogue).unwrap();
    let set = compute(&scale, &catalogue, &ComputeOptions::default()).unwrap();
    set.strings.into_iter().find(|string| i32::from(string.string_id.note()) == note).unwrap()
}

#[track_caller]
fn check(value: f64, published: f64, relative: f64) {
    assert!((value / published - 1.0).abs() <= relative, "{value}, published {published}");
}

/// Piano technicians' mailing list archive, May 2002, message 108432: 170.2 lbf.
#[test]
fn key_64() {
    let string = figures(64, 181.0, "mw-mm-16");
    check(string.tension_n / LBF_N, 170.2, 1e-3);
    check(string.tension_n / LBF_N, 170.20, 5e-5);
}

/// The same archive, May 2000, message 065089: 79.5 kgf, 59 % of 135 kgf.
#[test]
fn key_88_in_millimetres() {
    let string = figures(88, 54.0, "posted-0.785");
    check(string.tension_n / KGF_N, 79.5, 6e-3);
    check(string.load_share.unwrap(), 0.59, 6e-3 + 0.005 / 0.59);
}

/// College technicians' list archive, June 1998, message 000540: 194 lbf.
#[test]
fn key_88_in_inches() {
    check(figures(88, 58.7, "mw-in-12.5").tension_n / LBF_N, 194.0, 3e-3);
}

/// A printed tension table quoted in a mechanical-music digest, 1996-04-25.
#[test]
fn key_53_by_size() {
    let published =
        [("14", 151.0), ("15", 170.0), ("15.5", 179.8), ("16", 190.0), ("16.5", 200.313), ("17", 211.0)];
    for (size, published_lbf) in published {
        let string = figures(53, 14.0 * INCH_MM, &format!("mw-in-{size}"));
        check(string.tension_n / LBF_N, published_lbf, 3e-3);
    }
}
