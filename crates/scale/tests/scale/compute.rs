//! Whole sets: figures, pieces and sums.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use becket_scale::{
    Allowances, Choice, ComputeError, ComputeOptions, ComputeOptionsDraft, Extreme, HitchStyle, PieceKind,
    PitchBasis, ScaleDraft, StringFigures, StringId, StringSet, WindingDraft, compute,
};
use becket_units::Um;
use becket_wire::{Catalogue, Material};

use crate::fixture::{SMALL_GRAND_MM, catalogue, row, small_grand, wire};

fn set_of(draft: &ScaleDraft) -> StringSet {
    set_with(draft, &ComputeOptions::default())
}

fn set_with(draft: &ScaleDraft, options: &ComputeOptions) -> StringSet {
    let catalogue = catalogue();
    compute(&draft.validate(&catalogue).unwrap(), &catalogue, options).unwrap()
}

fn string(set: &StringSet, id: &str) -> StringFigures {
    let id: StringId = id.parse().unwrap();
    set.strings.iter().find(|string| string.string_id == id).unwrap().clone()
}

#[track_caller]
fn near(value: f64, expected: f64, relative: f64) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{value}, expected {expected}");
}

#[test]
fn a_small_grand_is_plausible() {
    assert_eq!(SMALL_GRAND_MM.iter().map(|mm| u32::from(*mm)).sum::<u32>(), 22_829);
    let set = set_of(&small_grand());
    let totals = &set.totals;
    // 10 single, 16 double, 62 triple; even runs, so that every plain string has a partner.
    assert_eq!((totals.strings, totals.wound_strings), (228, 42));
    assert_eq!((totals.looped_pairs, totals.tied_singles, totals.pieces), (93, 0, 135));
    // Common practice: most plain strings 130 to 220 lbf, no string above 425 lbf, 40 to 65 % of the breaking load,
    // 70 % the usual ceiling, up to about 45 000 lbf for a large grand, so less for a small one.
    assert!((120_000.0..180_000.0).contains(&totals.tension_n), "{}", totals.tension_n);
    assert!(totals.highest_tension.unwrap().value < 1890.0);
    assert!(totals.highest_load_share.unwrap().value < 0.70);
    assert!(totals.lowest_load_share.unwrap().value > 0.15);
    let plain = set.strings.iter().filter(|string| string.windings.is_empty());
    let usual = plain.filter(|string| (578.0..979.0).contains(&string.tension_n)).count();
    assert!(usual > 150, "{usual}");
    // Rising notes are stiffer along the plain strings, and a C4 has a B of a few 10⁻⁴.
    let (c4, c8) = (string(&set, "40.1").inharmonicity, string(&set, "88.1").inharmonicity);
    assert!((2e-4..6e-4).contains(&c4) && (5e-3..3e-2).contains(&c8), "{c4} {c8}");
}

/// The sum of tensions and of plain wire, reckoned here from the table alone.
#[test]
fn sums_agree_with_a_reckoning_by_hand() {
    let draft = small_grand();
    let set = set_of(&draft);
    let catalogue = catalogue();
    let mut tension_n = 0.0;
    let mut cut_mm: BTreeMap<&str, f64> = BTreeMap::new();
    for row in draft.notes.iter().filter(|row| row.note >= 27) {
        let d = catalogue.get(&row.wire_id).unwrap().diameter_mm();
        let f = 440.0 * 2f64.powf(f64::from(row.note - 49) / 12.0);
        let area = PI * d * d / 4.0;
        let t = 7850.0 * area * 1e-6 * (2.0 * row.speaking_mm * 1e-3 * f).powi(2);
        let straight = (row.front_mm + row.speaking_mm + row.back_mm) / (1.0 + t / (206_000.0 * area));
        let pin = 3.0 * ((PI * (7.16 + d)).powi(2) + d * d).sqrt() + 7.16;
        tension_n += 3.0 * t;
        *cut_mm.entry(&row.wire_id).or_default() += 3.0 * (pin + straight + PI * (4.5 + d) / 4.0 + 10.0);
    }
    let plain: f64 =
        set.strings.iter().filter(|s| s.windings.is_empty()).map(|string| string.tension_n).sum();
    near(plain, tension_n, 1e-12);
    let sections: f64 = set.section_totals.iter().map(|section| section.tension_n).sum();
    near(sections, set.totals.tension_n, 1e-12);
    for (wire_id, sum_mm) in cut_mm {
        let strings = set.strings.iter().filter(|s| s.windings.is_empty() && s.wire_id.as_str() == wire_id);
        near(strings.map(|string| string.cut_mm).sum(), sum_mm, 1e-12);
        if wire_id != "mw-mm-18" {
            // Size 18 is also a core. Rounding up adds half a step to a piece on average, and never a whole one.
            let total = set.wire_totals.iter().find(|total| total.wire_id.as_str() == wire_id).unwrap();
            let rounding = total.length_mm - sum_mm;
            assert!((0.0..f64::from(total.pieces)).contains(&rounding), "{wire_id}: {rounding}");
        }
    }
}

