//! String sets.

use std::fmt::Write as _;

use becket_api::stringing::{
    ComputeOptions, Extreme, Piece, PieceKind, PitchBasis, SectionTotal, Severity, StringFigures,
    StringModel, StringSet, Warning, WindingModel, WireTotal,
};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet, left,
    measures::percent,
    names::{count, note_name, notes_of_piece, time, word},
    right,
};

/// The set in a page: totals, sections, warnings, wire.
pub(crate) fn set_text(set: &StringSet, units: UnitSystem) -> String {
    let wires = wire_totals_sheet(&set.wire_totals, units).table();
    format!("{}\n{wires}\ndigest {}\n\n{SAFETY_NOTE}", set_overview(set, units), set.digest)
}

/// The head of the page: totals, sections, warnings.
pub(crate) fn set_overview(set: &StringSet, units: UnitSystem) -> String {
    let sections = sections_sheet(&set.section_totals, units).table();
    format!("{}{}\n{sections}\n{}", heading(set), totals(set, units), warnings(&set.warnings))
}

fn heading(set: &StringSet) -> String {
    let serial = if set.serial_id.is_empty() { "No serial" } else { &set.serial_id };
    let frozen = match set.freeze_time.as_ref() {
        Some(at) if set.frozen => format!("frozen {}", time(Some(at))),
        _ if set.frozen => "frozen".to_owned(),
        _ => "not frozen: follows its job".to_owned(),
    };
    let mut text =
        format!("{serial}: string set of {} revision {}, {frozen}\n", set.model_id, set.revision_id);
    if let Some(basis) = &set.basis {
        if let Some(options) = &basis.options {
            let pitch = options.pitch_basis.map(|basis| word(basis, PitchBasis::as_str_name, "PITCH_BASIS_"));
            let _ = writeln!(
                text,
                "  pitch            A4 {:.2} Hz, {}",
                options.a4_hz.unwrap_or_default(),
                pitch.unwrap_or_default()
            );
        }
        if let Some(options) = &basis.options {
            text.push_str(&models(options));
        }
        if !basis.as_built_notes.is_empty() {
            let notes: Vec<_> = basis.as_built_notes.iter().map(|note| note_name(*note)).collect();
            let _ = writeln!(text, "  measured notes   {}", notes.join(" "));
        }
    }
    text
}

/// How strings and windings were reckoned; nothing for a set of before this was told.
pub(super) fn models(options: &ComputeOptions) -> String {
    let strings = match options.string_model() {
        StringModel::Unspecified => return String::new(),
        StringModel::ClosedForm => "closed form".to_owned(),
        StringModel::Stepped => {
            format!("stepped, B fitted to {} partials", options.partial_count.unwrap_or_default())
        }
    };
    let windings = word(options.winding_model().into(), WindingModel::as_str_name, "WINDING_MODEL_");
    format!("  model            strings {strings}; windings as a {windings}\n")
}

fn totals(set: &StringSet, units: UnitSystem) -> String {
    let Some(totals) = &set.totals else { return String::new() };
    let mut text = format!(
        "  strings          {} ({} wound) from {} pieces: {} looped pairs, {} tied plain\n  total tension    {}{}\n",
        totals.strings,
        totals.wound_strings,
        totals.pieces,
        totals.looped_pairs,
        totals.tied_singles,
        units.force(totals.tension_n),
        plate(set, units)
    );
    let mut extreme = |label: &str, extreme: Option<&Extreme>, show: &dyn Fn(f64) -> String| {
        if let Some(extreme) = extreme {
            let _ = writeln!(
                text,
                "  {label:<16} {} at {}",
                show(extreme.value),
                string_name(&extreme.string_id)
            );
        }
    };
    let force = |n: f64| units.force(n);
    let share = |share: f64| format!("{} % of breaking load", percent(share));
    extreme("lowest tension", totals.lowest_tension.as_ref(), &force);
    extreme("highest tension", totals.highest_tension.as_ref(), &force);
    extreme("lowest load", totals.lowest_load_share.as_ref(), &share);
    extreme("highest load", totals.highest_load_share.as_ref(), &share);
    text
}

fn plate(set: &StringSet, units: UnitSystem) -> String {
    let limit =
        set.basis.as_ref().and_then(|basis| basis.scale.as_ref()).and_then(|scale| scale.plate_limit_n);
    limit.map_or_else(
        || ", plate limit not stated".to_owned(),
        |limit| format!(" of {} that the plate may carry", units.force(limit)),
    )
}

/// `52.3` is `52.3 (C5)`.
fn string_name(string_id: &str) -> String {
    format!("{string_id} ({})", notes_of_piece(string_id))
}

