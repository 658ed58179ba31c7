//! Properties over drafts that nobody wrote by hand.

use becket_scale::{
    Allowances, Choice, ComputeError, ComputeOptions, ComputeOptionsDraft, HitchStyle, PitchBasis,
    ScaleDraft, StringFigures, StringModel, StringSet, WindingDraft, compute,
};
use proptest::prelude::*;

use crate::fixture::{catalogue, small_grand};

/// Any number at all, and often one that is near the usual ranges.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -10.0..3500.0_f64,
        prop::sample::select(vec![f64::NAN, f64::INFINITY, -0.0, 20.0, 3000.0, f64::MIN_POSITIVE, f64::MAX]),
    ]
}

fn wire_id() -> impl Strategy<Value = String> {
    let known =
        ["mw-mm-13", "mw-mm-26", "mw-in-6", "mw-in-30", "cu-0.15", "cu-2.00", "hex-1.00", "no-such", ""];
    prop::sample::select(known.map(str::to_owned).to_vec())
}

#[derive(Debug, Clone)]
enum Edit {
    Number(usize, u8, f64),
    Count(usize, i32),
    Note(usize, i32),
    Section(usize, usize),
    Wire(usize, String),
    Layer(usize, String, f64, f64),
    Hitch(usize, i32),
    Allow(usize, u8, f64),
    Remove(usize),
    Swap(usize, usize),
    Compass(i32, i32),
    Text(String),
}

fn edit() -> impl Strategy<Value = Edit> {
    let at = || 0usize..88;
    prop_oneof![
        (at(), 0u8..5, number()).prop_map(|(at, field, value)| Edit::Number(at, field, value)),
        (at(), -1i32..7).prop_map(|(at, count)| Edit::Count(at, count)),
        (at(), any::<i32>()).prop_map(|(at, note)| Edit::Note(at, note)),
        (at(), 0usize..5).prop_map(|(at, section)| Edit::Section(at, section)),
        (at(), wire_id()).prop_map(|(at, wire)| Edit::Wire(at, wire)),
        (at(), wire_id(), number(), number())
            .prop_map(|(at, wire, front, back)| Edit::Layer(at, wire, front, back)),
        (at(), 0i32..4).prop_map(|(at, style)| Edit::Hitch(at, style)),
        (at(), 0u8..8, number()).prop_map(|(at, field, value)| Edit::Allow(at, field, value)),
        at().prop_map(Edit::Remove),
        (at(), at()).prop_map(|(a, b)| Edit::Swap(a, b)),
        (any::<i32>(), any::<i32>()).prop_map(|(first, last)| Edit::Compass(first, last)),
        ".{0,70}".prop_map(Edit::Text),
    ]
}

fn apply(draft: &mut ScaleDraft, edit: Edit) {
    let sections: Vec<String> = draft.sections.iter().map(|section| section.section_id.clone()).collect();
    let count = draft.notes.len();
    let row = |at: usize| at % count;
    match edit {
        Edit::Number(at, 4, value) => draft.plate_limit_n = (at > 40).then_some(value),
        Edit::Number(at, field, value) => {
            let note = &mut draft.notes[row(at)];
            *[&mut note.speaking_mm, &mut note.front_mm, &mut note.back_mm, &mut note.pitch_offset_cents]
                [usize::from(field)] = value;
        }
        Edit::Count(at, count) => draft.notes[row(at)].string_count = count,
        Edit::Note(at, note) => draft.notes[row(at)].note = note,
        Edit::Section(at, section) => {
            draft.notes[row(at)].section_id = sections.get(section).cloned().unwrap_or_default();
        }
        Edit::Wire(at, wire_id) => draft.notes[row(at)].wire_id = wire_id,
        Edit::Layer(at, wire_id, bare_front_mm, bare_back_mm) => {
            draft.notes[row(at)].windings.push(WindingDraft { wire_id, bare_front_mm, bare_back_mm });
        }
        Edit::Hitch(at, style) => {
            let choice = match style {
                1 => Choice::Known(HitchStyle::LoopedBack),
                2 => Choice::Known(HitchStyle::Tied),
                other => Choice::Unknown(other),
            };
            draft.notes[row(at)].hitch = Some(choice);
        }
        Edit::Allow(at, field, value) => {
            let mut allowances = Allowances::default();
            set_allowance(&mut allowances, field, value);
            draft.notes[row(at)].allowances = Some(allowances);
        }
        Edit::Remove(at) => drop(draft.notes.remove(row(at))),
        Edit::Swap(a, b) => draft.notes.swap(row(a), row(b)),
        Edit::Compass(first, last) => (draft.first_note, draft.last_note) = (first, last),
        Edit::Text(text) => draft.model_id = text,
    }
}

