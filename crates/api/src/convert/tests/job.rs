//! Jobs.

use expect_test::expect;

use super::*;
use crate::stringing::{ComputeOptions, Job};

#[test]
fn faults_of_a_job() {
    let job = Job {
        serial_id: "C27 0107".to_owned(),
        revision_id: "A".to_owned(),
        due_date: "2026-02-30".to_owned(),
        options: Some(ComputeOptions {
            a4_hz: Some(f64::NAN),
            pitch_basis: Some(0),
            ..ComputeOptions::default()
        }),
        ..Job::default()
    };
    check(
        &within(job_faults(&job), "job"),
        &expect![[r#"
        job.serial_id: "C27 0107" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        job.model_id: "" is not allowed; allowed: 1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit
        job.revision_id: "A" is not allowed; allowed: 1 to 63 characters: a-z, 0-9, '.', '-' and '_', beginning with a letter or digit
        job.due_date: "2026-02-30" is not allowed; allowed: a day in ISO 8601, such as 2026-11-30
        job.station_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        job.options.a4_hz: "NaN" is not allowed; allowed: 380 to 500 Hz
        job.options.pitch_basis: "0" is not allowed; allowed: stiffness-free or first partial, or no value for the default"#]],
    );
    let sound = Job {
        serial_id: "C27-0107".to_owned(),
        model_id: "concert-270".to_owned(),
        revision_id: "a".to_owned(),
        due_date: "2026-12-01".to_owned(),
        station_id: "bench-1".to_owned(),
        ..Job::default()
    };
    assert_eq!(job_faults(&sound), []);
}
