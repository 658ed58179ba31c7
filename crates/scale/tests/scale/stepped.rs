//! Sets by the stepped model: what is exact, what is fitted, what stays.

use becket_acoustics::{
    Segment, SteppedString, cents_between, inharmonicity, partial_hz, tension_first_partial_n,
    tension_stiffness_free_n,
};
use becket_scale::{
    Choice, ComputeOptions, ComputeOptionsDraft, PartialFigures, PitchBasis, ScaleDraft, StringFigures,
    StringModel, StringSet, WindingDraft, compute, partials,
};

use crate::fixture::{catalogue, row, small_grand};

fn options(model: StringModel, basis: PitchBasis) -> ComputeOptions {
    let draft = ComputeOptionsDraft {
        string_model: Some(Choice::Known(model)),
        pitch_basis: Some(Choice::Known(basis)),
        include_partials: Some(true),
        ..ComputeOptionsDraft::default()
    };
    draft.validate().unwrap()
}

fn set_of(draft: &ScaleDraft, options: &ComputeOptions) -> StringSet {
    let catalogue = catalogue();
    compute(&draft.validate(&catalogue).unwrap(), &catalogue, options).unwrap()
}

fn wound(set: &StringSet) -> impl Iterator<Item = &StringFigures> {
    set.strings.iter().filter(|string| !string.windings.is_empty())
}

fn told(string: &StringFigures) -> &PartialFigures {
    string.partials.as_deref().unwrap()
}

#[test]
fn the_exact_first_partial_is_the_pitch() {
    let set = set_of(&small_grand(), &options(StringModel::Stepped, PitchBasis::FirstPartial));
    assert!(wound(&set).count() > 30);
    for string in &set.strings {
        let partials = told(string);
        assert_eq!(partials.partial_hz.len(), 16);
        assert!((partials.partial_hz[0] / string.frequency_hz - 1.0).abs() < 1e-11, "{string:?}");
        assert!(partials.stiffness_free_hz < string.frequency_hz);
        assert_eq!(partials.fit.inharmonicity, string.inharmonicity);
        // What the density is: that of the limp uniform string with the same f0.
        let density = string.linear_density_g_m;
        let t = tension_stiffness_free_n(string.speaking_mm, density, partials.stiffness_free_hz).unwrap();
        assert!((t / string.tension_n - 1.0).abs() < 1e-12);
    }
}

#[test]
fn without_stiffness_the_exact_fundamental_is_the_pitch() {
    let set = set_of(&small_grand(), &options(StringModel::Stepped, PitchBasis::StiffnessFree));
    let closed = set_of(&small_grand(), &options(StringModel::ClosedForm, PitchBasis::StiffnessFree));
    for (string, uniform) in set.strings.iter().zip(&closed.strings) {
        let partials = told(string);
        assert!((partials.stiffness_free_hz / string.frequency_hz - 1.0).abs() < 1e-12);
        assert!(partials.partial_hz[0] > string.frequency_hz);
        // Rayleigh's density is too low by less than 0.002 % where bare ends are short, so the exact pull is a little more.
        let more = string.tension_n / uniform.tension_n - 1.0;
        let fits = if string.windings.is_empty() { more == 0.0 } else { more > 0.0 && more < 2e-5 };
        assert!(fits, "{more:e}: {string:?}");
    }
}

/// Common practice, no source: bare ends raise B well above that of the uniform string.
#[test]
fn bare_ends_raise_the_inharmonicity() {
    let b = |bare_mm: f64| {
        let mut draft = small_grand();
        for note in draft.notes.iter_mut().filter(|note| !note.windings.is_empty()) {
            (note.windings[0].bare_front_mm, note.windings[0].bare_back_mm) = (bare_mm, bare_mm);
        }
        let set = set_of(&draft, &options(StringModel::Stepped, PitchBasis::StiffnessFree));
        let uniform = set_of(&draft, &options(StringModel::ClosedForm, PitchBasis::StiffnessFree));
        wound(&set).zip(wound(&uniform)).map(|(a, b)| a.inharmonicity / b.inharmonicity).collect::<Vec<_>>()
    };
    let (none, short, long) = (b(0.0), b(10.0), b(30.0));
    for ((none, short), long) in none.iter().zip(&short).zip(&long) {
        assert!((none - 1.0).abs() < 1e-8, "no bare ends, the uniform string: {none}");
        assert!(*short > 1.01 && long > short, "{short} {long}");
    }
}

