//! Propagated tolerances, against closed forms and against a Monte Carlo.

use becket_acoustics::CrossSection;
use becket_design::{
    BareEnds, DesignError, Ends, LayerFigures, Source, ToleranceReport, TolerancedFigures, TolerancedString,
    TolerancedWinding, Tolerances, WoundStringFigures, propagate,
};
use becket_scale::{
    Allowances, Choice, ComputeOptions, ComputeOptionsDraft, HitchStyle, Models, PitchBasis, StringModel,
    WindingDraft, WindingModel, compute,
};
use becket_wire::Catalogue;

use crate::{difference, fixture};

fn plain() -> TolerancedString {
    TolerancedString {
        note: 40,
        speaking_mm: 620.0,
        frequency_hz: fixture::hz(40),
        models: Models::default(),
        core_section: CrossSection::Round,
        core_diameter_mm: 0.9906,
        core_density_kg_m3: 7850.0,
        youngs_modulus_gpa: 206.0,
        tensile_mpa: Some(2150.0),
        winding: None,
        outer_winding: None,
        string_spacing_mm: None,
        ends: Ends {
            front_mm: 120.0,
            back_mm: 110.0,
            hitch: HitchStyle::LoopedBack,
            allowances: Allowances::resolve(None, None, None),
        },
    }
}

fn wound() -> TolerancedString {
    TolerancedString {
        string_spacing_mm: Some(9.0),
        note: 10,
        speaking_mm: 1063.0,
        frequency_hz: fixture::hz(10),
        models: Models { pitch_basis: PitchBasis::FirstPartial, ..Models::default() },
        core_section: CrossSection::Hexagonal,
        core_diameter_mm: 1.0,
        winding: Some(TolerancedWinding {
            wire_diameter_mm: 1.5,
            density_kg_m3: 8930.0,
            bare_ends: BareEnds { front_mm: 19.0, back_mm: 15.0 },
        }),
        ..plain()
    }
}

fn doubly_wound() -> TolerancedString {
    TolerancedString {
        note: 5,
        frequency_hz: fixture::hz(5),
        winding: wound().winding.map(|inner| TolerancedWinding { wire_diameter_mm: 0.8, ..inner }),
        outer_winding: Some(TolerancedWinding {
            wire_diameter_mm: 1.3,
            density_kg_m3: 8900.0,
            bare_ends: BareEnds { front_mm: 26.0, back_mm: 20.0 },
        }),
        ..wound()
    }
}

const ALL: Tolerances = Tolerances {
    core_diameter_mm: 0.005,
    winding_diameter_mm: 0.008,
    speaking_mm: 1.0,
    pitch_cents: 3.0,
    youngs_modulus: 0.01,
    core_density: 0.003,
    winding_density: 0.004,
};

#[test]
fn plain_strings_follow_the_powers() {
    let string = plain();
    let tolerances = Tolerances { winding_diameter_mm: 0.0, winding_density: 0.0, ..ALL };
    let report = propagate(&string, &tolerances).unwrap();
    let share = |sources: &becket_design::Propagated, source| {
        let found = sources.contributions.iter().find(|c| c.source == source);
        found.map_or(0.0, |c| c.change / sources.nominal)
    };
    let d = 0.005 / string.core_diameter_mm;
    let l = 1.0 / 620.0;
    let p = 3.0 * std::f64::consts::LN_2 / 1200.0;
    // Powers of d, L, f, E, ρ in T ∝ ρ·d²·L²·f², σ ∝ ρ·L²·f² and B ∝ E·d²/(ρ·L⁴·f²).
    let powers = [
        (&report.tension_n, [2.0, 2.0, 2.0, 0.0, 1.0]),
        (&report.stress_mpa, [0.0, 2.0, 2.0, 0.0, 1.0]),
        (report.load_share.as_ref().unwrap(), [0.0, 2.0, 2.0, 0.0, 1.0]),
        (&report.inharmonicity, [2.0, -4.0, -2.0, 1.0, -1.0]),
    ];
    for (quantity, powers) in powers {
        let sources = [
            (Source::CoreDiameter, d),
            (Source::SpeakingLength, l),
            (Source::Pitch, p),
            (Source::YoungsModulus, 0.01),
            (Source::CoreDensity, 0.003),
        ];
        let mut squares = 0.0;
        for ((source, relative), power) in sources.into_iter().zip(powers) {
            let found = share(quantity, source);
            assert!((found - power * relative).abs() < 1e-8, "{source:?} {found}");
            squares += (power * relative).powi(2);
        }
        assert!((quantity.root_sum_square / quantity.nominal / squares.sqrt() - 1.0).abs() < 1e-5);
        assert!(quantity.worst_case >= quantity.root_sum_square);
    }
    // A millimetre more of speaking length is nearly a millimetre more to cut.
    let cut = report.cut_mm.contributions.iter().find(|c| c.source == Source::SpeakingLength).unwrap().change;
    assert!((0.97..1.0).contains(&cut), "{cut}");
}

