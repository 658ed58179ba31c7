//! Plain sizes, against brute force and against the pairing of computed sets.

use becket_acoustics::{inharmonicity, tension_first_partial_n, tension_stiffness_free_n};
use becket_design::{DesignError, Neighbour, NeighbourCosts, PlainNote, PlainQuestion, design_plain};
use becket_scale::{HitchStyle, PitchBasis, SectionId};
use becket_wire::WireId;

use crate::fixture;

/// Tension and B of a size at a note, or `None` beyond the limits.
fn string(question: &PlainQuestion<'_>, note: &PlainNote, wire: usize) -> Option<(f64, f64)> {
    let wire = &question.wires[wire];
    let (e, i, g_m) = (wire.youngs_modulus_gpa(), wire.second_moment_mm4(), wire.linear_density_g_m());
    let tension_n = match question.pitch_basis {
        PitchBasis::StiffnessFree => {
            tension_stiffness_free_n(note.speaking_mm, g_m, note.frequency_hz).unwrap()
        }
        PitchBasis::FirstPartial => {
            tension_first_partial_n(note.speaking_mm, g_m, note.frequency_hz, e, i).unwrap()
        }
    };
    let share = tension_n / wire.breaking_load_n().unwrap();
    let within = share <= question.limits.max_load_share && tension_n <= question.limits.max_tension_n;
    within.then(|| (tension_n, inharmonicity(note.speaking_mm, tension_n, e, i).unwrap()))
}

/// Strings tied because their pair has two sizes, found by pairing string by string, as a person would.
fn tied_at_changes(notes: &[PlainNote], sizes: &[usize]) -> u32 {
    let mut tied = 0;
    let mut open: Option<(&SectionId, usize)> = None;
    for (note, &size) in notes.iter().zip(sizes) {
        for _ in 0..note.string_count {
            if note.hitch == HitchStyle::Tied {
                open = None;
                continue;
            }
            open = match open {
                Some((section, other)) if *section == note.section_id => {
                    tied += if other == size { 0 } else { 2 };
                    None
                }
                _ => Some((&note.section_id, size)),
            };
        }
    }
    tied
}

/// Objective of a sequence of sizes, or `None` if it is not allowed.
fn objective(question: &PlainQuestion<'_>, sizes: &[usize]) -> Option<f64> {
    let runs = sizes.chunk_by(|a, b| a == b).map(<[usize]>::len).min()?;
    if runs < usize::from(question.min_run_notes) {
        return None;
    }
    let costs = &question.neighbour_costs;
    let mut sum = 0.0;
    let mut low = question.below.map(|below| (below.tension_n, below.inharmonicity));
    for (at, (note, &size)) in question.notes.iter().zip(sizes).enumerate() {
        let (tension_n, b) = string(question, note, size)?;
        sum += note.targets.tension_n.map_or(0.0, |t| t.weight * (tension_n / t.value - 1.0).powi(2));
        if let Some((tension_below, b_below)) = low {
            sum += costs.tension_step * (tension_n / tension_below).ln().powi(2);
            sum += costs.inharmonicity_step * (b / b_below).ln().powi(2);
        }
        if at > 0 && sizes[at - 1] != size {
            sum += costs.wire_change;
            let thicker = question.wires[size].diameter_mm() > question.wires[sizes[at - 1]].diameter_mm();
            sum += if thicker { costs.thicker_above } else { 0.0 };
        }
        low = Some((tension_n, b));
    }
    match (tied_at_changes(question.notes, sizes), question.tied_string_cost) {
        (0, _) => Some(sum),
        (tied, Some(cost)) => Some(sum + f64::from(tied) * cost),
        (_, None) => None,
    }
}

fn brute_force(question: &PlainQuestion<'_>) -> f64 {
    let (n, k) = (question.notes.len(), question.wires.len());
    let mut sizes = vec![0; n];
    let mut least = f64::INFINITY;
    loop {
        least = objective(question, &sizes).map_or(least, |value| least.min(value));
        let Some(at) = sizes.iter().rposition(|&size| size + 1 < k) else { return least };
        sizes[at] += 1;
        sizes[at + 1..].fill(0);
    }
}