#[test]
fn totals_by_wire_account_for_all_pieces_and_windings() {
    let set = set_of(&small_grand());
    let ids: Vec<_> = set.wire_totals.iter().map(|total| &total.wire_id).collect();
    assert!(ids.is_sorted() && ids.len() > 15);
    assert_eq!(set.wire_totals.iter().map(|total| total.pieces).sum::<u32>(), set.totals.pieces);
    let windings = || set.strings.iter().flat_map(|string| &string.windings);
    let length_mm: f64 = set.wire_totals.iter().map(|total| total.length_mm).sum();
    let pieces_mm: f64 = set.pieces.iter().map(|piece| piece.length.as_mm()).sum();
    near(length_mm, pieces_mm + windings().map(|w| w.wire_length_mm).sum::<f64>(), 1e-12);
    let mass_g: f64 = set.wire_totals.iter().map(|total| total.mass_g).sum();
    let pieces_g: f64 = set.pieces.iter().map(|piece| piece.mass_g).sum();
    near(mass_g, pieces_g + windings().map(|w| w.wire_mass_g).sum::<f64>(), 1e-12);
    let copper = set.wire_totals.iter().filter(|total| total.wire_id.as_str().starts_with("cu-"));
    assert!(copper.clone().count() > 3);
    assert!(copper.clone().all(|total| total.pieces == 0 && total.length_mm > 0.0));
}

#[test]
fn every_string_is_in_its_piece() {
    let mut draft = small_grand();
    row(&mut draft, 60).hitch = Some(Choice::Known(HitchStyle::Tied));
    let set = set_of(&draft);
    let from_pieces: Vec<_> =
        set.pieces.iter().flat_map(|p| p.piece_id.strings().map(move |s| (s, p.piece_id))).collect();
    let from_strings: Vec<_> = set.strings.iter().map(|s| (s.string_id, s.piece_id)).collect();
    assert_eq!(from_pieces, from_strings);
    for piece in &set.pieces {
        let strings: Vec<_> = piece.piece_id.strings().map(|id| string(&set, &id.to_string())).collect();
        assert!(strings.iter().all(|s| s.wire_id == piece.wire_id && s.section_id == piece.section_id));
        let sum_mm: f64 = strings.iter().map(|s| s.cut_mm).sum();
        let length_mm = piece.length.as_mm();
        assert!(length_mm >= sum_mm - 1e-8 && length_mm < sum_mm + 1.0);
        assert_eq!(piece.length.get() % 1000, 0);
    }
    // Three tied strings interrupt the row of an even run: 59 and its six strings before it, 61 to 64 after it.
    assert_eq!(set.totals.tied_singles, 3 + 1);
    assert_eq!(string(&set, "60.2").piece_id.to_string(), "60.2");
}

/// 20 three-string notes take 30 pieces, 21 take 31 and one tied: mechanical-music digest, 1996-04-25.
#[test]
fn a_section_of_an_odd_number_of_strings_ends_in_a_tied_one() {
    let mut draft = small_grand();
    for row in draft.notes.iter_mut().filter(|row| row.note >= 27) {
        row.section_id = if row.note < 47 {
            "tenor"
        } else if row.note < 68 {
            "treble"
        } else {
            "high"
        }
        .to_owned();
        row.wire_id = "mw-mm-16".to_owned();
    }
    let set = set_of(&draft);
    let counts: Vec<_> = set
        .section_totals
        .iter()
        .map(|s| (s.section_id.as_str(), s.strings, s.pieces, s.tied_singles))
        .collect();
    assert_eq!(
        counts,
        [("bass", 42, 42, 0), ("tenor", 60, 30, 0), ("treble", 63, 32, 1), ("high", 63, 32, 1)]
    );
    assert_eq!(string(&set, "67.3").piece_id.to_string(), "67.3");
    assert_eq!(string(&set, "68.1").piece_id.to_string(), "68.1+68.2");
}