fn set_allowance(allowances: &mut Allowances, field: u8, value: f64) {
    let fields = [
        &mut allowances.tuning_pin_diameter_mm,
        &mut allowances.turns,
        &mut allowances.becket_mm,
        &mut allowances.hitch_pin_diameter_mm,
        &mut allowances.eye_mm,
        &mut allowances.working_mm,
        &mut allowances.cut_step_mm,
        &mut allowances.winding_finish_turns,
    ];
    *fields[usize::from(field)] = Some(value);
}

fn options() -> impl Strategy<Value = ComputeOptions> {
    let basis = prop::sample::select(vec![PitchBasis::StiffnessFree, PitchBasis::FirstPartial]);
    let model = prop::sample::select(vec![StringModel::ClosedForm, StringModel::Stepped]);
    (380.0..=500.0_f64, basis, 0.1..=1.0_f64, model, 2..=60).prop_map(
        |(a4_hz, basis, share, model, count)| {
            let draft = ComputeOptionsDraft {
                a4_hz: Some(a4_hz),
                pitch_basis: Some(Choice::Known(basis)),
                load_share_limit: Some(share),
                string_model: Some(Choice::Known(model)),
                partial_count: Some(count),
                include_partials: Some(true),
                ..ComputeOptionsDraft::default()
            };
            draft.validate().unwrap()
        },
    )
}

fn figures_of(string: &StringFigures) -> Vec<f64> {
    let mut figures = vec![
        string.frequency_hz,
        string.linear_density_g_m,
        string.tension_n,
        string.stress_mpa,
        string.cut_mm,
    ];
    figures.extend(string.breaking_load_n);
    figures.extend(string.load_share);
    for layer in &string.windings {
        figures.extend([layer.covered_mm, layer.wire_length_mm, layer.wire_mass_g, layer.outer_diameter_mm]);
        figures.extend([layer.relaxed.end_mm, layer.at_pitch.end_mm]);
    }
    if let Some(wound) = string.wound {
        figures.extend([wound.outer_diameter_mm, wound.greatest_width_mm, wound.overall_relaxed_mm]);
    }
    if let Some(partials) = &string.partials {
        figures.push(partials.stiffness_free_hz);
        figures.extend(&partials.partial_hz);
    }
    figures
}

fn assert_sound(set: &StringSet) -> Result<(), TestCaseError> {
    for string in &set.strings {
        for figure in figures_of(string) {
            prop_assert!(figure.is_finite() && figure > 0.0, "{string:?}");
        }
        prop_assert!(string.stretch_mm.is_finite() && string.stretch_mm >= 0.0);
        // Where much is bare, the partials of the stepped string may lie closer than multiples.
        prop_assert!(string.inharmonicity.is_finite());
        prop_assert!(string.inharmonicity > 0.0 || !string.windings.is_empty());
        for layer in &string.windings {
            prop_assert!(layer.at_pitch.start_mm >= 0.0 && layer.at_pitch.start_mm < layer.at_pitch.end_mm);
            prop_assert!(layer.relaxed.end_mm <= layer.at_pitch.end_mm);
        }
        if let Some(partials) = &string.partials {
            prop_assert!(partials.partial_hz.is_sorted_by(|a, b| a < b), "{partials:?}");
            prop_assert!(partials.cents.iter().all(|cents| cents.is_finite()));
        }
    }
    for piece in &set.pieces {
        prop_assert!(piece.length.get() > 0 && piece.mass_g.is_finite());
        let strings = set.strings.iter().filter(|string| string.piece_id == piece.piece_id);
        let needed_mm: f64 = strings.map(|string| string.cut_mm).sum();
        prop_assert!(piece.length.as_mm() >= needed_mm - 1e-8 && piece.length.as_mm() < needed_mm + 50.0);
    }
    prop_assert_eq!(
        set.totals.pieces,
        set.totals.looped_pairs + set.totals.tied_singles + set.totals.wound_strings
    );
    prop_assert_eq!(set.totals.strings, set.totals.pieces + set.totals.looped_pairs);
    prop_assert!(set.totals.tension_n.is_finite());
    Ok(())
}