/// Multiplicative generator of G. Marsaglia, Xorshift RNGs, J. Stat. Softw. 8(14) (2003) (from memory).
struct Xorshift(u64);

impl Xorshift {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / 4_294_967_296.0
    }

    /// Mean 0 and standard deviation 1: twelve uniforms less 6.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// A string with all inputs drawn at random about their values.
fn drawn(string: &TolerancedString, tolerances: &Tolerances, random: &mut Xorshift) -> TolerancedString {
    let mut drawn = *string;
    drawn.core_diameter_mm += tolerances.core_diameter_mm * random.normal();
    drawn.speaking_mm += tolerances.speaking_mm * random.normal();
    drawn.frequency_hz *= (tolerances.pitch_cents * random.normal() / 1200.0).exp2();
    drawn.youngs_modulus_gpa *= 1.0 + tolerances.youngs_modulus * random.normal();
    drawn.core_density_kg_m3 *= 1.0 + tolerances.core_density * random.normal();
    for winding in [&mut drawn.winding, &mut drawn.outer_winding].into_iter().flatten() {
        winding.wire_diameter_mm += tolerances.winding_diameter_mm * random.normal();
        winding.density_kg_m3 *= 1.0 + tolerances.winding_density * random.normal();
    }
    drawn
}

/// All figures of the report, those of a wound string last.
fn figures(report: &ToleranceReport) -> Vec<&becket_design::Propagated> {
    let TolerancedFigures {
        tension_n,
        stress_mpa,
        load_share,
        inharmonicity,
        linear_density_g_m,
        stretch_mm,
        cut_mm,
        wound,
        clearance_mm,
    } = report;
    let mut all = vec![tension_n, stress_mpa, inharmonicity, linear_density_g_m, stretch_mm, cut_mm];
    all.extend(load_share.iter().chain(clearance_mm));
    if let Some(WoundStringFigures { outer_diameter_mm, overall_relaxed_mm, layers }) = wound {
        all.extend([outer_diameter_mm, overall_relaxed_mm]);
        for LayerFigures { start_relaxed_mm, end_relaxed_mm, wire_length_mm, wire_mass_g } in layers {
            all.extend([start_relaxed_mm, end_relaxed_mm, wire_length_mm, wire_mass_g]);
        }
    }
    all
}

#[test]
fn a_monte_carlo_spreads_as_much() {
    let bare = Tolerances { winding_diameter_mm: 0.0, winding_density: 0.0, ..ALL };
    for (string, tolerances) in [(plain(), bare), (wound(), ALL), (doubly_wound(), ALL)] {
        spreads_as_much(&string, &tolerances, 20_000);
        let helix = Models { winding_model: WindingModel::Helix, ..string.models };
        spreads_as_much(&TolerancedString { models: helix, ..string }, &tolerances, 20_000);
    }
}

