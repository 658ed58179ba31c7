use becket_api::convert::timestamp;
use becket_api::stringing::scale_service_client::ScaleServiceClient;
use becket_api::stringing::{
    CreateScaleRequest, GetScaleRequest, HitchStyle, ListScalesRequest, Material, ReleaseScaleRequest, Scale,
    ScaleState, UpdateScaleRequest, UpdateWireRequest,
};
use becket_service_kit::ERROR_BYTES_KEY;
use tonic::transport::Channel;
use tonic::{Code, Request};
use tonic_types::StatusExt;

use crate::world::{START_US, World, assert_faults, assert_refused, meta, scale};

fn create(world: &World, scale: Scale, validate_only: bool) -> CreateScaleRequest {
    CreateScaleRequest { request_id: world.id(), scale: Some(scale), validate_only }
}

fn update(world: &World, scale: Scale, validate_only: bool) -> UpdateScaleRequest {
    UpdateScaleRequest { request_id: world.id(), scale: Some(scale), validate_only }
}

fn release(world: &World, scale: &Scale) -> ReleaseScaleRequest {
    ReleaseScaleRequest {
        request_id: world.id(),
        model_id: scale.model_id.clone(),
        revision_id: scale.revision_id.clone(),
        etag: scale.etag.clone(),
    }
}

