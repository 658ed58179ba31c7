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

/// The bands for people.
pub(crate) fn bands_text(answer: &ComputeBandsResponse, units: UnitSystem) -> String {
    let notes = &answer.notes;
    format!(
        "A band is the root of the sum of squares, for tolerances that are independent; the worst case is their sum.\n  {}\n\n{}\n{}{SAFETY_NOTE}",
        models_text(answer.models.as_ref()),
        bands_sheet(notes, units).table(),
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

fn three(band: Option<&Band>, show: impl Fn(f64) -> String) -> [String; 3] {
    band.map(|band| [band.nominal, band.root_sum_square, band.worst_case].map(show)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use becket_api::stringing::StringModels;

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
            &ComputeBandsResponse { notes: vec![bands.clone(), unknown], models: Some(StringModels::default()) },
            UnitSystem::Metric,
        ));
        expect![[r#"
            note,name,wire,tension_n,tension_band_n,tension_worst_n,load_percent,load_band_percent,load_worst_percent,b,b_band_percent,cut_mm,cut_band_mm,cut_worst_mm
            64,C6,mw-in-13,757.1,19.7,27.6,68.40,0.21,0.29,2.30e-3,5.00,561.0,1.1,1.6
        "#]].assert_eq(&bands_sheet(&[bands], UnitSystem::Metric).csv());
    }
}