#[test]
fn a_monte_carlo_of_the_exact_solution_spreads_as_much() {
    // Fewer draws, since each solves the equation: the standard error of a deviation is 1.1 %.
    for (string, pitch_basis) in
        [(wound(), PitchBasis::FirstPartial), (doubly_wound(), PitchBasis::StiffnessFree)]
    {
        let string_model = StringModel::Stepped;
        let models =
            Models { string_model, pitch_basis, winding_model: WindingModel::Helix, ..Models::default() };
        spreads_as_much(&TolerancedString { models, ..string }, &ALL, 4_000);
    }
}

/// Propagated tolerances are the deviations of so many draws, within three standard errors.
fn spreads_as_much(string: &TolerancedString, tolerances: &Tolerances, draws: u32) {
    let mut random = Xorshift(0x9E37_79B9_7F4A_7C15);
    let report = propagate(string, tolerances).unwrap();
    let nominal: Vec<f64> = figures(&report).iter().map(|quantity| quantity.nominal).collect();
    let (mut sums, mut squares) = (vec![0.0; nominal.len()], vec![0.0; nominal.len()]);
    for _ in 0..draws {
        // Without tolerances only the nominal figures are computed, by the formulas alone.
        let one = propagate(&drawn(string, tolerances, &mut random), &Tolerances::default()).unwrap();
        for (k, quantity) in figures(&one).into_iter().enumerate() {
            let off = quantity.nominal - nominal[k];
            sums[k] += off;
            squares[k] += off * off;
        }
    }
    for (k, quantity) in figures(&report).into_iter().enumerate() {
        let mean = sums[k] / f64::from(draws);
        let deviation = (squares[k] / f64::from(draws) - mean * mean).sqrt();
        // Three standard errors of a deviation, 1/√(2·draws), and the second order.
        let tolerance = 0.005 + 3.0 / (2.0 * f64::from(draws)).sqrt();
        assert!(
            (deviation / quantity.root_sum_square - 1.0).abs() < tolerance,
            "{k}: {deviation} {quantity:?}"
        );
    }
}

/// A wire that is thicker by δ stands out by δ on either side, and a millimetre more of speaking length moves the end of a
/// layer, not its start: geometry.
#[test]
fn bands_of_geometry_are_those_of_geometry() {
    let change = |figure: &becket_design::Propagated, source| {
        figure.contributions.iter().find(|c| c.source == source).map_or(0.0, |c| c.change)
    };
    let report = propagate(&doubly_wound(), &ALL).unwrap();
    let room = report.clearance_mm.unwrap();
    // Across the corners of the hexagon the core is 2/√3 wider.
    assert!((change(&room, Source::CoreDiameter) + 0.005 * 2.0 / 3.0_f64.sqrt()).abs() < 1e-9);
    assert!((change(&room, Source::WindingDiameter) + 0.016).abs() < 1e-9);
    assert!((change(&room, Source::OuterWindingDiameter) + 0.016).abs() < 1e-9);
    let wound = report.wound.unwrap();
    assert!((change(&wound.outer_diameter_mm, Source::OuterWindingDiameter) - 0.016).abs() < 1e-9);
    for layer in &wound.layers {
        assert!((0.98..1.0).contains(&change(&layer.end_relaxed_mm, Source::SpeakingLength)));
        assert!(change(&layer.start_relaxed_mm, Source::SpeakingLength).abs() < 0.01);
        // Thinner wire takes more turns of nearly the same length: −δ/w of the length, but for the girth.
        assert!(change(&layer.wire_length_mm, Source::YoungsModulus) == 0.0);
    }
    let thinner = change(&wound.layers[1].wire_length_mm, Source::OuterWindingDiameter);
    assert!(thinner < 0.0, "{thinner}");
}

#[test]
fn a_wound_string_is_tied_whatever_its_section_says() {
    let cut_mm =
        |string: &TolerancedString| propagate(string, &Tolerances::default()).unwrap().cut_mm.nominal;
    let looped = wound();
    let mut tied = looped;
    tied.ends.hitch = HitchStyle::Tied;
    assert_eq!(looped.ends.hitch, HitchStyle::LoopedBack);
    assert_eq!(cut_mm(&looped), cut_mm(&tied));
    let mut tied = plain();
    tied.ends.hitch = HitchStyle::Tied;
    // The eye takes more wire than half of the half turn.
    assert!(cut_mm(&tied) > cut_mm(&plain()) + 40.0);
}