async fn get(world: &World, model_id: &str, revision_id: &str) -> Result<Scale, tonic::Status> {
    let request = GetScaleRequest { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    Ok(world.scales().get_scale(request).await?.into_inner().scale.unwrap())
}

#[tokio::test]
async fn a_draft_becomes_a_released_revision() {
    let world = World::with_wires().await;
    let draft = world.create(scale("grand", "a")).await;
    let time = Some(timestamp(START_US));
    let expected = Scale {
        state: ScaleState::Draft.into(),
        etag: "1".to_owned(),
        create_time: time,
        update_time: time,
        ..scale("grand", "a")
    };
    assert_eq!(draft, expected);
    assert_eq!(get(&world, "grand", "a").await.unwrap(), expected);

    world.clock.advance_us(1_000_000);
    let changed = Scale { title: "Another title".to_owned(), ..draft.clone() };
    let preview =
        world.scales().update_scale(update(&world, changed.clone(), true)).await.unwrap().into_inner();
    assert_eq!(preview.scale.unwrap().title, "Another title");
    assert_eq!(get(&world, "grand", "a").await.unwrap(), expected);
    let updated = world
        .scales()
        .update_scale(update(&world, changed, false))
        .await
        .unwrap()
        .into_inner()
        .scale
        .unwrap();
    assert_eq!((updated.etag.as_str(), updated.update_time), ("2", Some(timestamp(START_US + 1_000_000))));

    assert_refused(world.scales().release_scale(release(&world, &draft)).await, Code::Aborted, "ETAG_STALE");
    world.clock.advance_us(1_000_000);
    let released =
        world.scales().release_scale(release(&world, &updated)).await.unwrap().into_inner().scale.unwrap();
    assert_eq!(released.state(), ScaleState::Released);
    assert_eq!(released.release_time, Some(timestamp(START_US + 2_000_000)));
    assert_eq!(get(&world, "grand", "a").await.unwrap(), released);

    for validate_only in [true, false] {
        let late = world.scales().update_scale(update(&world, released.clone(), validate_only)).await;
        assert_refused(late, Code::FailedPrecondition, "SCALE_RELEASED");
    }
    let again = world.scales().release_scale(release(&world, &released)).await;
    assert_refused(again, Code::FailedPrecondition, "SCALE_RELEASED");
}

#[tokio::test]
async fn all_faults_of_a_scale_are_told_with_their_paths() {
    let world = World::with_wires().await;
    let mut broken = scale("Grand", "a");
    broken.sections[1].hitch = HitchStyle::Unspecified.into();
    broken.notes[3].speaking_mm = -1.0;
    broken.notes[12].wire_id = "mw-none".to_owned();
    broken.notes[87].string_count = 5;
    let fields = [
        "scale.model_id",
        "scale.sections[1].hitch",
        "scale.notes[3].speaking_mm",
        "scale.notes[12].wire_id",
        "scale.notes[87].string_count",
    ];
    assert_faults(world.scales().create_scale(create(&world, broken.clone(), true)).await, &fields);
    assert_faults(world.scales().create_scale(create(&world, broken.clone(), false)).await, &fields);
    let all_but_etag = world.scales().update_scale(update(&world, broken, false)).await;
    assert_faults(all_but_etag, &[&fields[..], &["scale.etag"]].concat());
    let none = CreateScaleRequest { request_id: world.id(), scale: None, validate_only: false };
    assert_faults(world.scales().create_scale(none).await, &["scale"]);
}

#[tokio::test]
async fn a_revision_is_created_once() {
    let world = World::with_wires().await;
    let preview =
        world.scales().create_scale(create(&world, scale("grand", "a"), true)).await.unwrap().into_inner();
    assert_eq!(preview.scale.unwrap(), scale("grand", "a"));
    assert_refused(get(&world, "grand", "a").await, Code::NotFound, "NOT_FOUND");
    world.create(scale("grand", "a")).await;
    for validate_only in [true, false] {
        let again = world.scales().create_scale(create(&world, scale("grand", "a"), validate_only)).await;
        let status = assert_refused(again, Code::AlreadyExists, "ALREADY_EXISTS");
        assert_eq!(meta(&status, "ids"), "grand/a");
    }
}

#[tokio::test]
async fn what_is_not_there_is_not_found() {
    let world = World::with_wires().await;
    let ghost = Scale { etag: "1".to_owned(), ..scale("ghost", "a") };
    assert_refused(get(&world, "ghost", "a").await, Code::NotFound, "NOT_FOUND");
    assert_refused(
        world.scales().update_scale(update(&world, ghost.clone(), false)).await,
        Code::NotFound,
        "NOT_FOUND",
    );
    assert_refused(world.scales().release_scale(release(&world, &ghost)).await, Code::NotFound, "NOT_FOUND");
    let no_etag = Scale { etag: String::new(), ..ghost };
    assert_faults(world.scales().release_scale(release(&world, &no_etag)).await, &["etag"]);
}

#[tokio::test]
async fn a_draft_that_no_longer_fits_the_catalogue_is_not_released() {
    let world = World::with_wires().await;
    let draft = world.create(scale("grand", "a")).await;
    let mut wire = crate::world::copper("cu-1.00", 1.0);
    wire.etag = "1".to_owned();
    wire.material = Material::SteelRound.into();
    wire.strength = Some(becket_api::stringing::StrengthBasis {
        label: "certificate".to_owned(),
        basis: Some(becket_api::stringing::strength_basis::Basis::Stated(
            becket_api::stringing::StrengthStated { tensile_mpa: 2000.0 },
        )),
    });
    let request = UpdateWireRequest { request_id: world.id(), wire: Some(wire), validate_only: false };
    world.wires().update_wire(request).await.unwrap();
    let refused = world.scales().release_scale(release(&world, &draft)).await;
    let status = assert_refused(refused, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!(meta(&status, "id"), "grand/a");
}

#[tokio::test]
async fn lists_show_headlines_in_order() {
    let world = World::with_wires().await;
    for (model_id, revision_id) in [("small", "a"), ("grand", "b"), ("grand", "a")] {
        world.create(scale(model_id, revision_id)).await;
    }
    let list = |page_token: &str, model_id: &str| ListScalesRequest {
        page_size: 2,
        page_token: page_token.to_owned(),
        model_id: model_id.to_owned(),
    };
    let first = world.scales().list_scales(list("", "")).await.unwrap().into_inner();
    let second = world.scales().list_scales(list(&first.next_page_token, "")).await.unwrap().into_inner();
    let names = |scales: &[Scale]| -> Vec<String> {
        scales.iter().map(|scale| format!("{}/{}", scale.model_id, scale.revision_id)).collect()
    };
    assert_eq!(
        (names(&first.scales), names(&second.scales)),
        (vec!["grand/a".into(), "grand/b".into()], vec!["small/a".into()])
    );
    assert!(second.next_page_token.is_empty());
    assert!(first.scales.iter().all(|scale| scale.notes.is_empty() && scale.sections.is_empty()));
    assert_eq!((first.scales[0].state(), first.scales[0].title.as_str()), (ScaleState::Draft, "A grand"));
    let small = world.scales().list_scales(list("", "small")).await.unwrap().into_inner();
    assert_eq!(names(&small.scales), ["small/a"]);
    let other = world.scales().list_scales(list(&first.next_page_token, "small")).await;
    assert_refused(other, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
}

#[tokio::test]
async fn a_flood_of_faults_fits_into_what_a_client_takes() {
    let world = World::with_wires().await;
    let mut broken = scale("grand", "a");
    for note in &mut broken.notes {
        note.speaking_mm = -1.0;
        note.front_mm = -1.0;
        note.back_mm = -1.0;
    }
    let shown = |status: &tonic::Status| status.get_details_bad_request().unwrap().field_violations.len();
    let refused = world.scales().create_scale(create(&world, broken.clone(), true)).await;
    let status = assert_refused(refused, Code::InvalidArgument, "FIELD_INVALID");
    assert!(status.message().starts_with("264 fields are faulty"), "{status:?}");
    assert!(shown(&status) > 20);
    assert_eq!(meta(&status, "violations_left_out"), (264 - shown(&status)).to_string());

    // A client that takes more, and says so, is told all.
    let endpoint = Channel::from_shared(format!("http://{}", world.address)).unwrap();
    let channel = endpoint.http2_max_header_list_size(256 * 1024).connect().await.unwrap();
    let mut request = Request::new(create(&world, broken, true));
    request.metadata_mut().insert(ERROR_BYTES_KEY, "262144".parse().unwrap());
    let refused = ScaleServiceClient::new(channel).create_scale(request).await;
    let status = assert_refused(refused, Code::InvalidArgument, "FIELD_INVALID");
    assert_eq!(shown(&status), 264);
}
