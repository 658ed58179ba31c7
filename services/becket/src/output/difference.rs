//! Differences between sets, and strings that are not standard.

use becket_api::stringing::{
    CompareSetsResponse, DifferenceRow, ListSpecialStringsResponse, NumberChange, PieceKind, PieceOfString,
    Presence, SpecialString, StringFigures, WindingFigures,
};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet, left,
    measures::percent,
    names::{count, note_name, word},
    right,
};

/// The differences for people.
pub(crate) fn difference_text(answer: &CompareSetsResponse, units: UnitSystem) -> String {
    let differ = i64::try_from(answer.rows.len()).unwrap_or(i64::MAX);
    let total = answer.total_tension_n.unwrap_or_default();
    let force = |n: Option<f64>| n.map(|n| units.force(n)).unwrap_or_default();
    let mut text = format!(
        "{} differ, {} do not\n  total tension {} before, {} after; {} pieces before, {} after\n",
        count(differ, "string", "strings"),
        answer.unchanged_strings,
        force(total.old),
        force(total.new),
        answer.old_pieces,
        answer.new_pieces,
    );
    if !answer.rows.is_empty() {
        text = format!("{text}\n{}", difference_sheet(&answer.rows, units).table());
    }
    format!("{text}\n{SAFETY_NOTE}")
}

/// One row for each value that differs.
pub(crate) fn difference_sheet(rows: &[DifferenceRow], units: UnitSystem) -> Sheet {
    let columns =
        [left("string"), left("name"), left("what"), left("unit"), right("before", ""), right("after", "")];
    let rows = rows.iter().flat_map(|row| {
        changes(row, units).into_iter().map(|change| {
            vec![
                row.string_id.clone(),
                note_name(row.note),
                change.what.to_owned(),
                change.unit.to_owned(),
                change.before,
                change.after,
            ]
        })
    });
    Sheet::of(columns, rows)
}

/// One value that differs.
struct Changed {
    what: &'static str,
    unit: &'static str,
    before: String,
    after: String,
}

fn changes(row: &DifferenceRow, units: UnitSystem) -> Vec<Changed> {
    let measures = Measures(units);
    let mut list = Vec::new();
    let mut add = |what, unit, before, after| list.push(Changed { what, unit, before, after });
    match row.presence() {
        Presence::OldOnly => add("string", "", "there".to_owned(), "not there".to_owned()),
        Presence::NewOnly => add("string", "", "not there".to_owned(), "there".to_owned()),
        Presence::Both | Presence::Unspecified => {}
    }
    if let Some(wire) = &row.wire {
        add("wire", "", wire.old.clone(), wire.new.clone());
    }
    if let Some(windings) = &row.windings {
        let shown = |layers: &[WindingFigures]| layers_text(layers, measures);
        add("windings", measures.length_unit(), shown(&windings.old), shown(&windings.new));
    }
    let mut number = |what, unit, change: Option<NumberChange>, show: &dyn Fn(f64) -> String| {
        if let Some(NumberChange { old, new }) = change {
            let shown = |value: Option<f64>| value.map(show).unwrap_or_default();
            add(what, unit, shown(old), shown(new));
        }
    };
    number("speaking", measures.length_unit(), row.speaking_mm, &|mm| measures.length(mm));
    number("pitch", "Hz", row.frequency_hz, &|hz| format!("{hz:.2}"));
    number("tension", measures.force_unit(), row.tension_n, &|n| measures.force(n));
    number("load", "%", row.load_share, &percent);
    number("B", "", row.inharmonicity, &|b| format!("{b:.2e}"));
    number("cut", measures.length_unit(), row.cut_mm, &|mm| measures.length(mm));
    if let Some(piece) = &row.piece {
        let shown = |piece: Option<&PieceOfString>| piece.map(piece_text).unwrap_or_default();
        add("piece", "", shown(piece.old.as_ref()), shown(piece.new.as_ref()));
    }
    list
}

/// Wire and covered length of each layer.
fn layers_text(layers: &[WindingFigures], measures: Measures) -> String {
    let layer =
        |layer: &WindingFigures| format!("{} over {}", layer.wire_id, measures.length(layer.covered_mm));
    layers.iter().map(layer).collect::<Vec<_>>().join(" + ")
}

fn piece_text(piece: &PieceOfString) -> String {
    format!("{} ({})", piece.piece_id, word(piece.kind, PieceKind::as_str_name, "PIECE_KIND_"))
}

/// The strings that must be special, for people.
pub(crate) fn special_text(answer: &ListSpecialStringsResponse, units: UnitSystem) -> String {
    let special = i64::try_from(answer.strings.len()).unwrap_or(i64::MAX);
    let mut text = format!(
        "{}: {} must be special, {} are standard ones of {} revision {}\n",
        answer.serial_id,
        count(special, "string", "strings"),
        answer.standard_strings,
        answer.model_id,
        answer.revision_id,
    );
    if !answer.strings.is_empty() {
        text = format!("{text}\n{}", special_sheet(&answer.strings, units).table());
    }
    format!("{text}\n{SAFETY_NOTE}")
}