#[test]
fn published_tolerance_of_wire() {
    // ASTM A228: ±.0004 in for .028 to .063 in, so ±2.6 % in tension at .031 in.
    let mut string = plain();
    string.core_diameter_mm = 0.031 * 25.4;
    let tolerances = Tolerances { core_diameter_mm: 0.0004 * 25.4, ..Tolerances::default() };
    let tension = propagate(&string, &tolerances).unwrap().tension_n;
    assert!((tension.worst_case / tension.nominal - 0.026).abs() < 5e-4);
    assert_eq!(tension.contributions.len(), 1);
}

#[test]
fn refuses_all_faults_at_once() {
    let mut string = plain();
    string.speaking_mm = f64::NAN;
    string.ends.allowances.turns = -1.0;
    match propagate(&string, &Tolerances { pitch_cents: f64::INFINITY, ..ALL }) {
        Err(DesignError::Faults(faults)) => assert_eq!(faults.len(), 4, "{faults:?}"),
        other => panic!("{other:?}"),
    }
    // A bar of 6 mm and 20 mm length sounds higher than A0.
    let bar = TolerancedString {
        speaking_mm: 20.0,
        core_diameter_mm: 6.0,
        frequency_hz: 27.5,
        models: Models { pitch_basis: PitchBasis::FirstPartial, ..Models::default() },
        ..plain()
    };
    assert!(matches!(propagate(&bar, &Tolerances::default()), Err(DesignError::Formula { note: 40, .. })));
}

#[test]
fn nominal_figures_are_those_of_the_set() {
    let catalogue = difference::catalogue();
    let mut draft = difference::draft();
    let second = WindingDraft { wire_id: "cu-0.600".into(), bare_front_mm: 30.0, bare_back_mm: 30.0 };
    draft.notes[5].windings.push(second);
    draft
        .notes
        .iter_mut()
        .filter(|row| row.string_count > 1)
        .for_each(|row| row.string_spacing_mm = Some(9.5));
    let (mut rooms, mut layers) = (0, 0);
    let scale = draft.validate(&catalogue).unwrap();
    for (basis, string, winding) in [
        (PitchBasis::StiffnessFree, StringModel::ClosedForm, WindingModel::Tube),
        (PitchBasis::FirstPartial, StringModel::ClosedForm, WindingModel::Helix),
        (PitchBasis::StiffnessFree, StringModel::Stepped, WindingModel::Helix),
        (PitchBasis::FirstPartial, StringModel::Stepped, WindingModel::Tube),
    ] {
        let options = ComputeOptionsDraft {
            pitch_basis: Some(Choice::Known(basis)),
            string_model: Some(Choice::Known(string)),
            winding_model: Some(Choice::Known(winding)),
            ..Default::default()
        };
        let options = options.validate().unwrap();
        let set = compute(&scale, &catalogue, &options).unwrap();
        for note in scale.notes() {
            let string = TolerancedString::of_note(note, &catalogue, &options);
            let report = propagate(&string.unwrap(), &Tolerances::default()).unwrap();
            // Some string of each plain note is looped, as the report takes it to be; a looped one needs less wire.
            let of_note = set.strings.iter().filter(|string| string.string_id.note() == note.note);
            let string = of_note.min_by(|a, b| a.cut_mm.total_cmp(&b.cut_mm)).unwrap();
            let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-12, "note {}: {a} {b}", note.note);
            near(report.tension_n.nominal, string.tension_n);
            near(report.stress_mpa.nominal, string.stress_mpa);
            near(report.load_share.unwrap().nominal, string.load_share.unwrap());
            near(report.inharmonicity.nominal, string.inharmonicity);
            near(report.cut_mm.nominal, string.cut_mm);
            near(report.linear_density_g_m.nominal, string.linear_density_g_m);
            near(report.stretch_mm.nominal, string.stretch_mm);
            assert_eq!(report.clearance_mm.is_some(), string.clearance_mm.is_some());
            if let Some((found, expected)) = report.clearance_mm.zip(string.clearance_mm) {
                near(found.nominal, expected);
                rooms += 1;
            }
            assert_eq!(report.wound.is_some(), string.wound.is_some());
            let Some((found, expected)) = report.wound.zip(string.wound) else { continue };
            near(found.outer_diameter_mm.nominal, expected.outer_diameter_mm);
            near(found.overall_relaxed_mm.nominal, expected.overall_relaxed_mm);
            assert_eq!(found.layers.len(), string.windings.len());
            for (found, expected) in found.layers.iter().zip(&string.windings) {
                near(found.start_relaxed_mm.nominal, expected.relaxed.start_mm);
                near(found.end_relaxed_mm.nominal, expected.relaxed.end_mm);
                near(found.wire_length_mm.nominal, expected.wire_length_mm);
                near(found.wire_mass_g.nominal, expected.wire_mass_g);
                layers += 1;
            }
        }
    }
    assert!(rooms > 100 && layers > 40, "{rooms} {layers}");
    let scale = difference::draft().validate(&catalogue).unwrap();
    let unknown = TolerancedString::of_note(&scale.notes()[0], &Catalogue::new(), &ComputeOptions::default());
    assert!(matches!(unknown, Err(DesignError::Faults(faults)) if faults.len() == 2));
}

