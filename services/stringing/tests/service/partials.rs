use becket_api::stringing::compute_partials_request::Source;
use becket_api::stringing::{
    ComputeOptions, ComputePartialsRequest, ComputePartialsResponse, FreezeStringSetRequest, Job, PitchBasis,
    ScaleReference, StringModel, StringSet, UpdateWireRequest,
};
use tonic::{Code, Status};

use crate::world::{World, assert_faults, assert_refused, copper, job, scale};

async fn partials(world: &World, request: ComputePartialsRequest) -> Result<ComputePartialsResponse, Status> {
    Ok(world.sets().compute_partials(request).await?.into_inner())
}

fn of_stored() -> ComputePartialsRequest {
    let stored = ScaleReference { model_id: "grand".to_owned(), revision_id: "a".to_owned() };
    ComputePartialsRequest { source: Some(Source::Stored(stored)), ..Default::default() }
}

fn of_serial(serial_id: &str) -> ComputePartialsRequest {
    ComputePartialsRequest { source: Some(Source::SerialId(serial_id.to_owned())), ..Default::default() }
}

#[tokio::test]
async fn partials_are_exact_unless_the_options_say_otherwise() {
    let world = World::with_scale().await;
    let exact = partials(&world, ComputePartialsRequest { notes: vec![1, 40], ..of_stored() }).await.unwrap();
    assert_eq!(exact.options.unwrap().string_model(), StringModel::Stepped);
    assert_eq!(exact.notes.iter().map(|note| note.note).collect::<Vec<_>>(), [1, 40]);
    let options = ComputeOptions {
        string_model: Some(StringModel::ClosedForm.into()),
        pitch_basis: Some(PitchBasis::FirstPartial.into()),
        partial_count: Some(20),
        ..Default::default()
    };
    let request = ComputePartialsRequest { options: Some(options), notes: vec![1, 40], ..of_stored() };
    let uniform = partials(&world, request).await.unwrap();
    let figures = |answer: &ComputePartialsResponse, at: usize| answer.notes[at].partials.clone().unwrap();
    let (stepped, closed) = (figures(&exact, 0), figures(&uniform, 0));
    assert_eq!((stepped.partial_hz.len(), closed.partial_hz.len()), (16, 20));
    // 20 mm bare at each end of 1.9 m.
    assert!(stepped.fitted_inharmonicity > 1.05 * closed.fitted_inharmonicity);
    assert!(stepped.fit_residual_cents > 0.0 && closed.fit_residual_cents == 0.0);
    let b = figures(&exact, 1).fitted_inharmonicity / figures(&uniform, 1).fitted_inharmonicity;
    assert!((b - 1.0).abs() < 1e-3, "a plain string is uniform in both, but for the pitch basis: {b}");
    let all = partials(&world, of_stored()).await.unwrap();
    assert_eq!(all.notes.len(), 88);
}

#[tokio::test]
async fn partials_of_a_serial_have_its_measurements_and_its_frozen_inputs() {
    let world = World::with_scale().await;
    let as_built =
        vec![becket_api::stringing::AsBuilt { note: 5, speaking_mm: Some(1850.0), ..Default::default() }];
    let options = Some(ComputeOptions { a4_hz: Some(442.0), ..Default::default() });
    world.open(Job { as_built, options, ..job("S-1") }).await;
    let request = || ComputePartialsRequest { notes: vec![5], ..of_serial("S-1") };
    let open = partials(&world, request()).await.unwrap();
    assert_eq!(open.notes[0].speaking_mm, 1850.0);
    let options = open.options.unwrap();
    assert_eq!((options.a4_hz, options.string_model()), (Some(442.0), StringModel::Stepped));

    let set: StringSet = world.set("S-1").await;
    let freeze =
        FreezeStringSetRequest { request_id: world.id(), serial_id: "S-1".to_owned(), digest: set.digest };
    world.sets().freeze_string_set(freeze).await.unwrap();
    let heavier =
        becket_api::stringing::Wire { density_kg_m3: 9100.0, etag: "1".to_owned(), ..copper("cu-1.00", 1.0) };
    let update = UpdateWireRequest { request_id: world.id(), wire: Some(heavier), validate_only: false };
    world.wires().update_wire(update).await.unwrap();
    assert_eq!(partials(&world, request()).await.unwrap(), open, "as frozen");
    let now = partials(&world, ComputePartialsRequest { notes: vec![5], ..of_stored() }).await.unwrap();
    assert!(now.notes[0].linear_density_g_m > open.notes[0].linear_density_g_m);
}

#[tokio::test]
async fn partials_tell_all_faults() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    assert_faults(partials(&world, ComputePartialsRequest::default()).await, &["source"]);
    let options =
        Some(ComputeOptions { partial_count: Some(61), string_model: Some(0), ..Default::default() });
    let request = ComputePartialsRequest {
        options,
        notes: vec![1, 89],
        wires: vec![copper("cu-1.00", 1.0)],
        ..of_serial("S-1")
    };
    let fields = ["options.string_model", "options.partial_count", "wires", "notes[1]"];
    assert_faults(partials(&world, request).await, &fields);
    assert_refused(partials(&world, of_serial("S-9")).await, Code::NotFound, "NOT_FOUND");
    let many = ComputePartialsRequest { notes: vec![1; 121], ..of_stored() };
    assert_faults(partials(&world, many).await, &["notes"]);
    let mut broken = scale("grand", "a");
    broken.notes[3].windings[0].bare_front_mm = 5000.0;
    let given = ComputePartialsRequest { source: Some(Source::Scale(broken)), ..Default::default() };
    let fields = ["scale.notes[3].windings[0].bare_front_mm", "scale.notes[3].windings[0]"];
    assert_faults(partials(&world, given).await, &fields);
}
