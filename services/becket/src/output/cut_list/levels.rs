//! How good a plan is known to be.

use becket_api::cutting::{LevelReport, PlanLevel};
use becket_units::UnitSystem;

use crate::output::{Measures, Sheet, left, names::word, right};

/// One row for each level, most important first.
pub(crate) fn levels_sheet(levels: &[LevelReport], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let columns = [left("level"), right("plan", ""), right("at least", ""), left("known")];
    let rows = levels.iter().map(|report| {
        let value = |value: i64| match report.level() {
            PlanLevel::Scrap => format!("{} {}", measures.run_um(value), measures.run_unit()),
            _ => value.to_string(),
        };
        vec![
            word(report.level, PlanLevel::as_str_name, "PLAN_LEVEL_"),
            value(report.value),
            value(report.lower_bound),
            if report.proven { "proven".to_owned() } else { "open".to_owned() },
        ]
    });
    Sheet::of(columns, rows)
}

/// The levels with a heading; nothing if there are none.
pub(super) fn levels_text(levels: &[LevelReport], stopped: bool, units: UnitSystem) -> String {
    if levels.is_empty() {
        return String::new();
    }
    let early = if stopped { "The search was ended by its budget before it was done.\n" } else { "" };
    format!(
        "\nHow good the plan is, most important first; no plan comes below \"at least\":\n{early}{}",
        levels_sheet(levels, units).table()
    )
}
