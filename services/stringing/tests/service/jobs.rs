use becket_api::convert::timestamp;
use becket_api::stringing::{
    AmendJobRequest, AsBuilt, CloseJobRequest, ComputeOptions, FreezeStringSetRequest, GetJobRequest, Job,
    JobState, ListJobsRequest, OpenJobRequest,
};
use tonic::{Code, Status};

use crate::world::{START_US, World, assert_faults, assert_refused, job, meta, scale};

fn open(world: &World, job: Job, validate_only: bool) -> OpenJobRequest {
    OpenJobRequest { request_id: world.id(), job: Some(job), validate_only }
}

async fn get(world: &World, serial_id: &str) -> Result<Job, Status> {
    let request = GetJobRequest { serial_id: serial_id.to_owned() };
    Ok(world.jobs().get_job(request).await?.into_inner().job.unwrap())
}

async fn amend(world: &World, job: Job, validate_only: bool) -> Result<Job, Status> {
    let request = AmendJobRequest { request_id: world.id(), job: Some(job), validate_only };
    Ok(world.jobs().amend_job(request).await?.into_inner().job.unwrap())
}

async fn close(world: &World, job: &Job, final_state: JobState) -> Result<Job, Status> {
    let request = CloseJobRequest {
        request_id: world.id(),
        serial_id: job.serial_id.clone(),
        etag: job.etag.clone(),
        final_state: final_state.into(),
    };
    Ok(world.jobs().close_job(request).await?.into_inner().job.unwrap())
}

async fn freeze(world: &World, serial_id: &str) {
    let digest = world.set(serial_id).await.digest;
    let request = FreezeStringSetRequest { request_id: world.id(), serial_id: serial_id.to_owned(), digest };
    world.sets().freeze_string_set(request).await.unwrap();
}

/// A job with one measured note.
fn measured(serial_id: &str) -> Job {
    let as_built = vec![AsBuilt { note: 50, speaking_mm: Some(391.5), ..AsBuilt::default() }];
    Job { as_built, ..job(serial_id) }
}

#[tokio::test]
async fn an_opened_job_can_be_read() {
    let world = World::with_scale().await;
    let preview = world.jobs().open_job(open(&world, measured("C27-0107"), true)).await.unwrap().into_inner();
    assert_eq!(preview.job.unwrap(), measured("C27-0107"));
    assert_refused(get(&world, "C27-0107").await, Code::NotFound, "NOT_FOUND");
    let opened = world.open(measured("C27-0107")).await;
    let time = Some(timestamp(START_US));
    let expected = Job {
        state: JobState::Open.into(),
        etag: "1".to_owned(),
        create_time: time,
        update_time: time,
        ..measured("C27-0107")
    };
    assert_eq!(opened, expected);
    assert_eq!(get(&world, "C27-0107").await.unwrap(), expected);
    for validate_only in [true, false] {
        let again = world.jobs().open_job(open(&world, job("C27-0107"), validate_only)).await;
        assert_refused(again, Code::AlreadyExists, "ALREADY_EXISTS");
    }
}

#[tokio::test]
async fn a_job_needs_a_released_scale() {
    let world = World::with_scale().await;
    world.create(scale("grand", "b")).await;
    let on_draft = Job { revision_id: "b".to_owned(), ..job("S-1") };
    let status = assert_refused(
        world.jobs().open_job(open(&world, on_draft, false)).await,
        Code::FailedPrecondition,
        "SCALE_NOT_RELEASED",
    );
    assert_eq!(meta(&status, "id"), "grand/b");
    let on_nothing = Job { revision_id: "z".to_owned(), ..job("S-1") };
    let status = assert_refused(
        world.jobs().open_job(open(&world, on_nothing, true)).await,
        Code::FailedPrecondition,
        "REFERENCE_MISSING",
    );
    assert_eq!((meta(&status, "kind").as_str(), meta(&status, "id").as_str()), ("scales", "grand/z"));
}

