//! An invented shop and an invented small grand.

use becket_acoustics::equal_tempered_hz;
use becket_design::{
    BareEnds, BassDesign, BassLimits, BassQuestion, Curve, Neighbour, NeighbourCosts, PlainDesign,
    PlainLimits, PlainNote, PlainQuestion, Target, Targets, WoundNote, design_bass, design_plain,
};
use becket_scale::{HitchStyle, Models, PitchBasis, SectionId};
use becket_wire::{Material, SizeSeries, Wire, WireDraft, standard_wires};

/// Speaking lengths of notes 27 to 88 in mm. Posted as measurements of a small grand on a technicians' forum, 2019.
pub(crate) const PLAIN_MM: [f64; 62] = [
    1009.0, 1001.0, 990.0, 979.0, 965.0, 948.0, 922.0, 900.0, 847.0, 798.0, 756.0, 715.0, 678.0, 640.0,
    607.0, 572.0, 542.0, 511.0, 482.0, 456.0, 432.0, 412.0, 392.0, 374.0, 355.0, 340.0, 327.0, 312.0, 290.0,
    274.0, 259.0, 245.0, 232.0, 219.0, 208.0, 196.0, 186.0, 176.0, 164.0, 156.0, 149.0, 142.0, 135.0, 129.0,
    123.0, 114.0, 109.0, 102.0, 95.0, 90.0, 85.0, 80.0, 75.0, 71.0, 68.0, 64.0, 61.0, 58.0, 56.0, 54.0, 52.0,
    50.0,
];

/// Round steel of the inch series, as far as its strength is known.
pub(crate) fn steel() -> Vec<Wire> {
    let all = standard_wires(SizeSeries::Inch);
    all.into_iter().filter(|wire| wire.breaking_load_n().is_some()).collect()
}

/// Some of them, by size.
pub(crate) fn steel_sizes(sizes: &[&str]) -> Vec<Wire> {
    let wanted = |wire: &Wire| sizes.iter().any(|size| wire.wire_id().as_str() == format!("mw-in-{size}"));
    steel().into_iter().filter(wanted).collect()
}

/// Copper of one diameter.
pub(crate) fn copper(diameter_mm: f64) -> Wire {
    WireDraft {
        wire_id: format!("cu-{diameter_mm:.3}"),
        material: Some(Material::Copper),
        diameter_mm,
        density_kg_m3: 8930.0,
        youngs_modulus_gpa: 120.0,
        ..WireDraft::default()
    }
    .validate()
    .unwrap()
}

/// `count` copper wires from 0.15 mm to 2.2 mm, in equal ratios.
pub(crate) fn coppers(count: u32) -> Vec<Wire> {
    let ratio = (2.2_f64 / 0.15).powf(1.0 / f64::from(count - 1));
    let diameter = |k| (0.15 * ratio.powi(k) * 1000.0).round() / 1000.0;
    (0..count.try_into().unwrap()).map(|k| copper(diameter(k))).collect()
}

pub(crate) fn hz(note: i16) -> f64 {
    equal_tempered_hz(note.into(), 440.0, 0.0).unwrap()
}

/// Wound notes from `first` to `last`, with lengths of a small grand; the first ten may have two layers.
pub(crate) fn wound_notes(first: i16, last: i16) -> Vec<WoundNote> {
    let length_mm = Curve::new(&[(1, 1166.0), (26, 950.0)]).unwrap();
    let tension_n = Curve::new(&[(1, 1250.0), (26, 800.0)]).unwrap();
    let note = |note| WoundNote {
        note,
        speaking_mm: length_mm.at(note),
        frequency_hz: hz(note),
        bare_ends: BareEnds { front_mm: 18.0, back_mm: 14.0 },
        outer_bare_ends: (note <= 10).then_some(BareEnds { front_mm: 25.0, back_mm: 20.0 }),
        targets: Targets {
            tension_n: Some(Target { value: tension_n.at(note), weight: 1.0 }),
            load_share: Some(Target { value: 0.5, weight: 0.5 }),
            inharmonicity_ceiling: Some(Target { value: 2e-4, weight: 0.1 }),
        },
    };
    (first..=last).map(note).collect()
}

pub(crate) fn bass_question<'a>(
    notes: &'a [WoundNote],
    cores: &'a [Wire],
    windings: &'a [Wire],
) -> BassQuestion<'a> {
    BassQuestion {
        notes,
        cores,
        windings,
        above: None,
        neighbour_costs: NeighbourCosts::default(),
        second_layer_cost: 0.0,
        limits: BassLimits::default(),
        models: Models::default(),
    }
}

/// Plain notes from `first` to `last` in three sections, three strings each, looped back.
pub(crate) fn plain_notes(first: i16, last: i16) -> Vec<PlainNote> {
    let note = |note: i16| PlainNote {
        note,
        section_id: SectionId::new(match note {
            ..=44 => "tenor",
            45..=66 => "treble",
            _ => "high-treble",
        })
        .unwrap(),
        string_count: 3,
        hitch: HitchStyle::LoopedBack,
        speaking_mm: PLAIN_MM[usize::try_from(note - 27).unwrap()],
        frequency_hz: hz(note),
        fixed_wire_id: None,
        targets: Targets { tension_n: Some(Target { value: 720.0, weight: 1.0 }), ..Targets::default() },
    };
    (first..=last).map(note).collect()
}

pub(crate) fn plain_question<'a>(notes: &'a [PlainNote], wires: &'a [Wire]) -> PlainQuestion<'a> {
    PlainQuestion {
        notes,
        wires,
        below: None,
        neighbour_costs: NeighbourCosts::default(),
        tied_string_cost: None,
        min_run_notes: 1,
        limits: PlainLimits::default(),
        pitch_basis: PitchBasis::StiffnessFree,
    }
}

/// A whole instrument of 88 notes as designed: wound 1 to 26, plain above.
pub(crate) struct Whole {
    pub(crate) wound_notes: Vec<WoundNote>,
    pub(crate) wound: BassDesign,
    pub(crate) plain_notes: Vec<PlainNote>,
    pub(crate) plain: PlainDesign,
}

impl Whole {
    pub(crate) fn designed() -> Self {
        let (cores, coppers) = (steel(), coppers(40));
        let plain_notes = plain_notes(27, 88);
        let plain = design_plain(&plain_question(&plain_notes, &cores)).unwrap();
        let wound_notes = wound_notes(1, 26);
        let first = &plain.notes[0];
        let above = Some(Neighbour { tension_n: first.tension_n, inharmonicity: first.inharmonicity });
        let question = BassQuestion { above, ..bass_question(&wound_notes, &cores, &coppers) };
        let wound = design_bass(&question).unwrap();
        Self { wound_notes, wound, plain_notes, plain }
    }
}
