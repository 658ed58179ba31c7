//! Coils and stock rules.

use becket_api::cutting::{Coil, CoilState, StockRule};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet,
    evidence::density_text,
    left,
    measures::mm,
    names::{count, time, word},
    right,
};

/// One row for each coil.
pub(crate) fn coil_sheet(coils: &[Coil], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let run = measures.run_unit();
    let columns = [
        left("coil"),
        left("wire"),
        left("lot"),
        left("state"),
        right("left", run),
        right("sd", run),
        right("reserved", run),
        right("received", run),
        left("received on"),
    ];
    let rows = coils.iter().map(|coil| {
        vec![
            coil.coil_id.clone(),
            coil.wire_id.clone(),
            coil.lot_id.clone(),
            state(coil),
            measures.run_um(coil.remaining_um),
            measures.run(coil.remaining_sd_mm / 1000.0),
            measures.run_um(coil.reserved_um),
            measures.run_um(coil.received_um),
            coil.received_date.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// A coil with its balance.
pub(crate) fn coil_text(coil: &Coil, units: UnitSystem) -> String {
    let measures = Measures(units);
    let run = |um: i64| format!("{:>10} {}", measures.run_um(um), measures.run_unit());
    // Linear density in g/m times metres.
    let mass_g = coil.linear_density_g_m * mm(coil.remaining_um) / 1000.0;
    format!(
        "{}: {}, lot {}, {}\n  received   {} on {}\n  cut        {}\n  scrapped   {}\n  adjusted   {}\n  left       {} ± {} {}, \
         about {}\n  reserved   {}\n  changed    {}  etag {}\n{}{}",
        coil.coil_id,
        coil.wire_id,
        coil.lot_id,
        state(coil),
        run(coil.received_um),
        coil.received_date,
        run(coil.cut_um),
        run(coil.scrapped_um),
        run(coil.adjusted_um),
        run(coil.remaining_um),
        measures.run(coil.remaining_sd_mm / 1000.0),
        measures.run_unit(),
        units.mass(mass_g),
        run(coil.reserved_um),
        time(coil.update_time.as_ref()),
        coil.etag,
        density_text(coil),
        held_text(coil),
    )
}

/// Weighings that wait for a decision.
fn held_text(coil: &Coil) -> String {
    match coil.held_evidence_count {
        0 => String::new(),
        held => format!(
            "  held       {}; see: becket list evidence {}\n",
            count(held.into(), "weighing that disagrees", "weighings that disagree"),
            coil.coil_id
        ),
    }
}

/// One row for each rule.
pub(crate) fn rule_sheet(rules: &[StockRule], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [left("wire"), right("smallest remnant", measures.length_unit())];
    let rows = rules.iter().map(|rule| vec![rule.wire_id.clone(), measures.length(rule.smallest_remnant_mm)]);
    Sheet::of(columns, rows)
}

fn state(coil: &Coil) -> String {
    word(coil.state, CoilState::as_str_name, "COIL_STATE_")
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    #[test]
    fn a_coil_shows_its_balance() {
        let coil = Coil {
            coil_id: "R0101".into(),
            wire_id: "mw-in-16".into(),
            lot_id: "H1".into(),
            received_date: "2026-02-03".into(),
            state: CoilState::Opened.into(),
            received_um: 81_000_000,
            remaining_um: 40_500_000,
            cut_um: 40_000_000,
            scrapped_um: 400_000,
            adjusted_um: -100_000,
            reserved_um: 1_500_000,
            linear_density_g_m: 5.4454,
            likely_density_g_m: 5.4454,
            remaining_sd_mm: 515.0,
            held_evidence_count: 1,
            etag: "3".into(),
            ..Coil::default()
        };
        expect![[r#"
            R0101: mw-in-16, lot H1, opened
              received        81.00 m on 2026-02-03
              cut             40.00 m
              scrapped         0.40 m
              adjusted        -0.10 m
              left            40.50 m ± 0.52 m, about 220.5 g
              reserved         1.50 m
              changed      etag 3
              held       1 weighing that disagrees; see: becket list evidence R0101
        "#]]
        .assert_eq(&coil_text(&coil, UnitSystem::Metric));
        expect![[r#"
             coil    wire       lot   state     left    sd   reserved   received   received on
                                                  ft    ft         ft         ft
            ───────────────────────────────────────────────────────────────────────────────────
             R0101   mw-in-16   H1    opened   132.9   1.7        4.9      265.7   2026-02-03
        "#]]
        .assert_eq(&coil_sheet(&[coil], UnitSystem::Inch).table());
        let rule = StockRule { wire_id: "mw-in-16".into(), smallest_remnant_mm: 650.0 };
        expect![[r#"
            wire,smallest_remnant_mm
            mw-in-16,650.0
        "#]]
        .assert_eq(&rule_sheet(&[rule], UnitSystem::Metric).csv());
    }
}