fn sections_sheet(sections: &[SectionTotal], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("section"),
        right("strings", ""),
        right("pieces", ""),
        right("tied plain", ""),
        right("tension", measures.force_unit()),
    ];
    let rows = sections.iter().map(|section| {
        vec![
            section.section_id.clone(),
            section.strings.to_string(),
            section.pieces.to_string(),
            section.tied_singles.to_string(),
            measures.force(section.tension_n),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each wire.
pub(crate) fn wire_totals_sheet(totals: &[WireTotal], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("wire"),
        right("pieces", ""),
        right("length", measures.run_unit()),
        right("mass", measures.mass_unit()),
    ];
    let rows = totals.iter().map(|total| {
        vec![
            total.wire_id.clone(),
            total.pieces.to_string(),
            measures.run(total.length_mm / 1000.0),
            measures.mass(total.mass_g),
        ]
    });
    Sheet::of(columns, rows)
}

fn warnings(warnings: &[Warning]) -> String {
    if warnings.is_empty() {
        return "No warnings.\n".to_owned();
    }
    let number = i64::try_from(warnings.len()).unwrap_or(i64::MAX);
    let mut text = format!("{}:\n", count(number, "remark", "remarks"));
    for warning in warnings {
        let severity = word(warning.severity, Severity::as_str_name, "SEVERITY_").to_uppercase();
        let place =
            warning.note.map(|note| format!("note {note} ({}): ", note_name(note))).unwrap_or_default();
        let _ = writeln!(text, "  {severity:<8} {place}{} {}", warning.message, warning.advice);
    }
    text
}

/// One row for each string.
pub(crate) fn strings_sheet<'a>(
    strings: impl IntoIterator<Item = &'a StringFigures>,
    units: UnitSystem,
) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("string"),
        left("name"),
        left("section"),
        left("wire"),
        left("windings"),
        right("pitch", "Hz"),
        right("speaking", measures.length_unit()),
        right("tension", measures.force_unit()),
        right("stress", measures.stress_unit()),
        right("load", "%"),
        right("B", ""),
        right("stretch", measures.length_unit()),
        left("piece"),
    ];
    let rows = strings.into_iter().map(|string| {
        let windings: Vec<_> = string.windings.iter().map(|winding| winding.wire_id.as_str()).collect();
        vec![
            string.string_id.clone(),
            note_name(string.note),
            string.section_id.clone(),
            string.wire_id.clone(),
            windings.join(" + "),
            format!("{:.2}", string.frequency_hz),
            measures.length(string.speaking_mm),
            measures.force(string.tension_n),
            measures.stress(string.stress_mpa),
            string.load_share.map(percent).unwrap_or_default(),
            format!("{:.2e}", string.inharmonicity),
            measures.length(string.stretch_mm),
            string.piece_id.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each piece of wire.
pub(crate) fn pieces_sheet(pieces: &[Piece], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("piece"),
        left("notes"),
        left("kind"),
        left("section"),
        left("wire"),
        right("length", measures.length_unit()),
        right("mass", measures.mass_unit()),
    ];
    let rows = pieces.iter().map(|piece| {
        vec![
            piece.piece_id.clone(),
            notes_of_piece(&piece.piece_id),
            word(piece.kind, PieceKind::as_str_name, "PIECE_KIND_"),
            piece.section_id.clone(),
            piece.wire_id.clone(),
            measures.length_um(piece.length_um),
            measures.mass(piece.mass_g),
        ]
    });
    Sheet::of(columns, rows)
}

/// A few strings of each kind: the first two and the last of the wound, the looped and the tied ones.
pub(crate) fn strings_of_kinds(set: &StringSet) -> Vec<&StringFigures> {
    let kinds = [PieceKind::WoundCore, PieceKind::LoopedPair, PieceKind::TiedSingle];
    let mut chosen = Vec::new();
    for kind in kinds {
        let of_kind: Vec<_> =
            set.strings.iter().filter(|string| kind_of(set, string) == Some(kind)).collect();
        let first = of_kind.iter().take(2);
        let last = of_kind.iter().skip(2).next_back();
        chosen.extend(first.chain(last).copied());
    }
    chosen
}

fn kind_of(set: &StringSet, string: &StringFigures) -> Option<PieceKind> {
    let piece = set.pieces.iter().find(|piece| piece.piece_id == string.piece_id)?;
    PieceKind::try_from(piece.kind).ok()
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{Scale, SetBasis, SetTotals, WarningCode};
    use expect_test::expect;

    use super::*;

    fn string(id: &str, note: i32, piece: &str) -> StringFigures {
        StringFigures {
            string_id: id.into(),
            note,
            section_id: "tenor".into(),
            wire_id: "mw-in-16".into(),
            piece_id: piece.into(),
            frequency_hz: 523.2511,
            speaking_mm: 344.0,
            tension_n: 705.25,
            stress_mpa: 1017.0,
            load_share: Some(0.4712),
            inharmonicity: 8.97e-4,
            stretch_mm: 3.21,
            ..StringFigures::default()
        }
    }

    fn piece(id: &str, kind: PieceKind, length_um: i64) -> Piece {
        Piece {
            piece_id: id.into(),
            kind: kind.into(),
            wire_id: "mw-in-16".into(),
            section_id: "tenor".into(),
            length_um,
            mass_g: 6.2,
            ..Piece::default()
        }
    }

    fn set() -> StringSet {
        StringSet {
            serial_id: "S1".into(),
            model_id: "m".into(),
            revision_id: "a".into(),
            basis: Some(SetBasis {
                options: Some(ComputeOptions {
                    a4_hz: Some(442.0),
                    pitch_basis: Some(PitchBasis::FirstPartial.into()),
                    string_model: Some(StringModel::Stepped.into()),
                    winding_model: Some(WindingModel::Helix.into()),
                    partial_count: Some(16),
                    ..ComputeOptions::default()
                }),
                scale: Some(Scale { plate_limit_n: Some(210_000.0), ..Scale::default() }),
                as_built_notes: vec![52],
                ..SetBasis::default()
            }),
            strings: vec![
                string("52.3", 52, "52.3+53.1"),
                string("53.1", 53, "52.3+53.1"),
                string("88.3", 88, "88.3"),
            ],
            pieces: vec![
                piece("52.3+53.1", PieceKind::LoopedPair, 1_234_000),
                piece("88.3", PieceKind::TiedSingle, 400_500),
            ],
            wire_totals: vec![WireTotal {
                wire_id: "mw-in-16".into(),
                pieces: 2,
                length_mm: 1634.5,
                mass_g: 8.9,
            }],
            section_totals: vec![SectionTotal {
                section_id: "tenor".into(),
                strings: 3,
                pieces: 2,
                tied_singles: 1,
                tension_n: 2115.75,
            }],
            totals: Some(SetTotals {
                strings: 3,
                pieces: 2,
                looped_pairs: 1,
                tied_singles: 1,
                tension_n: 2115.75,
                highest_tension: Some(Extreme { string_id: "52.3".into(), value: 705.25 }),
                highest_load_share: Some(Extreme { string_id: "88.3".into(), value: 0.4712 }),
                ..SetTotals::default()
            }),
            warnings: vec![Warning {
                code: WarningCode::PairTiedAtWireChange.into(),
                severity: Severity::Notice.into(),
                note: Some(53),
                message: "The pair would straddle two wires and is tied as two singles.".into(),
                advice: "Change the wire a note later.".into(),
                ..Warning::default()
            }],
            digest: "abc".into(),
            ..StringSet::default()
        }
    }

    #[test]
    fn a_set_is_a_page() {
        expect![[r#"
            S1: string set of m revision a, not frozen: follows its job
              pitch            A4 442.00 Hz, first partial
              model            strings stepped, B fitted to 16 partials; windings as a helix
              measured notes   C5
              strings          3 (0 wound) from 2 pieces: 1 looped pairs, 1 tied plain
              total tension    2115.8 N of 210000.0 N that the plate may carry
              highest tension  705.2 N at 52.3 (C5)
              highest load     47.1 % of breaking load at 88.3 (C8)

             section   strings   pieces   tied plain   tension
                                                             N
            ───────────────────────────────────────────────────
             tenor           3        2            1    2115.8

            1 remark:
              NOTICE   note 53 (C#5): The pair would straddle two wires and is tied as two singles. Change the wire a note later.

             wire       pieces   length   mass
                                      m      g
            ───────────────────────────────────
             mw-in-16        2     1.63    8.9

            digest abc

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&set_text(&set(), UnitSystem::Metric));
    }

    #[test]
    fn strings_and_pieces_are_tables() {
        expect![[r#"
             string   name   section   wire       windings    pitch   speaking   tension   stress   load         B   stretch   piece
                                                                 Hz         mm         N      MPa      %                  mm
            ─────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
             52.3     C5     tenor     mw-in-16              523.25      344.0     705.2     1017   47.1   8.97e-4       3.2   52.3+53.1
             53.1     C#5    tenor     mw-in-16              523.25      344.0     705.2     1017   47.1   8.97e-4       3.2   52.3+53.1
             88.3     C8     tenor     mw-in-16              523.25      344.0     705.2     1017   47.1   8.97e-4       3.2   88.3
        "#]].assert_eq(&strings_sheet(&set().strings, UnitSystem::Metric).table());
        expect![[r#"
             piece       notes    kind          section   wire       length   mass
                                                                         mm      g
            ───────────────────────────────────────────────────────────────────────
             52.3+53.1   C5 C#5   looped pair   tenor     mw-in-16   1234.0    6.2
             88.3        C8       tied single   tenor     mw-in-16    400.5    6.2
        "#]]
        .assert_eq(&pieces_sheet(&set().pieces, UnitSystem::Metric).table());
        expect![[r#"
            piece,notes,kind,section,wire,length_in,mass_lb
            52.3+53.1,C5 C#5,looped pair,tenor,mw-in-16,48.583,0.014
            88.3,C8,tied single,tenor,mw-in-16,15.768,0.014
        "#]]
        .assert_eq(&pieces_sheet(&set().pieces, UnitSystem::Inch).csv());
    }

    #[test]
    fn every_kind_is_shown() {
        let set = set();
        let shown: Vec<_> = strings_of_kinds(&set).iter().map(|string| string.string_id.as_str()).collect();
        assert_eq!(shown, ["52.3", "53.1", "88.3"]);
    }
}