/// Two layers, the core hexagonal, one of them on past the bridge: the solver, called by hand.
#[test]
fn steps_are_where_the_layers_begin_and_end() {
    let mut draft = small_grand();
    let note = row(&mut draft, 12);
    (note.speaking_mm, note.wire_id) = (1000.0, "hex-1.00".to_owned());
    note.windings = vec![
        WindingDraft { wire_id: "cu-0.50".to_owned(), bare_front_mm: 20.0, bare_back_mm: -30.0 },
        WindingDraft { wire_id: "cu-1.00".to_owned(), bare_front_mm: 40.0, bare_back_mm: 25.0 },
    ];
    let set = set_of(&draft, &options(StringModel::Stepped, PitchBasis::FirstPartial));
    let string = set.strings.iter().find(|string| string.string_id.note() == 12).unwrap();
    let core = 7.850 * 3f64.sqrt() / 2.0;
    let girth = 2.0 * 3f64.sqrt() / std::f64::consts::PI;
    let tube = |under: f64, w: f64| 8.930 * std::f64::consts::PI.powi(2) / 4.0 * w * (under + w);
    let (inner, outer) = (tube(girth, 0.5), tube(girth + 1.0, 1.0));
    let segments = [(20.0, core), (20.0, core + inner), (935.0, core + inner + outer), (25.0, core + inner)]
        .map(|(length_mm, linear_density_g_m)| Segment { length_mm, linear_density_g_m });
    let by_hand = SteppedString {
        tension_n: string.tension_n,
        bending_stiffness_n_m2: 206e-3 * 5.0 * 3f64.sqrt() / 144.0,
        segments: &segments,
    };
    for (a, b) in told(string).partial_hz.iter().zip(by_hand.partials_hz(16).unwrap()) {
        assert!(cents_between(b, *a).unwrap().abs() < 1e-6, "{a} {b}");
    }
}

#[test]
fn plain_strings_are_exact_in_closed_form() {
    let set = set_of(&small_grand(), &options(StringModel::Stepped, PitchBasis::FirstPartial));
    let catalogue = catalogue();
    for string in set.strings.iter().filter(|string| string.windings.is_empty()) {
        let wire = catalogue.get(string.wire_id.as_str()).unwrap();
        let (e, i) = (wire.youngs_modulus_gpa(), wire.second_moment_mm4());
        let density = wire.linear_density_g_m();
        let t = tension_first_partial_n(string.speaking_mm, density, string.frequency_hz, e, i).unwrap();
        assert_eq!(t, string.tension_n);
        let b = inharmonicity(string.speaking_mm, t, e, i).unwrap();
        let partials = told(string);
        assert_eq!((b, partials.fit.residual_max_cents), (string.inharmonicity, 0.0));
        for (n, &hz) in (1..).zip(&partials.partial_hz) {
            assert_eq!(hz, partial_hz(n, partials.stiffness_free_hz, b).unwrap());
        }
    }
}

#[test]
fn cents_are_against_the_first_partial_and_the_fit_leaves_little() {
    let set = set_of(&small_grand(), &options(StringModel::Stepped, PitchBasis::StiffnessFree));
    for string in &set.strings {
        let partials = told(string);
        assert_eq!(partials.cents[0], 0.0);
        assert!(partials.cents.is_sorted());
        let expected = 1200.0 * (partials.partial_hz[7] / (8.0 * partials.partial_hz[0])).log2();
        assert!((partials.cents[7] - expected).abs() < 1e-9);
        let fit = partials.fit;
        assert!(fit.residual_rms_cents <= fit.residual_max_cents && fit.residual_max_cents < 2.0, "{fit:?}");
    }
}

#[test]
fn partials_of_single_notes_are_those_of_the_set() {
    let catalogue = catalogue();
    let scale = small_grand().validate(&catalogue).unwrap();
    let options = options(StringModel::Stepped, PitchBasis::FirstPartial);
    let set = compute(&scale, &catalogue, &options).unwrap();
    let found =
        partials(&scale, &catalogue, &options.with_partials(false), |note| [1, 40].contains(&note)).unwrap();
    assert_eq!(found.iter().map(|note| note.note).collect::<Vec<_>>(), [1, 40]);
    for note in found {
        let string = set.strings.iter().find(|string| string.string_id.note() == note.note).unwrap();
        assert_eq!(Some(note.partials), string.partials);
        assert_eq!((note.tension_n, note.frequency_hz), (string.tension_n, string.frequency_hz));
    }
}

#[test]
fn so_many_partials_as_are_asked_for() {
    for count in [2, 60] {
        let draft = ComputeOptionsDraft {
            partial_count: Some(count),
            ..ComputeOptionsDraft::from(&options(StringModel::Stepped, PitchBasis::StiffnessFree))
        };
        let set = set_of(&small_grand(), &draft.validate().unwrap());
        let count = usize::try_from(count).unwrap();
        assert!(set.strings.iter().all(|string| told(string).partial_hz.len() == count));
    }
}