#[test]
fn contributions_are_differences_of_nominal_figures() {
    type Move = fn(&mut TolerancedString, f64);
    let moves: [(Source, f64, Move); 9] = [
        (Source::CoreDiameter, ALL.core_diameter_mm, |s, x| s.core_diameter_mm += x),
        (Source::WindingDiameter, ALL.winding_diameter_mm, |s, x| {
            s.winding.as_mut().unwrap().wire_diameter_mm += x;
        }),
        (Source::OuterWindingDiameter, ALL.winding_diameter_mm, |s, x| {
            s.outer_winding.as_mut().unwrap().wire_diameter_mm += x;
        }),
        (Source::SpeakingLength, ALL.speaking_mm, |s, x| s.speaking_mm += x),
        (Source::Pitch, ALL.pitch_cents, |s, x| s.frequency_hz *= (x / 1200.0).exp2()),
        (Source::YoungsModulus, ALL.youngs_modulus, |s, x| s.youngs_modulus_gpa *= 1.0 + x),
        (Source::CoreDensity, ALL.core_density, |s, x| s.core_density_kg_m3 *= 1.0 + x),
        (Source::WindingDensity, ALL.winding_density, |s, x| {
            s.winding.as_mut().unwrap().density_kg_m3 *= 1.0 + x
        }),
        (Source::OuterWindingDensity, ALL.winding_density, |s, x| {
            s.outer_winding.as_mut().unwrap().density_kg_m3 *= 1.0 + x
        }),
    ];
    // A short string with long bare ends, so that everything counts.
    let mut string = doubly_wound();
    string.speaking_mm = 400.0;
    string.frequency_hz = 90.0;
    string.winding.as_mut().unwrap().bare_ends = BareEnds { front_mm: 60.0, back_mm: 50.0 };
    let report = propagate(&string, &ALL).unwrap();
    for (source, tolerance, by) in moves {
        let nominal = |x: f64| {
            let mut moved = string;
            by(&mut moved, x);
            let report = propagate(&moved, &Tolerances::default()).unwrap();
            figures(&report).iter().map(|quantity| quantity.nominal).collect::<Vec<f64>>()
        };
        // A thousandth of the tolerance either way: the second order cancels and the third is too small to matter.
        let (up, down) = (nominal(tolerance / 1000.0), nominal(-tolerance / 1000.0));
        for (k, quantity) in figures(&report).into_iter().enumerate() {
            let change = (up[k] - down[k]) * 500.0;
            let found = quantity.contributions.iter().find(|c| c.source == source).map_or(0.0, |c| c.change);
            assert!((found - change).abs() < 1e-6 * quantity.worst_case, "{source:?} {k}: {found} {change}");
        }
    }
}
