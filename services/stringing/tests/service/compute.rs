use becket_api::stringing::compute_string_set_request::Source;
use becket_api::stringing::{
    ComputeOptions, ComputeStringSetRequest, PitchBasis, Scale, ScaleReference, StringSet,
    UpdateScaleRequest, UpdateWireRequest, WarningCode, Wire,
};
use tonic::{Code, Status};

use crate::world::{World, assert_faults, assert_refused, copper, scale};

async fn compute(world: &World, request: ComputeStringSetRequest) -> Result<StringSet, Status> {
    Ok(world.sets().compute_string_set(request).await?.into_inner().string_set.unwrap())
}

fn of(scale: Scale) -> ComputeStringSetRequest {
    ComputeStringSetRequest { source: Some(Source::Scale(scale)), ..ComputeStringSetRequest::default() }
}

fn of_stored(model_id: &str, revision_id: &str) -> ComputeStringSetRequest {
    let stored = ScaleReference { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() };
    ComputeStringSetRequest { source: Some(Source::Stored(stored)), ..ComputeStringSetRequest::default() }
}

#[tokio::test]
async fn a_given_scale_is_computed_and_not_stored() {
    let world = World::with_wires().await;
    let set = compute(&world, of(scale("grand", "a"))).await.unwrap();
    // 8 notes of one string, 12 of two, 68 of three.
    assert_eq!(set.strings.len(), 8 + 24 + 204);
    // Each wound string is a piece; the 24 three-string notes of size 19 and of size 16 and the 20... in pairs.
    let totals = set.totals.unwrap();
    assert_eq!((totals.strings, totals.wound_strings, totals.looped_pairs), (236, 32, 102));
    assert_eq!((totals.tied_singles, totals.pieces), (0, 32 + 102));
    assert_eq!((set.serial_id.as_str(), set.frozen, set.digest.len()), ("", false, 64));
    let basis = set.basis.unwrap();
    assert_eq!(basis.options.unwrap().a4_hz, Some(440.0));
    let wires: Vec<_> = basis.wires.iter().map(|wire| wire.wire_id.as_str()).collect();
    assert_eq!(wires, ["cu-1.00", "mw-in-13", "mw-in-16", "mw-in-19"]);
    assert_refused(compute(&world, of_stored("grand", "a")).await, Code::NotFound, "NOT_FOUND");
}

#[tokio::test]
async fn a_stored_revision_gives_the_same_as_the_scale_itself() {
    let world = World::with_wires().await;
    let given = compute(&world, of(scale("grand", "a"))).await.unwrap();
    world.create(scale("grand", "a")).await;
    assert_eq!(compute(&world, of_stored("grand", "a")).await.unwrap(), given);
}

#[tokio::test]
async fn an_answer_that_is_kept_follows_scale_and_catalogue() {
    let world = World::with_wires().await;
    let draft = world.create(scale("grand", "a")).await;
    let keeping = world.beside().await;
    let kept = async |request: ComputeStringSetRequest| {
        let ask = async || keeping.clone().compute_string_set(request.clone()).await.unwrap().into_inner();
        let first = ask().await;
        assert_eq!(first, ask().await);
        first.string_set.unwrap()
    };
    let (given, stored) = (kept(of(scale("grand", "a"))).await, kept(of_stored("grand", "a")).await);
    assert_eq!(given, stored);
    let options = Some(ComputeOptions { a4_hz: Some(442.0), ..ComputeOptions::default() });
    let sharper = kept(ComputeStringSetRequest { options, ..of_stored("grand", "a") }).await;
    assert_ne!(sharper.digest, stored.digest);

    let mut longer = draft.clone();
    longer.notes[87].speaking_mm = 53.0;
    let request = UpdateScaleRequest { request_id: world.id(), scale: Some(longer), validate_only: false };
    world.scales().update_scale(request).await.unwrap();
    let updated = kept(of_stored("grand", "a")).await;
    assert_eq!(updated.strings.last().unwrap().speaking_mm, 53.0);
    assert_eq!(kept(of(scale("grand", "a"))).await, given, "the scale in the request is what it was");

    let heavier = Wire { density_kg_m3: 9000.0, etag: "1".to_owned(), ..copper("cu-1.00", 1.0) };
    let request = UpdateWireRequest { request_id: world.id(), wire: Some(heavier), validate_only: false };
    world.wires().update_wire(request).await.unwrap();
    for (request, before) in [(of_stored("grand", "a"), &updated), (of(scale("grand", "a")), &given)] {
        let now = kept(request).await;
        assert!(now.strings[0].tension_n > before.strings[0].tension_n);
    }
}

