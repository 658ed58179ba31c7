//! Wire estimates.

use std::fmt::Write as _;

use becket_api::cutting::{EstimateWireResponse, Quantity, WireNeed};
use becket_units::UnitSystem;

use super::{Measures, Sheet, left, names::count, right};

/// The estimate: one row for each wire, and what to buy.
pub(crate) fn estimate_text(estimate: &EstimateWireResponse, units: UnitSystem) -> String {
    let table = estimate_sheet(&estimate.needs, units).table();
    format!("{table}\n{}{}", open_jobs_text(estimate), shortfall_text(estimate, units))
}

/// Which jobs count besides the schedule; nothing if none does.
fn open_jobs_text(estimate: &EstimateWireResponse) -> String {
    if estimate.open_job_count == 0 {
        return String::new();
    }
    let jobs = count(i64::from(estimate.open_job_count), "open job counts", "open jobs count");
    format!("{jobs} besides the schedule: pieces that are neither cut nor on a list, and all windings.\n")
}

/// Only what runs short, and what to buy.
pub(crate) fn shortfall_text(estimate: &EstimateWireResponse, units: UnitSystem) -> String {
    let short: Vec<&WireNeed> = estimate.needs.iter().filter(|need| is_short(need)).collect();
    if short.is_empty() {
        return "The stock covers all of it.\n".to_owned();
    }
    let number = i64::try_from(short.len()).unwrap_or(i64::MAX);
    let mut text = format!("{}:\n", count(number, "wire runs short", "wires run short"));
    let measures = Measures(units);
    for need in short {
        let _ = writeln!(
            text,
            "  {:<14} short of {} {} from the week of {}: buy {}",
            need.wire_id,
            run(need.short.as_ref(), measures),
            measures.run_unit(),
            need.first_short_week_date,
            packs(need)
        );
    }
    text
}

/// One row for each wire.
pub(crate) fn estimate_sheet(needs: &[WireNeed], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let unit = measures.run_unit();
    let columns = [
        left("wire"),
        right("pieces", ""),
        right("need", unit),
        right("need", measures.heavy_unit()),
        right("free stock", unit),
        right("covered", unit),
        right("short", unit),
        left("first short week"),
        left("buy"),
    ];
    let rows = needs.iter().map(|need| {
        vec![
            need.wire_id.clone(),
            need.pieces.as_ref().map(|pieces| pieces.value.to_string()).unwrap_or_default(),
            run(need.need_length.as_ref(), measures),
            need.need_mass.as_ref().map(|mass| measures.heavy(mass.value)).unwrap_or_default(),
            run(need.free_stock.as_ref(), measures),
            run(need.covered.as_ref(), measures),
            run(need.short.as_ref(), measures),
            need.first_short_week_date.clone(),
            packs(need),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each wire and week.
pub(crate) fn estimate_weeks_sheet(needs: &[WireNeed], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let unit = measures.run_unit();
    let columns = [left("wire"), left("week"), right("need", unit), right("short", unit)];
    let rows = needs.iter().flat_map(|need| {
        need.weeks.iter().map(|week| {
            vec![
                need.wire_id.clone(),
                week.week_date.clone(),
                run(week.need.as_ref(), measures),
                run(week.short.as_ref(), measures),
            ]
        })
    });
    Sheet::of(columns, rows)
}

fn is_short(need: &WireNeed) -> bool {
    need.short.as_ref().is_some_and(|short| short.value > 0.0)
}

fn run(quantity: Option<&Quantity>, measures: Measures) -> String {
    quantity.map(|quantity| measures.run(quantity.value)).unwrap_or_default()
}

fn packs(need: &WireNeed) -> String {
    let packs: Vec<_> = need
        .packs
        .iter()
        .filter(|pack| pack.count > 0)
        .map(|pack| format!("{} × {}", pack.count, pack.pack_label))
        .collect();
    packs.join(", ")
}

#[cfg(test)]
mod tests {
    use becket_api::cutting::{PackProposal, WeekNeed};
    use expect_test::expect;

    use super::*;

    fn metres(value: f64) -> Option<Quantity> {
        Some(Quantity { value, unit_code: "MTR".into() })
    }

    fn estimate(short: f64) -> EstimateWireResponse {
        let need = WireNeed {
            wire_id: "mw-in-14".into(),
            need_length: metres(412.5),
            need_mass: Some(Quantity { value: 1.787, unit_code: "KGM".into() }),
            pieces: Some(Quantity { value: 320.0, unit_code: "C62".into() }),
            free_stock: metres(300.0),
            covered: metres(412.5 - short),
            short: metres(short),
            first_short_week_date: if short > 0.0 { "2026-12-28".into() } else { String::new() },
            packs: vec![PackProposal {
                pack_label: "1 lb coil".into(),
                count: if short > 0.0 { 2 } else { 0 },
                ..PackProposal::default()
            }],
            weeks: vec![WeekNeed {
                week_date: "2026-12-28".into(),
                need: metres(150.0),
                short: metres(short),
            }],
        };
        EstimateWireResponse { needs: vec![need], open_job_count: 3 }
    }

    #[test]
    fn what_is_short_is_told_with_packs() {
        expect![[r#"
             wire       pieces     need    need   free stock   covered    short   first short week   buy
                                      m      kg            m         m        m
            ───────────────────────────────────────────────────────────────────────────────────────────────────────
             mw-in-14      320   412.50   1.787       300.00    300.00   112.50   2026-12-28         2 × 1 lb coil

            3 open jobs count besides the schedule: pieces that are neither cut nor on a list, and all windings.
            1 wire runs short:
              mw-in-14       short of 112.50 m from the week of 2026-12-28: buy 2 × 1 lb coil
        "#]].assert_eq(&estimate_text(&estimate(112.5), UnitSystem::Metric));
        expect![[r#"
            wire,week,need_ft,short_ft
            mw-in-14,2026-12-28,492.1,369.1
        "#]]
        .assert_eq(&estimate_weeks_sheet(&estimate(112.5).needs, UnitSystem::Inch).csv());
    }

    #[test]
    fn a_schedule_that_is_covered_says_so() {
        let text = estimate_text(&estimate(0.0), UnitSystem::Metric);
        assert!(text.ends_with("The stock covers all of it.\n"), "{text}");
    }
}