#[test]
fn the_middle_piece_of_two_notes_serves_both() {
    let set = set_of(&small_grand());
    let (left, right) = (string(&set, "53.3"), string(&set, "54.1"));
    let piece = set.pieces.iter().find(|piece| piece.piece_id == left.piece_id).unwrap();
    assert_eq!((piece.piece_id.to_string().as_str(), piece.kind), ("53.3+54.1", PieceKind::LoopedPair));
    assert_ne!(left.cut_mm, right.cut_mm);
    assert_eq!(piece.length, Um::from_mm_f64((left.cut_mm + right.cut_mm).ceil()).unwrap());
}

#[test]
fn a_tied_string_takes_the_eye_for_the_half_turn() {
    let mut draft = small_grand();
    let looped = string(&set_of(&draft), "80.2");
    draft.sections[3].hitch = Choice::Known(HitchStyle::Tied);
    let set = set_of(&draft);
    let tied = string(&set, "80.2");
    let d = catalogue().get(tied.wire_id.as_str()).unwrap().diameter_mm();
    near(tied.cut_mm - looped.cut_mm, 50.0 - PI * (4.5 + d) / 4.0, 1e-9);
    assert_eq!(set.section_totals[3].tied_singles, 54);
}

#[test]
fn allowances_of_the_note_reach_the_piece() {
    let mut draft = small_grand();
    let before = string(&set_of(&draft), "1.1");
    row(&mut draft, 1).allowances = Some(Allowances {
        working_mm: Some(35.0),
        eye_mm: Some(75.0),
        cut_step_mm: Some(50.0),
        ..Allowances::default()
    });
    let set = set_of(&draft);
    near(string(&set, "1.1").cut_mm - before.cut_mm, 25.0 + 25.0, 1e-9);
    assert_eq!(set.pieces[0].length.get() % 50_000, 0);
    assert!(set.pieces[0].length.as_mm() - string(&set, "1.1").cut_mm < 50.0);
}

#[test]
fn of_two_cutting_steps_the_coarser_counts() {
    for (note, id) in [(53, "53.3"), (54, "53.3")] {
        let mut draft = small_grand();
        row(&mut draft, note).allowances =
            Some(Allowances { cut_step_mm: Some(7.0), ..Allowances::default() });
        let set = set_of(&draft);
        let piece_id = string(&set, id).piece_id;
        let piece = set.pieces.iter().find(|piece| piece.piece_id == piece_id).unwrap();
        assert_eq!(piece.length.get() % 7000, 0, "{piece:?}");
    }
}

/// A wound string by hand: copper as a tube, with its bare ends weighed by the first mode.
#[test]
fn a_wound_string_agrees_with_a_reckoning_by_hand() {
    let mut draft = small_grand();
    let note = row(&mut draft, 12);
    note.speaking_mm = 1000.0;
    note.wire_id = "mw-mm-17.5".to_owned(); // 1.000 mm
    note.windings = vec![
        WindingDraft { wire_id: "cu-0.50".to_owned(), bare_front_mm: 20.0, bare_back_mm: -30.0 },
        WindingDraft { wire_id: "cu-1.00".to_owned(), bare_front_mm: 40.0, bare_back_mm: 25.0 },
    ];
    let figures = string(&set_of(&draft), "12.1");
    let rows = [(1.0, 0.5, 0.020, 1.0, 1.010), (2.0, 1.0, 0.040, 0.975, 0.935)];
    let mut density_g_m = 7.850 * PI / 4.0;
    for ((under, w, from, to, covered_m), layer) in rows.into_iter().zip(&figures.windings) {
        let tube_g_m = 8.930 * PI * PI / 4.0 * w * (under + w);
        // Weight of the first mode, 2·sin²(πx/L), by the midpoint rule.
        let share: f64 = (0..100_000)
            .map(|k| (f64::from(k) + 0.5) * 1e-5)
            .filter(|x| (from..to).contains(x))
            .map(|x| 2e-5 * (PI * x).sin().powi(2))
            .sum();
        density_g_m += tube_g_m * share;
        near(layer.covered_mm, covered_m * 1000.0, 1e-12);
        // Three turns finish a layer unless a level says otherwise.
        let turns = covered_m * 1000.0 / w + 3.0;
        near(layer.wire_length_mm, turns * ((PI * (under + w)).powi(2) + w * w).sqrt(), 1e-12);
        near(layer.wire_mass_g, layer.wire_length_mm * 8.930e-3 * PI / 4.0 * w * w, 1e-12);
        near(layer.outer_diameter_mm, under + 2.0 * w, 1e-12);
    }
    near(figures.linear_density_g_m, density_g_m, 1e-6);
    let f = 440.0 * 2f64.powf(-37.0 / 12.0);
    near(figures.tension_n, density_g_m * 1e-3 * (2.0 * f).powi(2), 1e-6);
    near(figures.stress_mpa, figures.tension_n / (PI / 4.0), 1e-12);
}