#[test]
fn equals_brute_force_on_small_cases() {
    let wires = fixture::steel_sizes(&["14", "15.5", "16.5", "18"]);
    // Across the border of two sections, with notes of two strings and a tied note among them.
    let mut notes = fixture::plain_notes(41, 47);
    notes[1].string_count = 2;
    notes[5].hitch = HitchStyle::Tied;
    let mut cases = 0;
    for tied_string_cost in [None, Some(0.0), Some(0.00005), Some(0.01)] {
        for pitch_basis in [PitchBasis::StiffnessFree, PitchBasis::FirstPartial] {
            for (tension_step, inharmonicity_step, wire_change, thicker_above) in
                [(1.0, 0.1, 0.0004, 0.01), (0.0, 0.0, 0.0, 0.0), (10.0, 1.0, 0.0, 0.0), (0.0, 0.0, 0.02, 0.5)]
            {
                for (below, min_run_notes) in
                    [(None, 1), (None, 3), (Some(Neighbour { tension_n: 900.0, inharmonicity: 3e-4 }), 2)]
                {
                    let question = PlainQuestion {
                        below,
                        tied_string_cost,
                        min_run_notes,
                        pitch_basis,
                        neighbour_costs: NeighbourCosts {
                            winding_step: 0.0,
                            layer_change: 0.0,
                            tension_step,
                            inharmonicity_step,
                            wire_change,
                            thicker_above,
                        },
                        ..fixture::plain_question(&notes, &wires)
                    };
                    let (least, design) = (brute_force(&question), design_plain(&question).unwrap());
                    assert!((design.terms.total() - least).abs() <= 1e-9 * (1.0 + least), "{question:?}");
                    let find = |id: &WireId| wires.iter().position(|wire| wire.wire_id() == id).unwrap();
                    let sizes: Vec<usize> = design.notes.iter().map(|note| find(&note.wire_id)).collect();
                    assert_eq!(design.tied_at_changes, tied_at_changes(&notes, &sizes));
                    cases += 1;
                }
            }
        }
    }
    assert_eq!(cases, 96);
}

#[test]
fn sizes_change_after_even_numbers_only_unless_tying_is_allowed() {
    let wires = fixture::steel();
    let notes = fixture::plain_notes(27, 88);
    let question = fixture::plain_question(&notes, &wires);
    let strict = design_plain(&question).unwrap();
    assert_eq!((strict.tied_at_changes, strict.terms.tied_strings), (0, 0.0));
    let changes = |notes: &[becket_design::PlainChoice]| -> Vec<i16> {
        notes.windows(2).filter(|pair| pair[0].wire_id != pair[1].wire_id).map(|pair| pair[1].note).collect()
    };
    let first_of_section = |note: i16| match note {
        ..=44 => 27,
        45..=66 => 45,
        _ => 67,
    };
    let strict_changes = changes(&strict.notes);
    assert!(strict_changes.len() >= 4, "{strict_changes:?}");
    for note in strict_changes {
        assert_eq!(3 * (note - first_of_section(note)) % 2, 0, "change at {note}");
    }
    let free = design_plain(&PlainQuestion { tied_string_cost: Some(0.0), ..question }).unwrap();
    assert!(free.terms.total() < strict.terms.total());
    assert!(free.tied_at_changes > 0);
    let dear = design_plain(&PlainQuestion { tied_string_cost: Some(1000.0), ..question }).unwrap();
    assert_eq!(dear.notes, strict.notes);
}