/// One row for each string that must be special.
pub(crate) fn special_sheet(strings: &[SpecialString], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("string"),
        left("name"),
        left("wire"),
        left("windings"),
        right("speaking", measures.length_unit()),
        right("tension", measures.force_unit()),
        right("cut", measures.length_unit()),
        left("differs in"),
    ];
    let rows = strings.iter().filter_map(|special| {
        let differs = special.difference.as_ref()?;
        let left_out = StringFigures::default();
        let string = special.string.as_ref();
        let shown = |show: &dyn Fn(&StringFigures) -> String| string.map(show).unwrap_or_default();
        let what: Vec<_> = changes(differs, units).iter().map(|change| change.what).collect();
        Some(vec![
            differs.string_id.clone(),
            note_name(differs.note),
            string.unwrap_or(&left_out).wire_id.clone(),
            shown(&|string| layers_text(&string.windings, measures)),
            shown(&|string| measures.length(string.speaking_mm)),
            shown(&|string| measures.force(string.tension_n)),
            shown(&|string| measures.length(string.cut_mm)),
            if string.is_some() { what.join(", ") } else { "left out".to_owned() },
        ])
    });
    Sheet::of(columns, rows)
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{PieceChange, WindingsChange, WireChange};
    use expect_test::expect;

    use super::*;

    fn layers(covered_mm: f64) -> Vec<WindingFigures> {
        vec![WindingFigures { wire_id: "cu-1.50".into(), covered_mm, ..WindingFigures::default() }]
    }

    fn rows() -> Vec<DifferenceRow> {
        let number = |old, new| Some(NumberChange { old: Some(old), new: Some(new) });
        let piece = |id: &str, kind: PieceKind| PieceOfString {
            piece_id: id.into(),
            kind: kind.into(),
            length_um: 1_000_000,
        };
        vec![
            DifferenceRow {
                string_id: "10.1".into(),
                note: 10,
                presence: Presence::Both.into(),
                windings: Some(WindingsChange { old: layers(1029.0), new: layers(1031.5) }),
                speaking_mm: number(1063.0, 1065.5),
                tension_n: number(812.34, 816.16),
                load_share: Some(NumberChange { old: Some(0.43), new: None }),
                ..DifferenceRow::default()
            },
            DifferenceRow {
                string_id: "30.3".into(),
                note: 30,
                presence: Presence::OldOnly.into(),
                ..DifferenceRow::default()
            },
            DifferenceRow {
                string_id: "31.1".into(),
                note: 31,
                presence: Presence::Both.into(),
                wire: Some(WireChange { old: "mw-in-17".into(), new: "mw-in-17.5".into() }),
                frequency_hz: number(155.56, 156.27),
                inharmonicity: number(2.1e-4, 2.2e-4),
                cut_mm: number(1300.0, 1302.0),
                piece: Some(PieceChange {
                    old: Some(piece("31.1+31.2", PieceKind::LoopedPair)),
                    new: Some(piece("31.1", PieceKind::TiedSingle)),
                }),
                ..DifferenceRow::default()
            },
        ]
    }

    #[test]
    fn only_what_changed_has_a_row() {
        let answer = CompareSetsResponse {
            rows: rows(),
            unchanged_strings: 227,
            total_tension_n: Some(NumberChange { old: Some(158_000.0), new: Some(158_010.0) }),
            old_pieces: 130,
            new_pieces: 131,
        };
        expect![[r#"
            3 strings differ, 227 do not
              total tension 158000.0 N before, 158010.0 N after; 130 pieces before, 131 after

             string   name   what       unit                    before                 after
            ─────────────────────────────────────────────────────────────────────────────────
             10.1     F#1    windings   mm         cu-1.50 over 1029.0   cu-1.50 over 1031.5
             10.1     F#1    speaking   mm                      1063.0                1065.5
             10.1     F#1    tension    N                        812.3                 816.2
             10.1     F#1    load       %                         43.0
             30.3     D3     string                              there             not there
             31.1     D#3    wire                             mw-in-17            mw-in-17.5
             31.1     D#3    pitch      Hz                      155.56                156.27
             31.1     D#3    B                                 2.10e-4               2.20e-4
             31.1     D#3    cut        mm                      1300.0                1302.0
             31.1     D#3    piece             31.1+31.2 (looped pair)    31.1 (tied single)

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&difference_text(&answer, UnitSystem::Metric));
        expect![[r#"
            string,name,what,unit,before,after
            10.1,F#1,windings,in,cu-1.50 over 40.512,cu-1.50 over 40.610
            10.1,F#1,speaking,in,41.850,41.949
            10.1,F#1,tension,lbf,182.6,183.5
            10.1,F#1,load,%,43.0,
        "#]]
        .assert_eq(&difference_sheet(&rows()[..1], UnitSystem::Inch).csv());
    }

    #[test]
    fn special_strings_are_listed_with_what_makes_them_so() {
        let string = |id: &str, wire: &str| StringFigures {
            string_id: id.into(),
            wire_id: wire.into(),
            speaking_mm: 1065.5,
            tension_n: 816.16,
            cut_mm: 1412.0,
            windings: layers(1031.5),
            ..StringFigures::default()
        };
        let all = rows();
        let special = |row: usize, string| SpecialString { difference: all.get(row).cloned(), string };
        let answer = ListSpecialStringsResponse {
            serial_id: "S16-0412".into(),
            model_id: "small-160".into(),
            revision_id: "a".into(),
            strings: vec![special(0, Some(string("10.1", "hex-1.00"))), special(1, None)],
            standard_strings: 228,
        };
        expect![[r#"
            S16-0412: 2 strings must be special, 228 are standard ones of small-160 revision a

             string   name   wire       windings              speaking   tension      cut   differs in
                                                                    mm         N       mm
            ──────────────────────────────────────────────────────────────────────────────────────────────────────────────────
             10.1     F#1    hex-1.00   cu-1.50 over 1031.5     1065.5     816.2   1412.0   windings, speaking, tension, load
             30.3     D3                                                                    left out

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&special_text(&answer, UnitSystem::Metric));
    }
}
