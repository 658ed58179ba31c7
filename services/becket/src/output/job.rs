//! Jobs.

use becket_api::stringing::{AsBuilt, Job, JobState, PitchBasis};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet, left,
    names::{note_name, time, word},
    right,
};

/// One row for each job.
pub(crate) fn job_sheet(jobs: &[Job], _units: UnitSystem) -> Sheet {
    let columns = [
        left("serial"),
        left("model"),
        left("revision"),
        left("state"),
        left("due"),
        left("station"),
        right("A4", "Hz"),
        right("measured notes", ""),
    ];
    let rows = jobs.iter().map(|job| {
        vec![
            job.serial_id.clone(),
            job.model_id.clone(),
            job.revision_id.clone(),
            state(job),
            job.due_date.clone(),
            job.station_id.clone(),
            job.options
                .as_ref()
                .and_then(|options| options.a4_hz)
                .map(|hz| format!("{hz:.1}"))
                .unwrap_or_default(),
            job.as_built.len().to_string(),
        ]
    });
    Sheet::of(columns, rows)
}

/// A job in full.
pub(crate) fn job_text(job: &Job, units: UnitSystem) -> String {
    let mut lines = vec![
        format!("{}: {} revision {}, {}", job.serial_id, job.model_id, job.revision_id, state(job)),
        format!("  due       {} at {}", job.due_date, job.station_id),
    ];
    if let Some(options) = &job.options {
        let basis = options.pitch_basis.map(|basis| word(basis, PitchBasis::as_str_name, "PITCH_BASIS_"));
        let a4 = options.a4_hz.map_or_else(|| "default".to_owned(), |hz| format!("{hz} Hz"));
        lines.push(format!("  pitch     A4 {a4}, {}", basis.unwrap_or_else(|| "default basis".to_owned())));
    }
    if job.freeze_time.is_some() {
        lines.push(format!("  frozen    {}", time(job.freeze_time.as_ref())));
    }
    lines.push(format!("  changed   {}  etag {}", time(job.update_time.as_ref()), job.etag));
    let mut text = lines.join("\n") + "\n";
    if !job.as_built.is_empty() {
        text += "\nMeasured on this instrument:\n";
        text += &measured_sheet(&job.as_built, units).table();
    }
    text
}

fn measured_sheet(notes: &[AsBuilt], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let length = measures.length_unit();
    let columns = [
        right("note", ""),
        left("name"),
        right("speaking", length),
        right("front", length),
        right("back", length),
        right("tuning pin", length),
        left("wire"),
    ];
    let shown = |mm: Option<f64>| mm.map(|mm| measures.length(mm)).unwrap_or_default();
    let rows = notes.iter().map(|note| {
        vec![
            note.note.to_string(),
            note_name(note.note),
            shown(note.speaking_mm),
            shown(note.front_mm),
            shown(note.back_mm),
            note.tuning_pin_diameter_mm.map(|mm| measures.diameter(mm)).unwrap_or_default(),
            note.wire_id.clone().unwrap_or_default(),
        ]
    });
    Sheet::of(columns, rows)
}

fn state(job: &Job) -> String {
    word(job.state, JobState::as_str_name, "JOB_STATE_")
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::ComputeOptions;
    use expect_test::expect;

    use super::*;

    #[test]
    fn a_job_shows_what_was_measured() {
        let job = Job {
            serial_id: "S1".into(),
            model_id: "m".into(),
            revision_id: "a".into(),
            options: Some(ComputeOptions {
                a4_hz: Some(442.0),
                pitch_basis: Some(PitchBasis::FirstPartial.into()),
                ..ComputeOptions::default()
            }),
            due_date: "2026-12-01".into(),
            station_id: "bench-1".into(),
            as_built: vec![AsBuilt { note: 52, speaking_mm: Some(344.2), ..AsBuilt::default() }],
            state: JobState::Open.into(),
            etag: "7".into(),
            ..Job::default()
        };
        expect![[r#"
            S1: m revision a, open
              due       2026-12-01 at bench-1
              pitch     A4 442 Hz, first partial
              changed     etag 7

            Measured on this instrument:
             note   name   speaking   front   back   tuning pin   wire
                                 mm      mm     mm           mm
            ───────────────────────────────────────────────────────────
               52   C5        344.2
        "#]]
        .assert_eq(&job_text(&job, UnitSystem::Metric));
        expect![[r#"
             serial   model   revision   state   due          station      A4   measured notes
                                                                           Hz
            ───────────────────────────────────────────────────────────────────────────────────
             S1       m       a          open    2026-12-01   bench-1   442.0                1
        "#]]
        .assert_eq(&job_sheet(&[job], UnitSystem::Metric).table());
    }
}
