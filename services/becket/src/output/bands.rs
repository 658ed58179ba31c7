//! Figures with the bands that tolerances make.

use becket_api::stringing::{Band, ComputeBandsResponse, StringBands};
use becket_units::UnitSystem;

use super::{
    Measures, SAFETY_NOTE, Sheet,
    design::{models_text, strength},
    left,
    names::note_name,
    right,
};

/// The bands for people, with one of the sheets.
pub(crate) fn bands_text(answer: &ComputeBandsResponse, sheet: &Sheet) -> String {
    let notes = &answer.notes;
    format!(
        "A band is the root of the sum of squares, for tolerances that are independent; the worst case is their sum.\n  {}\n\n{}\n{}{SAFETY_NOTE}",
        models_text(answer.models.as_ref()),
        sheet.table(),
        strength(notes.iter().map(|bands| bands.strength_label.as_str())),
    )
}

/// One row for each note.
pub(crate) fn bands_sheet(notes: &[StringBands], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let (force, length) = (measures.force_unit(), measures.length_unit());
    let columns = [
        right("note", ""),
        left("name"),
        left("wire"),
        right("tension", force),
        right("tension band", force),
        right("tension worst", force),
        right("load", "%"),
        right("load band", "%"),
        right("load worst", "%"),
        right("B", ""),
        right("B band", "%"),
        right("cut", length),
        right("cut band", length),
        right("cut worst", length),
    ];
    let rows = notes.iter().map(|bands| {
        let mut row = vec![bands.note.to_string(), note_name(bands.note), bands.wire_id.clone()];
        row.extend(three(bands.tension_n.as_ref(), |n| measures.force(n)));
        row.extend(three(bands.load_share.as_ref(), |share| format!("{:.2}", share * 100.0)));
        let b = bands.inharmonicity.clone().unwrap_or_default();
        row.extend([
            format!("{:.2e}", b.nominal),
            // B is small and its band smaller; as a share of itself it can be read.
            format!("{:.2}", 100.0 * b.root_sum_square / b.nominal),
        ]);
        row.extend(three(bands.cut_mm.as_ref(), |mm| measures.length(mm)));
        row
    });
    Sheet::of(columns, rows)
}

/// What the winder goes by: one row for each layer of each wound note.
pub(crate) fn winding_bands_sheet(notes: &[StringBands], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let (length, run, mass) = (measures.length_unit(), measures.run_unit(), measures.mass_unit());
    let columns = [
        right("note", ""),
        left("name"),
        right("layer", ""),
        left("wire"),
        right("start", length),
        right("start band", length),
        right("end", length),
        right("end band", length),
        right("wire length", run),
        right("wire band", run),
        right("mass", mass),
        right("mass band", mass),
        right("over all", length),
        right("over band", length),
        right("room", length),
        right("room band", length),
        right("room worst", length),
    ];
    let rows = notes.iter().flat_map(|bands| {
        let wound = bands.wound.clone().unwrap_or_default();
        let layers = (1..).zip(bands.winding_wire_ids.iter().zip(&wound.layers));
        let rows = layers.map(|(number, (wire_id, layer))| {
            let mut row =
                vec![bands.note.to_string(), note_name(bands.note), number.to_string(), wire_id.clone()];
            // Bands are often less than the tenth of a millimetre to which places are shown.
            let fine = |mm| measures.diameter(mm);
            row.extend(two(layer.start_relaxed_mm.as_ref(), |mm| measures.length(mm), fine));
            row.extend(two(layer.end_relaxed_mm.as_ref(), |mm| measures.length(mm), fine));
            row.extend(two(
                layer.wire_length_mm.as_ref(),
                |mm| measures.run(mm / 1000.0),
                |mm| measures.run(mm / 1000.0),
            ));
            row.extend(two(layer.wire_mass_g.as_ref(), |g| measures.mass(g), |g| measures.mass(g)));
            row.extend(two(wound.outer_diameter_mm.as_ref(), fine, fine));
            row.extend(three(bands.clearance_mm.as_ref(), fine));
            row
        });
        rows.collect::<Vec<_>>()
    });
    Sheet::of(columns, rows)
}

/// Nominal value and band; a blank stands for what is not there, so that columns keep their places.
fn two(band: Option<&Band>, show: impl Fn(f64) -> String, show_band: impl Fn(f64) -> String) -> [String; 2] {
    band.map(|band| [show(band.nominal), show_band(band.root_sum_square)]).unwrap_or_default()
}