#[tokio::test]
async fn all_faults_of_a_job_are_told() {
    let world = World::with_scale().await;
    let broken = Job {
        serial_id: "C 27".to_owned(),
        due_date: "2026-02-30".to_owned(),
        station_id: String::new(),
        options: Some(ComputeOptions { a4_hz: Some(300.0), ..ComputeOptions::default() }),
        ..job("")
    };
    assert_faults(
        world.jobs().open_job(open(&world, broken, false)).await,
        &["job.serial_id", "job.due_date", "job.station_id", "job.options.a4_hz"],
    );
    let found = |note, speaking_mm, wire_id: Option<&str>| AsBuilt {
        note,
        speaking_mm,
        wire_id: wire_id.map(Into::into),
        ..AsBuilt::default()
    };
    let as_built = vec![
        found(40, Some(600.0), None),
        found(41, Some(1.0), None),
        found(97, Some(60.0), None),
        found(40, None, Some("mw-in-17")),
        found(60, None, Some("mw-none")),
    ];
    let status = assert_refused(
        world.jobs().open_job(open(&world, Job { as_built, ..job("S-1") }, false)).await,
        Code::InvalidArgument,
        "FIELD_INVALID",
    );
    let details = tonic_types::StatusExt::get_details_bad_request(&status).unwrap();
    let mut fields: Vec<_> = details.field_violations.into_iter().map(|violation| violation.field).collect();
    fields.sort_unstable();
    assert_eq!(
        fields,
        [
            "job.as_built[1].speaking_mm",
            "job.as_built[2].note",
            "job.as_built[3].note",
            "job.as_built[4].wire_id"
        ]
    );
    let many = vec![found(40, Some(600.0), None); 121];
    assert_faults(
        world.jobs().open_job(open(&world, Job { as_built: many, ..job("S-1") }, false)).await,
        &["job.as_built"],
    );
    let none = OpenJobRequest { request_id: world.id(), job: None, validate_only: false };
    assert_faults(world.jobs().open_job(none).await, &["job"]);
}

#[tokio::test]
async fn an_open_job_may_change_in_everything() {
    let world = World::with_scale().await;
    world.create_and_release(scale("grand", "b")).await;
    let opened = world.open(job("S-1")).await;
    world.clock.advance_us(1_000_000);
    let changed = Job { revision_id: "b".to_owned(), due_date: "2026-12-05".to_owned(), ..opened.clone() };
    let preview = amend(&world, changed.clone(), true).await.unwrap();
    assert_eq!((preview.revision_id.as_str(), preview.etag.as_str()), ("b", "1"));
    assert_eq!(get(&world, "S-1").await.unwrap(), opened);
    let amended = amend(&world, changed.clone(), false).await.unwrap();
    let expected =
        Job { etag: "2".to_owned(), update_time: Some(timestamp(START_US + 1_000_000)), ..changed.clone() };
    assert_eq!(amended, expected);
    assert_eq!(get(&world, "S-1").await.unwrap(), expected);

    for validate_only in [true, false] {
        let status =
            assert_refused(amend(&world, changed.clone(), validate_only).await, Code::Aborted, "ETAG_STALE");
        assert_eq!(meta(&status, "etag"), "2");
    }
    let faulty = Job { etag: String::new(), station_id: "bench 1".to_owned(), ..amended.clone() };
    assert_faults(amend(&world, faulty, false).await, &["job.station_id", "job.etag"]);
    let on_nothing = Job { revision_id: "z".to_owned(), ..amended.clone() };
    assert_refused(amend(&world, on_nothing, false).await, Code::FailedPrecondition, "REFERENCE_MISSING");
    let unknown = Job { serial_id: "S-9".to_owned(), ..amended };
    assert_refused(amend(&world, unknown, false).await, Code::NotFound, "NOT_FOUND");
}

#[tokio::test]
async fn of_a_frozen_job_only_due_date_and_station_may_change() {
    let world = World::with_scale().await;
    world.open(measured("S-1")).await;
    freeze(&world, "S-1").await;
    let frozen = get(&world, "S-1").await.unwrap();
    assert_eq!((frozen.state(), frozen.freeze_time), (JobState::Frozen, Some(timestamp(START_US))));

    // A default that is stated is no change.
    let options = Some(ComputeOptions { a4_hz: Some(440.0), ..ComputeOptions::default() });
    let moved = Job {
        due_date: "2027-01-04".to_owned(),
        station_id: "bench-2".to_owned(),
        options,
        ..frozen.clone()
    };
    let amended = amend(&world, moved, false).await.unwrap();
    assert_eq!((amended.due_date.as_str(), amended.station_id.as_str()), ("2027-01-04", "bench-2"));
    assert_eq!(amended.state(), JobState::Frozen);

    let options = Some(ComputeOptions { a4_hz: Some(442.0), ..ComputeOptions::default() });
    let other = Job { revision_id: "b".to_owned(), options, as_built: vec![], ..amended };
    for validate_only in [true, false] {
        let status = assert_refused(
            amend(&world, other.clone(), validate_only).await,
            Code::FailedPrecondition,
            "SET_FROZEN",
        );
        assert_eq!(meta(&status, "fields"), "revision_id, options, as_built");
    }
}