#[test]
fn a_hexagonal_core_is_reckoned_by_its_section() {
    let mut draft = small_grand();
    row(&mut draft, 5).wire_id = "hex-1.00".to_owned();
    let set = set_of(&draft);
    let figures = string(&set, "5.1");
    let area = 3f64.sqrt() / 2.0;
    near(figures.stress_mpa, figures.tension_n / area, 1e-12);
    near(figures.breaking_load_n.unwrap(), 2100.0 * area, 1e-12);
    near(figures.load_share.unwrap(), figures.stress_mpa / 2100.0, 1e-12);
    assert_eq!(&*figures.strength_label, "stated");
    let piece = &set.pieces[4];
    near(piece.mass_g, 7.850e-3 * area * piece.length.as_mm(), 1e-12);
}

#[test]
fn pitch_and_its_basis_move_the_tension() {
    let draft = small_grand();
    let free = set_of(&draft);
    let options = |draft: ComputeOptionsDraft| draft.validate().unwrap();
    let basis = Some(Choice::Known(PitchBasis::FirstPartial));
    let sounding =
        set_with(&draft, &options(ComputeOptionsDraft { pitch_basis: basis, ..Default::default() }));
    let low = set_with(&draft, &options(ComputeOptionsDraft { a4_hz: Some(415.0), ..Default::default() }));
    for ((free, sounding), low) in free.strings.iter().zip(&sounding.strings).zip(&low.strings) {
        // T_free = T·(1 + B) with the B at the lower tension.
        near(sounding.tension_n * (1.0 + sounding.inharmonicity), free.tension_n, 1e-12);
        near(low.tension_n / free.tension_n, (415f64 / 440.0).powi(2), 1e-12);
    }
    let mut sharp = draft;
    row(&mut sharp, 40).pitch_offset_cents = -100.0;
    near(string(&set_of(&sharp), "40.1").frequency_hz, string(&free, "39.1").frequency_hz, 1e-12);
}

#[test]
fn a_bar_has_no_tension_that_sounds_lower_than_its_stiffness() {
    let mut draft = small_grand();
    let note = row(&mut draft, 27);
    (note.speaking_mm, note.wire_id) = (20.0, "mw-mm-26".to_owned());
    let catalogue = catalogue();
    let scale = draft.validate(&catalogue).unwrap();
    let basis = Some(Choice::Known(PitchBasis::FirstPartial));
    let options = ComputeOptionsDraft { pitch_basis: basis, ..Default::default() }.validate().unwrap();
    let error = compute(&scale, &catalogue, &options).unwrap_err();
    assert!(matches!(error, ComputeError::Formula { note: 27, .. }), "{error}");
    assert!(error.to_string().starts_with("note 27: first_partial_hz = "), "{error}");
    assert!(compute(&scale, &catalogue, &ComputeOptions::default()).is_ok());
}

#[test]
fn another_catalogue_than_that_of_the_validation_is_noticed() {
    let mut catalogue = catalogue();
    let scale = small_grand().validate(&catalogue).unwrap();
    let options = ComputeOptions::default();
    let error = compute(&scale, &Catalogue::new(), &options).unwrap_err();
    assert!(matches!(error, ComputeError::UnknownWire { .. }), "{error}");
    catalogue.insert(wire("mw-mm-13.5", Material::Brass, 0.8, None));
    let error = compute(&scale, &catalogue, &options).unwrap_err();
    assert!(matches!(error, ComputeError::UnfitWire { note: 83, .. }), "{error}");
}

#[test]
fn extremes_are_those_of_all_strings() {
    let set = set_of(&small_grand());
    let check = |extreme: Option<Extreme>, figure: fn(&StringFigures) -> f64, sign: f64| {
        // Of equal strings the first: the least by value with the order of strings behind it.
        let first =
            set.strings.iter().min_by(|a, b| (sign * figure(a)).total_cmp(&(sign * figure(b)))).unwrap();
        assert_eq!(extreme, Some(Extreme { string_id: first.string_id, value: figure(first) }));
    };
    let share: fn(&StringFigures) -> f64 = |string| string.load_share.unwrap();
    check(set.totals.lowest_tension, |string| string.tension_n, 1.0);
    check(set.totals.highest_tension, |string| string.tension_n, -1.0);
    check(set.totals.lowest_load_share, share, 1.0);
    check(set.totals.highest_load_share, share, -1.0);
}

#[test]
fn equal_inputs_give_equal_sets() {
    assert_eq!(set_of(&small_grand()), set_of(&small_grand()));
}