#[test]
fn fixed_sizes_stay_and_may_leave_no_way() {
    let wires = fixture::steel();
    let mut notes = fixture::plain_notes(27, 44);
    notes[4].fixed_wire_id = Some(WireId::new("mw-in-19").unwrap());
    let question = fixture::plain_question(&notes, &wires);
    assert_eq!(design_plain(&question).unwrap().notes[4].wire_id.as_str(), "mw-in-19");
    // 27 and 28 share a piece, so they cannot have two sizes.
    notes[0].fixed_wire_id = Some(WireId::new("mw-in-19").unwrap());
    notes[1].fixed_wire_id = Some(WireId::new("mw-in-18").unwrap());
    let question = fixture::plain_question(&notes, &wires);
    assert_eq!(design_plain(&question).unwrap_err(), DesignError::NoSequence { note: 28 });
    let tied = design_plain(&PlainQuestion { tied_string_cost: Some(1.0), ..question }).unwrap();
    // Both strings of the pair pay.
    assert_eq!((tied.tied_at_changes, tied.terms.tied_strings), (2, 2.0));
    assert!(tied.notes[1].pair_cut_below);
    // A run of one note at the lower end is too short, whatever comes after it.
    let runs = PlainQuestion { tied_string_cost: Some(1.0), min_run_notes: 2, ..question };
    assert_eq!(design_plain(&runs).unwrap_err(), DesignError::NoSequence { note: 28 });
    let free = fixture::plain_notes(27, 29);
    let too_long = PlainQuestion { min_run_notes: 4, ..fixture::plain_question(&free, &wires) };
    assert_eq!(design_plain(&too_long).unwrap_err(), DesignError::NoSequence { note: 29 });
    let just = PlainQuestion { min_run_notes: 3, ..too_long };
    assert!(design_plain(&just).is_ok());
}

#[test]
fn a_run_of_pairs_ends_with_its_section_and_at_a_tied_note() {
    let wires = fixture::steel();
    let fixed = |size: &str| Some(WireId::new(size).unwrap());
    // Nine strings up to the end of the tenor: the last is tied anyway, and the treble begins a run of its own.
    let mut notes = fixture::plain_notes(42, 46);
    notes[2].fixed_wire_id = fixed("mw-in-17.5");
    notes[3].fixed_wire_id = fixed("mw-in-17");
    let design = design_plain(&fixture::plain_question(&notes, &wires)).unwrap();
    assert_eq!(design.tied_at_changes, 0);
    // In one section the same change cuts a pair, unless a tied note lies there.
    for note in &mut notes {
        note.section_id = SectionId::new("tenor").unwrap();
    }
    let refused = design_plain(&fixture::plain_question(&notes, &wires)).unwrap_err();
    assert_eq!(refused, DesignError::NoSequence { note: 45 });
    notes[2].hitch = HitchStyle::Tied;
    assert!(design_plain(&fixture::plain_question(&notes, &wires)).is_ok());
    // Three strings before a tied note: the last is left over, and the tied note may have any size.
    let mut notes = fixture::plain_notes(30, 31);
    notes[0].fixed_wire_id = fixed("mw-in-20");
    notes[1].fixed_wire_id = fixed("mw-in-19");
    assert!(design_plain(&fixture::plain_question(&notes, &wires)).is_err());
    notes[1].hitch = HitchStyle::Tied;
    assert_eq!(design_plain(&fixture::plain_question(&notes, &wires)).unwrap().tied_at_changes, 0);
}

#[test]
fn tells_every_fault_and_every_note_without_a_fit() {
    let wires = fixture::steel();
    let mut notes = fixture::plain_notes(60, 62);
    for note in &mut notes {
        note.speaking_mm = 900.0;
    }
    match design_plain(&fixture::plain_question(&notes, &wires)) {
        Err(DesignError::NothingFits(unmet)) => {
            assert_eq!(unmet.len(), 3);
            assert!(
                unmet.iter().all(|unmet| unmet.tried == wires.len() as u64 && unmet.too_high == unmet.tried)
            );
        }
        other => panic!("{other:?}"),
    }
    notes[0].string_count = 9;
    notes[1].frequency_hz = f64::INFINITY;
    notes[2].fixed_wire_id = Some(WireId::new("no-such-wire").unwrap());
    match design_plain(&PlainQuestion {
        tied_string_cost: Some(-1.0),
        min_run_notes: 0,
        ..fixture::plain_question(&notes, &wires)
    }) {
        Err(DesignError::Faults(faults)) => assert_eq!(faults.len(), 5, "{faults:?}"),
        other => panic!("{other:?}"),
    }
}