/// What a valid scale can be refused for: a pitch below what stiffness alone gives, or partials that no B fits.
fn assert_named(error: &ComputeError, options: &ComputeOptions) -> Result<(), TestCaseError> {
    let text = error.to_string();
    let too_stiff = options.pitch_basis() == PitchBasis::FirstPartial && text.contains("first_partial_hz");
    let no_fit = options.string_model() == StringModel::Stepped && text.contains("partials_hz");
    prop_assert!(too_stiff || no_fit, "{}", error);
    Ok(())
}

proptest! {
    /// Whatever is done to a draft, validation answers; and a scale that passes has a set, unless the pitch lies below
    /// what stiffness alone gives or no B fits its partials, which is refused by name.
    #[test]
    fn nothing_panics_and_what_is_valid_is_finite(
        edits in prop::collection::vec(edit(), 0..6),
        options in options(),
    ) {
        let mut draft = small_grand();
        for edit in edits {
            apply(&mut draft, edit);
        }
        let catalogue = catalogue();
        match draft.validate(&catalogue) {
            Err(faults) => prop_assert!(!faults.is_empty()),
            Ok(scale) => match compute(&scale, &catalogue, &options) {
                Ok(set) => assert_sound(&set)?,
                Err(error) => assert_named(&error, &options)?,
            },
        }
    }

    /// Any numbers within the stated ranges make a valid scale, and it has a set.
    #[test]
    fn numbers_within_their_ranges_are_valid(
        rows in prop::collection::vec((20.0..=3000.0_f64, 0.0..=1000.0_f64, 0.0..=1500.0_f64, 1..=4), 88),
        cents in prop::collection::vec(-200.0..=200.0_f64, 88),
        pins in (5.0..=10.0_f64, 0.0..=6.0_f64, 1.0..=12.0_f64, 0.0..=300.0_f64),
        bare in (0.0..=0.5_f64, 0.0..=0.49_f64),
        spacing in prop::option::of(0.1..=100.0_f64),
        stepped in options(),
    ) {
        let mut draft = small_grand();
        for ((note, (speaking, front, back, count)), cents) in draft.notes.iter_mut().zip(rows).zip(cents) {
            (note.speaking_mm, note.front_mm, note.back_mm, note.string_count) = (speaking, front, back, count);
            note.pitch_offset_cents = cents;
            for layer in &mut note.windings {
                (layer.bare_front_mm, layer.bare_back_mm) = (speaking * bare.0, speaking * bare.1);
            }
            note.string_spacing_mm = spacing;
        }
        draft.allowances = Some(Allowances {
            tuning_pin_diameter_mm: Some(pins.0),
            turns: Some(pins.1),
            hitch_pin_diameter_mm: Some(pins.2),
            working_mm: Some(pins.3),
            ..Allowances::default()
        });
        let catalogue = catalogue();
        let scale = draft.validate(&catalogue).unwrap();
        prop_assert_eq!(&ScaleDraft::from(&scale), &draft);
        assert_sound(&compute(&scale, &catalogue, &ComputeOptions::default()).unwrap())?;
        match compute(&scale, &catalogue, &stepped) {
            Ok(set) => assert_sound(&set)?,
            Err(error) => assert_named(&error, &stepped)?,
        }
    }
}
