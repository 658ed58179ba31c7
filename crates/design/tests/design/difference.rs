//! Differences between computed sets.

use becket_design::{DesignError, DifferenceTolerances, Presence, difference};
use becket_scale::{
    Choice, ComputeOptions, HitchStyle, NoteDraft, PieceKind, ScaleDraft, SectionDraft, StringSet,
    WindingDraft, compute,
};
use becket_wire::{Catalogue, SizeSeries, standard_wires};

use crate::fixture;

pub(crate) fn catalogue() -> Catalogue {
    let mut catalogue: Catalogue = standard_wires(SizeSeries::Inch).into_iter().collect();
    catalogue.extend([fixture::copper(0.5), fixture::copper(0.6)]);
    catalogue
}

/// An instrument of 88 notes: wound 1 to 20, plain and looped above, one size throughout.
pub(crate) fn draft() -> ScaleDraft {
    let section = |section_id: &str| SectionDraft {
        section_id: section_id.to_owned(),
        title: String::new(),
        hitch: Choice::Known(HitchStyle::LoopedBack),
        allowances: None,
    };
    let note = |note: i32| NoteDraft {
        note,
        section_id: if note <= 20 { "bass" } else { "plain" }.to_owned(),
        string_count: if note <= 20 { 2 } else { 3 },
        speaking_mm: if note <= 20 { 1200.0 } else { 52.0 * (f64::from(88 - note) / 14.5).exp2() },
        front_mm: 120.0,
        back_mm: 100.0,
        wire_id: "mw-in-17".to_owned(),
        windings: if note <= 20 {
            vec![WindingDraft { wire_id: "cu-0.500".to_owned(), bare_front_mm: 20.0, bare_back_mm: 15.0 }]
        } else {
            Vec::new()
        },
        hitch: None,
        pitch_offset_cents: 0.0,
        string_spacing_mm: None,
        allowances: None,
    };
    ScaleDraft {
        model_id: "invented".to_owned(),
        revision_id: "a".to_owned(),
        title: String::new(),
        first_note: 1,
        last_note: 88,
        sections: vec![section("bass"), section("plain")],
        notes: (1..=88).map(note).collect(),
        allowances: None,
        plate_limit_n: None,
    }
}

pub(crate) fn set(draft: &ScaleDraft) -> StringSet {
    let catalogue = catalogue();
    compute(&draft.validate(&catalogue).unwrap(), &catalogue, &ComputeOptions::default()).unwrap()
}

#[test]
fn equal_sets_have_no_rows() {
    let set = set(&draft());
    let table = difference(&set, &set, &DifferenceTolerances::default()).unwrap();
    assert!(table.rows.is_empty());
    assert_eq!(table.unchanged, 20 * 2 + 68 * 3);
}

#[test]
fn a_thicker_wire_shows_in_its_strings_and_in_the_pairs_it_cuts() {
    let old = draft();
    let mut new = old.clone();
    // Note 30 is the tenth of its section, so its first string shares a piece with note 29.
    new.notes[29].wire_id = "mw-in-18".to_owned();
    let (old, new) = (set(&old), set(&new));
    let table = difference(&old, &new, &DifferenceTolerances::default()).unwrap();
    let ids: Vec<String> = table.rows.iter().map(|row| row.string_id.to_string()).collect();
    assert_eq!(ids, ["29.3", "30.1", "30.2", "30.3"]);
    // 29.3 keeps its wire and loses its partner.
    let cut = &table.rows[0];
    assert_eq!((&cut.wire_id, &cut.tension_n, &cut.inharmonicity), (&None, &None, &None));
    let piece = cut.piece.as_ref().unwrap();
    assert_eq!((piece.old.kind, piece.new.kind), (PieceKind::LoopedPair, PieceKind::TiedSingle));
    assert!(cut.cut_mm.is_some());
    // 30.2 and 30.3 stay a pair of a thicker wire: B goes as d², tension too.
    let thicker = &table.rows[2];
    assert_eq!(thicker.wire_id.as_ref().unwrap().new.as_str(), "mw-in-18");
    let tension = thicker.tension_n.as_ref().unwrap();
    assert!((tension.new / tension.old - (41.0_f64 / 39.0).powi(2)).abs() < 1e-9);
    assert!(thicker.load_share.is_some() && thicker.piece.is_none() && thicker.frequency_hz.is_none());
    assert_eq!(table.pieces.new, table.pieces.old + 1);
    assert!(table.tension_n.new > table.tension_n.old);
    // The other way round, old and new change places.
    let back = difference(&new, &old, &DifferenceTolerances::default()).unwrap();
    assert_eq!(back.rows[2].tension_n.as_ref().unwrap().old, tension.new);
}