#[tokio::test]
async fn a_closed_job_does_not_change_any_more() {
    let world = World::with_scale().await;
    let opened = world.open(job("S-1")).await;
    assert_faults(close(&world, &opened, JobState::Open).await, &["final_state"]);
    let no_etag = Job { etag: String::new(), ..opened.clone() };
    assert_faults(close(&world, &no_etag, JobState::Unspecified).await, &["final_state", "etag"]);
    let stale = Job { etag: "9".to_owned(), ..opened.clone() };
    assert_refused(close(&world, &stale, JobState::Done).await, Code::Aborted, "ETAG_STALE");
    let unknown = Job { serial_id: "S-9".to_owned(), ..opened.clone() };
    assert_refused(close(&world, &unknown, JobState::Done).await, Code::NotFound, "NOT_FOUND");

    let closed = close(&world, &opened, JobState::GivenUp).await.unwrap();
    assert_eq!((closed.state(), closed.etag.as_str()), (JobState::GivenUp, "2"));
    assert_eq!(get(&world, "S-1").await.unwrap(), closed);
    let status = assert_refused(
        close(&world, &closed, JobState::Done).await,
        Code::FailedPrecondition,
        "STATE_FORBIDS",
    );
    assert_eq!((meta(&status, "serial_id").as_str(), meta(&status, "state").as_str()), ("S-1", "given_up"));
    assert_refused(amend(&world, closed, false).await, Code::FailedPrecondition, "STATE_FORBIDS");
}

#[tokio::test]
async fn a_frozen_job_can_be_closed_and_keeps_its_set() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    freeze(&world, "S-1").await;
    let set = world.set("S-1").await;
    let frozen = get(&world, "S-1").await.unwrap();
    let closed = close(&world, &frozen, JobState::Done).await.unwrap();
    assert_eq!((closed.state(), closed.freeze_time), (JobState::Done, Some(timestamp(START_US))));
    assert_eq!(world.set("S-1").await, set);
}

#[tokio::test]
async fn lists_are_by_due_date_and_serial_and_can_be_filtered() {
    let world = World::with_scale().await;
    for (serial_id, due_date, station_id) in [
        ("S-3", "2026-12-01", "bench-1"),
        ("S-1", "2026-12-09", "bench-2"),
        ("S-2", "2026-12-01", "bench-1"),
        ("S-4", "2026-12-05", "bench-2"),
    ] {
        let job = Job { due_date: due_date.to_owned(), station_id: station_id.to_owned(), ..job(serial_id) };
        world.open(job).await;
    }
    let fourth = get(&world, "S-4").await.unwrap();
    close(&world, &fourth, JobState::Done).await.unwrap();
    let serials = async |request: ListJobsRequest| {
        let answer = world.jobs().list_jobs(request).await.unwrap().into_inner();
        (answer.jobs.into_iter().map(|job| job.serial_id).collect::<Vec<_>>(), answer.next_page_token)
    };
    let page = |page_size, page_token: String| ListJobsRequest {
        page_size,
        page_token,
        ..ListJobsRequest::default()
    };
    let (first, token) = serials(page(3, String::new())).await;
    assert_eq!(first, ["S-2", "S-3", "S-4"]);
    let (second, end) = serials(page(3, token.clone())).await;
    assert_eq!((second, end.as_str()), (vec!["S-1".to_owned()], ""));

    let by_state = ListJobsRequest { state: Some(JobState::Done.into()), ..ListJobsRequest::default() };
    assert_eq!(serials(by_state).await.0, ["S-4"]);
    let by_station = ListJobsRequest { station_id: "bench-2".to_owned(), ..ListJobsRequest::default() };
    assert_eq!(serials(by_station).await.0, ["S-4", "S-1"]);
    let by_day = ListJobsRequest { due_by_date: "2026-12-05".to_owned(), ..ListJobsRequest::default() };
    assert_eq!(serials(by_day).await.0, ["S-2", "S-3", "S-4"]);

    let other_filter = ListJobsRequest { station_id: "bench-1".to_owned(), ..page(3, token) };
    assert_refused(world.jobs().list_jobs(other_filter).await, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
    let faulty =
        ListJobsRequest { state: Some(0), due_by_date: "soon".to_owned(), ..ListJobsRequest::default() };
    assert_faults(world.jobs().list_jobs(faulty).await, &["state", "due_by_date"]);
}
