use becket_api::convert::timestamp;
use becket_api::stringing::{
    AmendJobRequest, AsBuilt, CloseJobRequest, FreezeStringSetRequest, FreezeStringSetResponse,
    GetJobRequest, GetStringSetRequest, Job, JobState, StringSet, UpdateWireRequest,
};
use tonic::{Code, Status};

use crate::world::{START_US, World, assert_faults, assert_refused, copper, job, meta};

async fn freeze(world: &World, serial_id: &str, digest: &str) -> Result<FreezeStringSetResponse, Status> {
    let request = FreezeStringSetRequest {
        request_id: world.id(),
        serial_id: serial_id.to_owned(),
        digest: digest.to_owned(),
    };
    Ok(world.sets().freeze_string_set(request).await?.into_inner())
}

/// Makes the copper heavier, with the etag that it has after `changes` changes.
async fn change_copper(world: &World, density_kg_m3: f64, etag: &str) {
    let wire = becket_api::stringing::Wire { density_kg_m3, etag: etag.to_owned(), ..copper("cu-1.00", 1.0) };
    let request = UpdateWireRequest { request_id: world.id(), wire: Some(wire), validate_only: false };
    world.wires().update_wire(request).await.unwrap();
}

#[tokio::test]
async fn the_set_of_a_job_has_its_measurements() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let as_built = vec![AsBuilt { note: 52, speaking_mm: Some(360.0), ..AsBuilt::default() }];
    world.open(Job { as_built, ..job("S-2") }).await;
    let (usual, measured) = (world.set("S-1").await, world.set("S-2").await);
    assert_eq!(
        (usual.serial_id.as_str(), usual.model_id.as_str(), usual.revision_id.as_str()),
        ("S-1", "grand", "a")
    );
    assert_ne!(usual.digest, measured.digest);
    let note = |set: &StringSet, note| set.strings.iter().find(|string| string.note == note).unwrap().clone();
    assert_eq!(note(&measured, 52).speaking_mm, 360.0);
    assert_eq!(note(&measured, 53).cut_mm, note(&usual, 53).cut_mm);
    let basis = measured.basis.unwrap();
    assert_eq!(basis.as_built_notes, [52]);
    assert_eq!(basis.scale.unwrap().notes[51].speaking_mm, 360.0);
    assert_eq!(usual.basis.unwrap().as_built_notes, [0; 0]);
    let missing = world.sets().get_string_set(GetStringSetRequest { serial_id: "S-9".to_owned() }).await;
    assert_refused(missing, Code::NotFound, "NOT_FOUND");
}

#[tokio::test]
async fn an_open_set_follows_its_inputs_and_a_frozen_one_does_not() {
    let world = World::with_scale().await;
    let opened = world.open(job("S-1")).await;
    let first = world.set("S-1").await;
    assert_eq!(world.set("S-1").await, first, "a set from memory is the set");

    change_copper(&world, 9000.0, "1").await;
    let heavier = world.set("S-1").await;
    assert!(heavier.strings[0].tension_n > first.strings[0].tension_n);
    assert_ne!(heavier.digest, first.digest);

    let as_built = vec![AsBuilt { note: 88, speaking_mm: Some(51.0), ..AsBuilt::default() }];
    let request = AmendJobRequest {
        request_id: world.id(),
        job: Some(Job { as_built, ..opened }),
        validate_only: false,
    };
    world.jobs().amend_job(request).await.unwrap();
    let amended = world.set("S-1").await;
    assert_eq!(amended.strings.last().unwrap().speaking_mm, 51.0);

    world.clock.advance_us(60_000_000);
    let answer = freeze(&world, "S-1", &amended.digest).await.unwrap();
    let freeze_time = Some(timestamp(START_US + 60_000_000));
    assert_eq!(answer.freeze_time, freeze_time);
    let frozen = world.set("S-1").await;
    assert_eq!(frozen, StringSet { frozen: true, freeze_time, ..amended });

    change_copper(&world, 8930.0, "2").await;
    assert_eq!(world.set("S-1").await, frozen);
    let world = world.restart().await;
    assert_eq!(world.set("S-1").await, frozen);
}

/// A service that keeps answers sees what another process on the same database changes.
#[tokio::test]
async fn an_answer_that_is_kept_is_never_older_than_its_inputs() {
    let world = World::with_scale().await;
    let opened = world.open(job("S-1")).await;
    world.open(job("S-2")).await;
    let keeping = world.beside().await;
    let kept = async |serial_id: &str| {
        let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
        let first = keeping.clone().get_string_set(request.clone()).await.unwrap().into_inner().string_set;
        let again = keeping.clone().get_string_set(request).await.unwrap().into_inner().string_set;
        assert_eq!(first, again);
        again.unwrap()
    };
    let (first, other) = (kept("S-1").await, kept("S-2").await);
    assert_eq!((first.serial_id.as_str(), other.serial_id.as_str()), ("S-1", "S-2"), "each its own");

    change_copper(&world, 9000.0, "1").await;
    let heavier = kept("S-1").await;
    assert_ne!(heavier.digest, first.digest);
    change_copper(&world, 8930.0, "2").await;
    assert_eq!(kept("S-1").await, first, "as before, and computed anew");

    let as_built = vec![AsBuilt { note: 88, speaking_mm: Some(51.0), ..AsBuilt::default() }];
    let job = Some(Job { as_built, ..opened });
    let request = AmendJobRequest { request_id: world.id(), job, validate_only: false };
    let amended_job = world.jobs().amend_job(request).await.unwrap().into_inner().job.unwrap();
    let amended = kept("S-1").await;
    assert_eq!(amended.strings.last().unwrap().speaking_mm, 51.0);

    world.create_and_release(crate::world::scale("grand", "b")).await;
    let job = Some(Job { revision_id: "b".to_owned(), ..amended_job });
    let request = AmendJobRequest { request_id: world.id(), job, validate_only: false };
    world.jobs().amend_job(request).await.unwrap();
    let moved = kept("S-1").await;
    assert_eq!(moved.revision_id, "b");

    freeze(&world, "S-1", &moved.digest).await.unwrap();
    let frozen = kept("S-1").await;
    assert_eq!(frozen, StringSet { frozen: true, freeze_time: Some(timestamp(START_US)), ..moved });
    change_copper(&world, 9000.0, "3").await;
    assert_eq!(kept("S-1").await, frozen);
    assert!(!kept("S-2").await.frozen);
    assert_ne!(kept("S-2").await.digest, other.digest);
}

