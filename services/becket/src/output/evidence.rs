//! What is known of the length on a coil, and why.

use becket_api::cutting::{Coil, CoilEvidence, EvidenceKind, EvidenceState};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet, left,
    names::{time, word},
    right,
};

/// From so many standard deviations on, evidence disagrees.
const DISAGREES_FROM_SDS: f64 = 3.0;

/// What to look for when two pieces of evidence cannot both be right.
const CAUSES: &str = "Look for another wire on the reel, cuts that were not booked, or a wrong tare.";

/// One row for each line of a coil's ledger.
pub(crate) fn evidence_sheet(lines: &[CoilEvidence], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let run = measures.run_unit();
    let columns = [
        right("no", ""),
        left("what"),
        left("state"),
        right("length", run),
        right("length sd", run),
        right("off by sds", ""),
        right("left before", run),
        right("left after", run),
        right("left sd", run),
        left("list"),
        left("by"),
        left("at"),
        left("note"),
    ];
    let rows = lines.iter().map(|line| {
        vec![
            line.evidence_number.to_string(),
            word(line.kind, EvidenceKind::as_str_name, "EVIDENCE_KIND_"),
            word(line.state, EvidenceState::as_str_name, "EVIDENCE_STATE_"),
            measures.run_um(line.length_um),
            fine(measures, line.length_sd_mm),
            line.deviation_sds.map(|sds| format!("{sds:.1}")).unwrap_or_default(),
            measures.run_um(line.remaining_before_um),
            measures.run_um(line.remaining_after_um),
            fine(measures, line.remaining_after_sd_mm),
            line.list_id.clone(),
            line.actor.clone(),
            time(line.create_time.as_ref()),
            line.note.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// A standard deviation given in mm, as a run with one decimal more, since it is small beside a coil.
fn fine(measures: Measures, sd_mm: f64) -> String {
    format!("{:.3}", measures.in_runs(sd_mm / 1000.0))
}

/// What a weighing made of a coil, in sentences.
pub(crate) fn weighing_text(
    coil: &Coil,
    line: &CoilEvidence,
    adjusted_by_um: i64,
    units: UnitSystem,
) -> String {
    let measures = Measures(units);
    let unit = measures.run_unit();
    let tells = format!(
        "Evidence {} tells {} {unit} ± {} {unit} (one standard deviation){}.",
        line.evidence_number,
        measures.run_um(line.length_um),
        fine(measures, line.length_sd_mm),
        deviation(line.deviation_sds),
    );
    if line.state == i32::from(EvidenceState::Held) {
        let (coil_id, number) = (&coil.coil_id, line.evidence_number);
        return format!(
            "{tells}\nIt disagrees with what was believed and is kept out of the books. {CAUSES}\nWeigh again, and decide with one of:\n  \
             becket decide {coil_id} {number} accept\n  becket decide {coil_id} {number} reject",
        );
    }
    format!(
        "{tells}\nCorrected by {} {unit}; left are {} {unit} ± {} {unit}.",
        measures.run_um(adjusted_by_um),
        measures.run_um(coil.remaining_um),
        fine(measures, coil.remaining_sd_mm)
    )
}

/// How far a coil that ran out was from the books, in sentences.
pub(crate) fn run_out_text(
    coil_id: &str,
    adjusted_by_um: i64,
    deviation_sds: f64,
    units: UnitSystem,
) -> String {
    let measures = Measures(units);
    let causes = if deviation_sds.abs() > DISAGREES_FROM_SDS { format!("\n{CAUSES}") } else { String::new() };
    format!(
        "Coil {coil_id} is off its reel. Its books were corrected by {} {}{}.{causes}",
        measures.run_um(adjusted_by_um),
        measures.run_unit(),
        deviation(Some(deviation_sds)),
    )
}

fn deviation(sds: Option<f64>) -> String {
    match sds {
        None => String::new(),
        Some(sds) => {
            let side = if sds < 0.0 { "below" } else { "above" };
            format!(", {:.1} standard deviations {side} what was believed", sds.abs())
        }
    }
}

/// What is known of a coil's linear density, if its ledger tells anything: within a thousandth of the catalogue's it does not.
pub(crate) fn density_text(coil: &Coil) -> String {
    let share = coil.likely_density_g_m / coil.linear_density_g_m - 1.0;
    if share.is_finite() && share.abs() >= 0.001 {
        format!(
            "  wire       likely {:.4} g/m, {:+.1} % of the catalogue's\n",
            coil.likely_density_g_m,
            share * 100.0
        )
    } else {
        String::new()
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    fn line() -> CoilEvidence {
        CoilEvidence {
            evidence_number: 4,
            kind: EvidenceKind::Weighing.into(),
            state: EvidenceState::Merged.into(),
            length_um: 39_000_000,
            length_sd_mm: 480.0,
            deviation_sds: Some(-1.24),
            remaining_before_um: 40_500_000,
            remaining_before_sd_mm: 1000.0,
            remaining_after_um: 39_280_000,
            remaining_after_sd_mm: 432.7,
            actor: "anna".into(),
            ..CoilEvidence::default()
        }
    }

    #[test]
    fn a_weighing_is_told_and_what_disagrees_says_what_to_do() {
        let coil = Coil {
            coil_id: "R0101".into(),
            remaining_um: 39_280_000,
            remaining_sd_mm: 432.7,
            linear_density_g_m: 5.0,
            likely_density_g_m: 4.95,
            ..Coil::default()
        };
        expect![[r#"
            Evidence 4 tells 39.00 m ± 0.480 m (one standard deviation), 1.2 standard deviations below what was believed.
            Corrected by -1.22 m; left are 39.28 m ± 0.433 m."#]]
        .assert_eq(&weighing_text(&coil, &line(), -1_220_000, UnitSystem::Metric));
        let held = CoilEvidence { state: EvidenceState::Held.into(), deviation_sds: Some(7.0), ..line() };
        expect![[r#"
            Evidence 4 tells 39.00 m ± 0.480 m (one standard deviation), 7.0 standard deviations above what was believed.
            It disagrees with what was believed and is kept out of the books. Look for another wire on the reel, cuts that were not booked, or a wrong tare.
            Weigh again, and decide with one of:
              becket decide R0101 4 accept
              becket decide R0101 4 reject"#]]
        .assert_eq(&weighing_text(&coil, &held, 0, UnitSystem::Metric));
        assert_eq!(density_text(&coil), "  wire       likely 4.9500 g/m, -1.0 % of the catalogue's\n");
        assert_eq!(density_text(&Coil { likely_density_g_m: 5.004, ..coil }), "");
        let told = |sds| run_out_text("R0101", -3_000_000, sds, UnitSystem::Metric);
        assert!(!told(-2.9).contains("Look for") && told(-3.1).contains("Look for"));
    }

    #[test]
    fn a_ledger_has_a_row_for_each_line() {
        expect![[r#"
            no,what,state,length_m,length_sd_m,off_by_sds,left_before_m,left_after_m,left_sd_m,list,by,at,note
            4,weighing,merged,39.00,0.480,-1.2,40.50,39.28,0.433,,anna,,
        "#]]
        .assert_eq(&evidence_sheet(&[line()], UnitSystem::Metric).csv());
    }
}