#[test]
fn tolerances_decide_what_counts() {
    let old = draft();
    let mut new = old.clone();
    new.notes[9].speaking_mm += 1.0;
    new.notes[9].pitch_offset_cents = 2.0;
    new.notes[14].windings[0].wire_id = "cu-0.600".to_owned();
    let (old, new) = (set(&old), set(&new));
    let table = difference(&old, &new, &DifferenceTolerances::default()).unwrap();
    assert_eq!(table.rows.len(), 4);
    let moved = &table.rows[0];
    assert!(moved.speaking_mm.is_some() && moved.frequency_hz.is_some() && moved.windings.is_some());
    assert!(moved.wire_id.is_none() && moved.piece.is_none());
    let wound = &table.rows[2];
    let windings = wound.windings.as_ref().unwrap();
    assert_eq!(
        (windings.old[0].wire_id.as_str(), windings.new[0].wire_id.as_str()),
        ("cu-0.500", "cu-0.600")
    );
    assert!(wound.speaking_mm.is_none() && wound.tension_n.is_some());
    let wide = DifferenceTolerances {
        speaking_mm: 2.0,
        frequency_cents: 3.0,
        tension: 0.01,
        load_share: 0.01,
        inharmonicity: 0.02,
        cut_mm: 2.0,
    };
    let table = difference(&old, &new, &wide).unwrap();
    assert_eq!(table.rows.iter().map(|row| row.string_id.note()).collect::<Vec<_>>(), [15, 15]);
    let exact = DifferenceTolerances { speaking_mm: -1.0, tension: f64::NAN, ..wide };
    assert!(matches!(difference(&old, &new, &exact), Err(DesignError::Faults(faults)) if faults.len() == 2));
}

#[test]
fn strings_that_come_and_go_have_rows_and_compasses_must_agree() {
    let old = draft();
    let mut new = old.clone();
    new.notes[5].string_count = 1;
    let (old_set, mut new_set) = (set(&old), set(&new));
    let gone = difference(&old_set, &new_set, &DifferenceTolerances::default()).unwrap();
    assert_eq!(gone.rows.len(), 1);
    assert_eq!(
        (gone.rows[0].string_id.to_string().as_str(), gone.rows[0].presence),
        ("6.2", Presence::OldOnly)
    );
    let come = difference(&new_set, &old_set, &DifferenceTolerances::default()).unwrap();
    assert_eq!(come.rows[0].presence, Presence::NewOnly);
    new_set.strings.retain(|string| string.string_id.note() != 88);
    let refused = difference(&old_set, &new_set, &DifferenceTolerances::default());
    assert!(matches!(refused, Err(DesignError::Faults(faults)) if faults[0].field == "new"));
    new_set.strings.clear();
    assert!(difference(&new_set, &new_set, &DifferenceTolerances::default()).is_err());
}

#[test]
fn a_new_partner_is_a_new_piece() {
    let old = draft();
    let mut new = old.clone();
    // One string fewer at note 30, and all pairs above it shift by one.
    new.notes[29].string_count = 2;
    let table = difference(&set(&old), &set(&new), &DifferenceTolerances::default()).unwrap();
    let row = table.rows.iter().find(|row| row.string_id.to_string() == "31.1").unwrap();
    let piece = row.piece.as_ref().unwrap();
    assert_eq!((piece.old.kind, piece.new.kind), (PieceKind::LoopedPair, PieceKind::LoopedPair));
    let ids = (piece.old.piece_id.to_string(), piece.new.piece_id.to_string());
    assert_eq!(ids, ("31.1+31.2".to_owned(), "30.2+31.1".to_owned()));
    assert!(row.wire_id.is_none() && row.tension_n.is_none());
}