/// Answers leave as bytes: what is damaged is refused all the same, and limits hold.
#[tokio::test]
async fn faulty_requests_and_missing_serials_are_told_as_ever() {
    let world = World::with_scale().await;
    let get = |serial_id: &str| GetStringSetRequest { serial_id: serial_id.to_owned() };
    for serial_id in ["S-9", "", "\u{0}"] {
        let status =
            assert_refused(world.sets().get_string_set(get(serial_id)).await, Code::NotFound, "NOT_FOUND");
        assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("jobs".to_owned(), serial_id.to_owned()));
    }
    let too_large = "S".repeat(32 << 20);
    let status = world.sets().get_string_set(get(&too_large)).await.unwrap_err();
    assert_eq!(status.code(), Code::ResourceExhausted, "{status:?}");
}

#[tokio::test]
async fn only_the_set_that_is_meant_is_frozen() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let meant = world.set("S-1").await.digest;
    change_copper(&world, 9000.0, "1").await;
    let now = world.set("S-1").await.digest;
    let status = assert_refused(freeze(&world, "S-1", &meant).await, Code::Aborted, "SET_CHANGED");
    assert_eq!((meta(&status, "serial_id"), meta(&status, "digest")), ("S-1".to_owned(), now.clone()));
    assert!(!world.set("S-1").await.frozen);

    let first = freeze(&world, "S-1", &now).await.unwrap();
    world.clock.advance_us(1_000_000);
    assert_eq!(freeze(&world, "S-1", &now).await.unwrap(), first, "freezing it again changes nothing");
    let status = assert_refused(freeze(&world, "S-1", &meant).await, Code::Aborted, "SET_CHANGED");
    assert_eq!(meta(&status, "digest"), now);
}

#[tokio::test]
async fn freezing_needs_a_digest_and_a_job_that_has_not_ended() {
    let world = World::with_scale().await;
    let opened = world.open(job("S-1")).await;
    let digest = world.set("S-1").await.digest;
    assert_faults(freeze(&world, "S-1", "").await, &["digest"]);
    assert_refused(freeze(&world, "S-9", &digest).await, Code::NotFound, "NOT_FOUND");
    let request = CloseJobRequest {
        request_id: world.id(),
        serial_id: "S-1".to_owned(),
        etag: opened.etag,
        final_state: JobState::Done.into(),
    };
    world.jobs().close_job(request).await.unwrap();
    assert_refused(freeze(&world, "S-1", &digest).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(world.set("S-1").await.digest, digest, "it can still be computed");
}

#[tokio::test]
async fn a_set_whose_wire_no_longer_fits_is_refused() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let mut wire = copper("cu-1.00", 1.0);
    wire.material = becket_api::stringing::Material::SteelRound.into();
    wire.etag = "1".to_owned();
    wire.strength = Some(becket_api::stringing::StrengthBasis {
        label: "certificate".to_owned(),
        basis: Some(becket_api::stringing::strength_basis::Basis::Stated(
            becket_api::stringing::StrengthStated { tensile_mpa: 2000.0 },
        )),
    });
    let request = UpdateWireRequest { request_id: world.id(), wire: Some(wire), validate_only: false };
    world.wires().update_wire(request).await.unwrap();
    let refused = world.sets().get_string_set(GetStringSetRequest { serial_id: "S-1".to_owned() }).await;
    let status = assert_refused(refused, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!((meta(&status, "kind").as_str(), meta(&status, "id").as_str()), ("scales", "grand/a"));
    let fields = tonic_types::StatusExt::get_details_bad_request(&status).unwrap().field_violations;
    assert_eq!(fields.len(), 20, "one for each wound note");
}

/// Whoever freezes a set is about to cut it, and for a job that has ended nothing is cut, frozen before or not.
#[tokio::test]
async fn the_set_of_a_job_that_has_ended_is_not_frozen_again() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let digest = world.set("S-1").await.digest;
    freeze(&world, "S-1", &digest).await.unwrap();
    let request = GetJobRequest { serial_id: "S-1".to_owned() };
    let etag = world.jobs().get_job(request).await.unwrap().into_inner().job.unwrap().etag;
    let (request_id, serial_id) = (world.id(), "S-1".to_owned());
    let request = CloseJobRequest { request_id, serial_id, etag, final_state: JobState::Done.into() };
    world.jobs().close_job(request).await.unwrap();
    let status =
        assert_refused(freeze(&world, "S-1", &digest).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "state"), "done");
    assert!(world.set("S-1").await.frozen, "what was frozen stays readable");
}
