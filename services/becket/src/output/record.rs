//! Records of serials and traces of lots.

use becket_api::{
    cutting::{CutRecord, GetSerialRecordResponse, LotSerial, Quantity, RecordLine, RecordTotal},
    stringing::{JobState, PieceKind},
};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet, left,
    names::{count, time, word},
    right,
};

/// The record of a serial: totals, then every line.
pub(crate) fn record_text(record: &GetSerialRecordResponse, units: UnitSystem) -> String {
    let pieces = |quantity: Option<&Quantity>| {
        value(quantity).map_or_else(|| "?".to_owned(), |number| number.to_string())
    };
    format!(
        "{}: {} revision {}, job {}; {} of {} pieces cut\nstring set {}\n\n{}\n{}",
        record.serial_id,
        record.model_id,
        record.revision_id,
        word(record.job_state, JobState::as_str_name, "JOB_STATE_"),
        pieces(record.pieces_cut.as_ref()),
        pieces(record.pieces.as_ref()),
        record.set_digest,
        totals_sheet(&record.totals, units).table(),
        record_sheet(&record.lines, units).table()
    )
}

fn totals_sheet(totals: &[RecordTotal], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("wire"),
        right("pieces", ""),
        right("length", measures.run_unit()),
        right("mass", measures.heavy_unit()),
        left("lots"),
    ];
    let rows = totals.iter().map(|total| {
        vec![
            total.wire_id.clone(),
            value(total.pieces.as_ref()).map(|number| number.to_string()).unwrap_or_default(),
            value(total.length.as_ref()).map(|m| measures.run(m)).unwrap_or_default(),
            value(total.mass.as_ref()).map(|kg| measures.heavy(kg)).unwrap_or_default(),
            total.lot_ids.join(" "),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each piece and each winding.
pub(crate) fn record_sheet<'a>(lines: impl IntoIterator<Item = &'a RecordLine>, units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [
        left("piece"),
        left("kind"),
        right("layer", ""),
        left("wire"),
        right("length", measures.length_unit()),
        right("mass", measures.mass_unit()),
        left("coil"),
        left("lot"),
        left("list"),
        right("step", ""),
        left("cut"),
        left("by"),
        right("spoiled", ""),
    ];
    Sheet::of(columns, lines.into_iter().map(|line| row(line, measures)))
}

fn row(line: &RecordLine, measures: Measures) -> Vec<String> {
    let cut = |text: &dyn Fn(&CutRecord) -> String| line.cut.as_ref().map(text).unwrap_or_default();
    let spoiled = line.spoiled.len();
    vec![
        line.piece_id.clone(),
        word(line.kind, PieceKind::as_str_name, "PIECE_KIND_"),
        if line.layer == 0 { String::new() } else { line.layer.to_string() },
        line.wire_id.clone(),
        value(line.length.as_ref()).map(|m| measures.length(m * 1000.0)).unwrap_or_default(),
        value(line.mass.as_ref()).map(|kg| measures.mass(kg * 1000.0)).unwrap_or_default(),
        cut(&|cut| cut.coil_id.clone()),
        cut(&|cut| cut.lot_id.clone()),
        cut(&|cut| cut.list_id.clone()),
        cut(&|cut| cut.step_number.to_string()),
        cut(&|cut| time(cut.cut_time.as_ref())),
        cut(&|cut| cut.cut_by.clone()),
        if spoiled == 0 { String::new() } else { spoiled.to_string() },
    ]
}

/// One row for each serial that holds wire of a lot.
pub(crate) fn trace_sheet(serials: &[LotSerial], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns =
        [left("serial"), left("wire"), left("coils"), right("length", measures.run_unit()), left("pieces")];
    let rows = serials.iter().map(|serial| {
        vec![
            serial.serial_id.clone(),
            serial.wire_id.clone(),
            serial.coil_ids.join(" "),
            value(serial.length.as_ref()).map(|m| measures.run(m)).unwrap_or_default(),
            pieces_in_short(&serial.piece_ids),
        ]
    });
    Sheet::of(columns, rows)
}

fn pieces_in_short(piece_ids: &[String]) -> String {
    match piece_ids {
        [first, .., last] if piece_ids.len() > 3 => {
            format!(
                "{} from {first} to {last}",
                count(i64::try_from(piece_ids.len()).unwrap_or(i64::MAX), "piece", "pieces")
            )
        }
        few => few.join(" "),
    }
}

fn value(quantity: Option<&Quantity>) -> Option<f64> {
    quantity.map(|quantity| quantity.value)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    fn quantity(value: f64, unit: &str) -> Option<Quantity> {
        Some(Quantity { value, unit_code: unit.into() })
    }

    fn record() -> GetSerialRecordResponse {
        let piece = RecordLine {
            piece_id: "1.1".into(),
            kind: PieceKind::WoundCore.into(),
            wire_id: "mw-in-25".into(),
            length: quantity(2.571, "MTR"),
            mass: quantity(0.0356, "KGM"),
            cut: Some(CutRecord {
                coil_id: "R0104".into(),
                lot_id: "H2604-11".into(),
                list_id: "L-0001".into(),
                step_number: 2,
                cut_time: Some(prost_types::Timestamp { seconds: 1_764_000_000, nanos: 0 }),
                cut_by: "ann".into(),
                spoil_cause: None,
            }),
            ..RecordLine::default()
        };
        let winding = RecordLine {
            piece_id: "1.1".into(),
            layer: 1,
            wire_id: "cu-1.15".into(),
            length: quantity(10.5, "MTR"),
            mass: quantity(0.0974, "KGM"),
            ..RecordLine::default()
        };
        GetSerialRecordResponse {
            serial_id: "S1".into(),
            model_id: "m".into(),
            revision_id: "a".into(),
            job_state: JobState::Frozen.into(),
            set_digest: "abc".into(),
            lines: vec![piece, winding],
            totals: vec![RecordTotal {
                wire_id: "mw-in-25".into(),
                pieces: quantity(1.0, "C62"),
                length: quantity(2.571, "MTR"),
                mass: quantity(0.0356, "KGM"),
                lot_ids: vec!["H2604-11".into()],
            }],
            pieces: quantity(141.0, "C62"),
            pieces_cut: quantity(1.0, "C62"),
        }
    }

    #[test]
    fn a_record_tells_lots() {
        expect![[r#"
            S1: m revision a, job frozen; 1 of 141 pieces cut
            string set abc

             wire       pieces   length    mass   lots
                                      m      kg
            ───────────────────────────────────────────────
             mw-in-25        1     2.57   0.036   H2604-11

             piece   kind         layer   wire        length   mass   coil    lot        list     step   cut                    by    spoiled
                                                          mm      g
            ──────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
             1.1     wound core           mw-in-25    2571.0   35.6   R0104   H2604-11   L-0001      2   2025-11-24 16:00:00Z   ann
             1.1                      1   cu-1.15    10500.0   97.4
        "#]].assert_eq(&record_text(&record(), UnitSystem::Metric));
        expect![[r#"
            piece,kind,layer,wire,length_in,mass_lb,coil,lot,list,step,cut,by,spoiled
            1.1,wound core,,mw-in-25,101.220,0.078,R0104,H2604-11,L-0001,2,2025-11-24 16:00:00Z,ann,
            1.1,,1,cu-1.15,413.386,0.215,,,,,,,
        "#]]
        .assert_eq(&record_sheet(&record().lines, UnitSystem::Inch).csv());
    }

    #[test]
    fn a_lot_is_traced_to_serials() {
        let serial = |ids: &[&str]| LotSerial {
            serial_id: "S1".into(),
            wire_id: "mw-in-16".into(),
            coil_ids: vec!["R1".into(), "R2".into()],
            piece_ids: ids.iter().map(|id| (*id).to_owned()).collect(),
            length: quantity(12.5, "MTR"),
        };
        let serials = [serial(&["1.1", "2.1"]), serial(&["1.1", "2.1", "3.1", "4.1"])];
        expect![[r#"
             serial   wire       coils   length   pieces
                                              m
            ───────────────────────────────────────────────────────────────
             S1       mw-in-16   R1 R2    12.50   1.1 2.1
             S1       mw-in-16   R1 R2    12.50   4 pieces from 1.1 to 4.1
        "#]]
        .assert_eq(&trace_sheet(&serials, UnitSystem::Metric).table());
    }
}