#[tokio::test]
async fn tension_follows_the_square_of_the_pitch() {
    let world = World::with_wires().await;
    let at = |a4_hz| ComputeStringSetRequest {
        options: Some(ComputeOptions { a4_hz: Some(a4_hz), ..ComputeOptions::default() }),
        ..of(scale("grand", "a"))
    };
    let low = compute(&world, at(440.0)).await.unwrap();
    let high = compute(&world, at(484.0)).await.unwrap();
    for (low, high) in low.strings.iter().zip(&high.strings) {
        // 484 Hz is 1.1 times 440 Hz. Mersenne: T is proportional to f².
        assert!((high.tension_n / low.tension_n / 1.21 - 1.0).abs() < 1e-12, "{}", low.string_id);
    }
    assert_ne!(low.digest, high.digest);
}

#[tokio::test]
async fn wires_of_the_request_take_the_place_of_those_of_the_catalogue() {
    let world = World::with_wires().await;
    let usual = compute(&world, of(scale("grand", "a"))).await.unwrap();
    let thicker = ComputeStringSetRequest { wires: vec![copper("cu-1.00", 1.1)], ..of(scale("grand", "a")) };
    let thicker = compute(&world, thicker).await.unwrap();
    assert!(thicker.strings[0].tension_n > 1.05 * usual.strings[0].tension_n);
    assert_eq!(thicker.strings[235], usual.strings[235], "a plain string is what it was");
    let mut other = scale("grand", "a");
    other.notes[0].windings[0].wire_id = "cu-of-the-request".to_owned();
    assert_faults(compute(&world, of(other.clone())).await, &["scale.notes[0].windings[0].wire_id"]);
    let beside = ComputeStringSetRequest { wires: vec![copper("cu-of-the-request", 1.0)], ..of(other) };
    assert!(compute(&world, beside).await.is_ok());
}

#[tokio::test]
async fn warnings_are_told() {
    let world = World::with_wires().await;
    let weak_plate = Scale { plate_limit_n: Some(1000.0), ..scale("grand", "a") };
    let set = compute(&world, of(weak_plate)).await.unwrap();
    assert_eq!(set.warnings[0].code(), WarningCode::PlateLimitExceeded, "{:?}", set.warnings[0]);
    assert_eq!(set.warnings[0].limit, Some(1000.0));
}

#[tokio::test]
async fn faults_are_told_with_their_paths() {
    let world = World::with_wires().await;
    assert_faults(compute(&world, ComputeStringSetRequest::default()).await, &["source"]);
    let mut broken = scale("grand", "a");
    broken.notes[12].speaking_mm = f64::NAN;
    let request = ComputeStringSetRequest {
        wires: vec![copper("cu-1.00", 1.0), copper("cu-1.00", 1.1), copper("cu-2", 20.0)],
        options: Some(ComputeOptions { load_share_limit: Some(2.0), ..ComputeOptions::default() }),
        ..of(broken)
    };
    let fields = [
        "options.load_share_limit",
        "wires[1].wire_id",
        "wires[2].diameter_mm",
        "scale.notes[12].speaking_mm",
    ];
    assert_faults(compute(&world, request).await, &fields);
}

#[tokio::test]
async fn a_string_that_sounds_too_high_without_tension_is_not_computable() {
    let world = World::with_wires().await;
    let mut stiff = scale("grand", "a");
    stiff.notes[87].speaking_mm = 20.0;
    stiff.notes[87].wire_id = "mw-in-22".to_owned();
    let request = ComputeStringSetRequest {
        options: Some(ComputeOptions {
            pitch_basis: Some(PitchBasis::FirstPartial.into()),
            ..ComputeOptions::default()
        }),
        ..of(stiff.clone())
    };
    let status = assert_refused(compute(&world, request).await, Code::FailedPrecondition, "NOT_COMPUTABLE");
    assert!(status.message().contains("note 88"), "{status:?}");
    assert!(compute(&world, of(stiff)).await.is_ok(), "without stiffness it is");
}
