//! Layers of wound strings, for the winder.

use becket_api::stringing::{StringFigures, WindingFigures};
use becket_units::UnitSystem;

use super::{Measures, Sheet, left, names::note_name, right};

/// What the places of the table are measured from.
pub(crate) const WINDINGS_NOTE: &str = "Places are in the relaxed core, from the point at the hitch pin where the back length ends and the eye begins; \
     the wire of the\neye lies beyond. Wire includes the finishing turns.\n\n";

/// One row for each layer of each wound string.
pub(crate) fn windings_sheet<'a>(
    strings: impl IntoIterator<Item = &'a StringFigures>,
    units: UnitSystem,
) -> Sheet {
    let measures = Measures(units);
    let length = measures.length_unit();
    let columns = [
        left("string"),
        left("name"),
        left("core"),
        right("layer", ""),
        left("wire"),
        right("start", length),
        right("end", length),
        right("start pitch", length),
        right("end pitch", length),
        right("overall", length),
        right("outer", length),
        right("room", length),
        right("wire length", measures.run_unit()),
        right("mass", measures.mass_unit()),
    ];
    let rows = strings.into_iter().flat_map(|string| {
        let layers =
            (1..).zip(&string.windings).map(|(layer, winding)| row(string, layer, winding, measures));
        layers.collect::<Vec<_>>()
    });
    Sheet::of(columns, rows)
}

fn row(string: &StringFigures, layer: u32, winding: &WindingFigures, measures: Measures) -> Vec<String> {
    let (relaxed, pitch) = (winding.relaxed.unwrap_or_default(), winding.at_pitch.unwrap_or_default());
    vec![
        string.string_id.clone(),
        note_name(string.note),
        string.wire_id.clone(),
        layer.to_string(),
        winding.wire_id.clone(),
        measures.length(relaxed.start_from_eye_mm),
        measures.length(relaxed.end_from_eye_mm),
        measures.length(pitch.start_from_eye_mm),
        measures.length(pitch.end_from_eye_mm),
        string.wound.map(|wound| measures.length(wound.overall_relaxed_mm)).unwrap_or_default(),
        measures.diameter(winding.outer_diameter_mm),
        string.clearance_mm.map(|mm| measures.length(mm)).unwrap_or_default(),
        measures.run(winding.wire_length_mm / 1000.0),
        measures.mass(winding.wire_mass_g),
    ]
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{WindingPlace, WoundFigures};
    use expect_test::expect;

    use super::*;

    fn string() -> StringFigures {
        let place =
            |start_from_eye_mm, end_from_eye_mm| Some(WindingPlace { start_from_eye_mm, end_from_eye_mm });
        let layer = |wire_id: &str, outer_diameter_mm, at_pitch, relaxed| WindingFigures {
            wire_id: wire_id.into(),
            outer_diameter_mm,
            wire_length_mm: 9512.0,
            wire_mass_g: 16.7,
            at_pitch,
            relaxed,
            ..WindingFigures::default()
        };
        StringFigures {
            string_id: "12.1".into(),
            note: 12,
            wire_id: "mw-mm-17.5".into(),
            wound: Some(WoundFigures { overall_relaxed_mm: 1350.25, ..WoundFigures::default() }),
            clearance_mm: Some(2.5),
            windings: vec![
                layer("cu-0.50", 2.0, place(120.0, 1130.0), place(119.5, 1125.5)),
                layer("cu-1.00", 4.0, place(175.0, 1110.0), place(174.3, 1105.6)),
            ],
            ..StringFigures::default()
        }
    }

    #[test]
    fn each_layer_is_a_row() {
        let plain = StringFigures::default();
        expect![[r#"
             string   name   core         layer   wire      start      end   start pitch   end pitch   overall   outer   room   wire length   mass
                                                               mm       mm            mm          mm        mm      mm     mm             m      g
            ───────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
             12.1     G#1    mw-mm-17.5       1   cu-0.50   119.5   1125.5         120.0      1130.0    1350.2   2.000    2.5          9.51   16.7
             12.1     G#1    mw-mm-17.5       2   cu-1.00   174.3   1105.6         175.0      1110.0    1350.2   4.000    2.5          9.51   16.7
        "#]].assert_eq(&windings_sheet([&string(), &plain], UnitSystem::Metric).table());
    }
}