fn three(band: Option<&Band>, show: impl Fn(f64) -> String) -> [String; 3] {
    band.map(|band| [band.nominal, band.root_sum_square, band.worst_case].map(show)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use becket_api::stringing::{LayerBands, StringModels, WoundBands};

    use super::*;

    #[test]
    fn bands_stand_beside_their_figures() {
        let band = |nominal: f64, share: f64| {
            Some(Band {
                nominal,
                root_sum_square: nominal * share,
                worst_case: nominal * share * 1.4,
                parts: vec![],
            })
        };
        let bands = StringBands {
            note: 64,
            wire_id: "mw-in-13".into(),
            tension_n: band(757.1, 0.026),
            stress_mpa: band(1550.0, 0.003),
            load_share: band(0.684, 0.003),
            strength_label: "ASTM A228 minimum".into(),
            inharmonicity: band(2.3e-3, 0.05),
            cut_mm: band(561.0, 0.002),
            ..StringBands::default()
        };
        let unknown = StringBands { load_share: None, note: 65, ..bands.clone() };
        expect![[r#"
            A band is the root of the sum of squares, for tolerances that are independent; the worst case is their sum.
              closed form; windings as tube; pitch without stiffness

             note   name   wire       tension   tension band   tension worst    load   load band   load worst         B   B band     cut   cut band   cut worst
                                            N              N               N       %           %            %                  %      mm         mm          mm
            ────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
               64   C6     mw-in-13     757.1           19.7            27.6   68.40        0.21         0.29   2.30e-3     5.00   561.0        1.1         1.6
               65   C#6    mw-in-13     757.1           19.7            27.6                                    2.30e-3     5.00   561.0        1.1         1.6

            Loads are shares of: ASTM A228 minimum.

            Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
            wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
            These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
            qualified piano technician.
        "#]].assert_eq(&bands_text(
            &ComputeBandsResponse { notes: vec![bands.clone(), unknown.clone()], models: Some(StringModels::default()) },
            &bands_sheet(&[bands.clone(), unknown], UnitSystem::Metric),
        ));
        expect![[r#"
            note,name,wire,tension_n,tension_band_n,tension_worst_n,load_percent,load_band_percent,load_worst_percent,b,b_band_percent,cut_mm,cut_band_mm,cut_worst_mm
            64,C6,mw-in-13,757.1,19.7,27.6,68.40,0.21,0.29,2.30e-3,5.00,561.0,1.1,1.6
        "#]].assert_eq(&bands_sheet(&[bands], UnitSystem::Metric).csv());
    }
    #[test]
    fn each_layer_has_bands_of_its_own() {
        let band = |nominal: f64, root_sum_square| {
            Some(Band { nominal, root_sum_square, worst_case: 1.5 * root_sum_square, parts: vec![] })
        };
        let layer = LayerBands {
            start_relaxed_mm: band(220.06, 0.01),
            end_relaxed_mm: band(1345.3, 0.5),
            wire_length_mm: band(8862.9, 90.0),
            wire_mass_g: band(50.35, 0.62),
        };
        let wound = WoundBands {
            outer_diameter_mm: band(4.32, 0.03),
            overall_relaxed_mm: None,
            layers: vec![layer.clone(), layer],
        };
        let bands = StringBands {
            note: 9,
            winding_wire_ids: vec!["cu-0.60".into(), "cu-0.95".into()],
            wound: Some(wound),
            clearance_mm: band(3.71, 0.03),
            ..StringBands::default()
        };
        let plain = StringBands { note: 64, ..StringBands::default() };
        expect![[r#"
             note   name   layer   wire      start   start band      end   end band   wire length   wire band   mass   mass band   over all   over band    room   room band   room worst
                                                mm           mm       mm         mm             m           m      g           g         mm          mm      mm          mm           mm
            ─────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────────
                9   F1         1   cu-0.60   220.1        0.010   1345.3      0.500          8.86        0.09   50.4         0.6      4.320       0.030   3.710       0.030        0.045
                9   F1         2   cu-0.95   220.1        0.010   1345.3      0.500          8.86        0.09   50.4         0.6      4.320       0.030   3.710       0.030        0.045
        "#]].assert_eq(&winding_bands_sheet(&[bands, plain], UnitSystem::Metric).table());
    }
}
