use becket_api::stringing::{
    GetWireRequest, ImportWiresRequest, ListWiresRequest, Material, SizeSeries, UpdateWireRequest, Wire,
};
use tonic::{Code, Request};

use crate::world::{START_US, World, assert_faults, assert_refused, copper, meta};

fn import(request_id: impl Into<String>, wires: Vec<Wire>) -> ImportWiresRequest {
    ImportWiresRequest { request_id: request_id.into(), wires, ..ImportWiresRequest::default() }
}

async fn get(world: &World, wire_id: &str) -> Wire {
    let request = GetWireRequest { wire_id: wire_id.to_owned() };
    world.wires().get_wire(request).await.unwrap().into_inner().wire.unwrap()
}

#[tokio::test]
async fn imported_wires_can_be_read() {
    let world = World::empty().await;
    let mut request = import(world.id(), vec![copper("cu-0.50", 0.5)]);
    request.standard_series = vec![SizeSeries::Millimetre.into()];
    let answer = world.wires().import_wires(request).await.unwrap().into_inner();
    assert_eq!(answer.added_wire_ids[0], "cu-0.50");
    assert!(answer.added_wire_ids.contains(&"mw-mm-13.5".to_owned()), "{answer:?}");
    assert!(answer.unchanged_wire_ids.is_empty());
    let wire = get(&world, "cu-0.50").await;
    let time = Some(becket_api::convert::timestamp(START_US));
    let expected =
        Wire { etag: "1".to_owned(), create_time: time, update_time: time, ..copper("cu-0.50", 0.5) };
    assert_eq!(wire, expected);
}

#[tokio::test]
async fn what_is_there_is_left_as_it_is_or_refused() {
    let world = World::empty().await;
    world.wires().import_wires(import(world.id(), vec![copper("cu-0.50", 0.5)])).await.unwrap();
    // What only the service sets does not count as content.
    let again = Wire { etag: "7".to_owned(), ..copper("cu-0.50", 0.5) };
    for validate_only in [true, false] {
        let both = vec![again.clone(), copper("cu-0.60", 0.6)];
        let request = ImportWiresRequest { validate_only, ..import(world.id(), both) };
        let answer = world.wires().import_wires(request).await.unwrap().into_inner();
        assert_eq!(
            (answer.added_wire_ids, answer.unchanged_wire_ids),
            (vec!["cu-0.60".to_owned()], vec!["cu-0.50".to_owned()])
        );
        let conflict = vec![copper("cu-0.70", 0.7), copper("cu-0.50", 0.51)];
        let request = ImportWiresRequest { validate_only, ..import(world.id(), conflict) };
        let status =
            assert_refused(world.wires().import_wires(request).await, Code::AlreadyExists, "ALREADY_EXISTS");
        assert_eq!((meta(&status, "kind").as_str(), meta(&status, "ids").as_str()), ("wires", "cu-0.50"));
    }
    let missing = world.wires().get_wire(GetWireRequest { wire_id: "cu-0.70".to_owned() }).await;
    assert_refused(missing, Code::NotFound, "NOT_FOUND");
}

#[tokio::test]
async fn validate_only_stores_nothing_and_needs_no_request_id() {
    let world = World::empty().await;
    let request = ImportWiresRequest { validate_only: true, ..import("", vec![copper("cu-0.50", 0.5)]) };
    let answer = world.wires().import_wires(request).await.unwrap().into_inner();
    assert_eq!(answer.added_wire_ids, ["cu-0.50"]);
    let missing = world.wires().get_wire(GetWireRequest { wire_id: "cu-0.50".to_owned() }).await;
    let status = assert_refused(missing, Code::NotFound, "NOT_FOUND");
    assert_eq!((meta(&status, "kind").as_str(), meta(&status, "id").as_str()), ("wires", "cu-0.50"));
}

#[tokio::test]
async fn all_faults_of_an_import_are_told() {
    let world = World::empty().await;
    let broken = Wire { density_kg_m3: f64::NAN, ..copper("cu-0.60", 60.0) };
    let mut request = import(world.id(), vec![copper("CU 0.5", 0.5), copper("cu-0.70", 0.7), broken]);
    request.standard_series = vec![SizeSeries::Unspecified.into(), SizeSeries::Inch.into(), 9];
    assert_faults(
        world.wires().import_wires(request).await,
        &[
            "wires[0].wire_id",
            "wires[2].diameter_mm",
            "wires[2].density_kg_m3",
            "standard_series[0]",
            "standard_series[2]",
        ],
    );
    let many = vec![copper("cu-0.50", 0.5); 2001];
    assert_faults(world.wires().import_wires(import(world.id(), many)).await, &["wires"]);
}

#[tokio::test]
async fn a_repeat_gets_the_first_answer_and_another_request_is_refused() {
    let world = World::empty().await;
    let first =
        world.wires().import_wires(import("one", vec![copper("cu-0.50", 0.5)])).await.unwrap().into_inner();
    let again =
        world.wires().import_wires(import("one", vec![copper("cu-0.50", 0.5)])).await.unwrap().into_inner();
    assert_eq!(first, again);
    assert_eq!(again.added_wire_ids, ["cu-0.50"], "a new call would say that it is unchanged");
    let other = world.wires().import_wires(import("one", vec![copper("cu-0.60", 0.6)])).await;
    assert_refused(other, Code::AlreadyExists, "REQUEST_ID_REUSED");
    // The id belongs to its caller.
    let mut request = Request::new(import("one", vec![copper("cu-0.60", 0.6)]));
    request.metadata_mut().insert("becket-actor", "somebody else".parse().unwrap());
    assert_eq!(world.wires().import_wires(request).await.unwrap().into_inner().added_wire_ids, ["cu-0.60"]);
}

#[tokio::test]
async fn a_write_needs_a_request_id_and_an_actor_that_can_be_printed() {
    let world = World::empty().await;
    for bad in [String::new(), "x".repeat(65), "ü".to_owned()] {
        assert_faults(world.wires().import_wires(import(bad, vec![])).await, &["request_id"]);
    }
    let mut request = Request::new(import("one", vec![]));
    request.metadata_mut().insert("becket-actor", "x".repeat(65).parse().unwrap());
    assert_faults(world.wires().import_wires(request).await, &["becket-actor"]);
}

#[tokio::test]
async fn an_update_needs_the_current_etag() {
    let world = World::with_wires().await;
    let wire = get(&world, "cu-1.00").await;
    world.clock.advance_us(5_000_000);
    let changed = Wire { density_kg_m3: 8900.0, ..wire.clone() };
    let update = |wire: &Wire, validate_only| UpdateWireRequest {
        request_id: world.id(),
        wire: Some(wire.clone()),
        validate_only,
    };
    let preview = world.wires().update_wire(update(&changed, true)).await.unwrap().into_inner().wire.unwrap();
    assert_eq!((preview.density_kg_m3, preview.etag.as_str()), (8900.0, "1"));
    assert_eq!(get(&world, "cu-1.00").await, wire);

    let answer = world.wires().update_wire(update(&changed, false)).await.unwrap().into_inner().wire.unwrap();
    let expected = Wire {
        etag: "2".to_owned(),
        update_time: Some(becket_api::convert::timestamp(START_US + 5_000_000)),
        ..changed.clone()
    };
    assert_eq!(answer, expected);
    assert_eq!(get(&world, "cu-1.00").await, expected);

    for (etag, validate_only) in [("1", false), ("1", true), ("none of ours", false)] {
        let stale = Wire { etag: etag.to_owned(), ..changed.clone() };
        let status = assert_refused(
            world.wires().update_wire(update(&stale, validate_only)).await,
            Code::Aborted,
            "ETAG_STALE",
        );
        assert_eq!(meta(&status, "etag"), "2");
    }
    let faulty = Wire { etag: String::new(), diameter_mm: 0.0, ..changed.clone() };
    assert_faults(
        world.wires().update_wire(update(&faulty, false)).await,
        &["wire.diameter_mm", "wire.etag"],
    );
    let unknown = Wire { wire_id: "cu-9".to_owned(), ..changed };
    assert_refused(world.wires().update_wire(update(&unknown, false)).await, Code::NotFound, "NOT_FOUND");
    let none = UpdateWireRequest { request_id: world.id(), wire: None, validate_only: false };
    assert_faults(world.wires().update_wire(none).await, &["wire"]);
}

#[tokio::test]
async fn pages_hold_every_wire_once_in_order() {
    let world = World::with_wires().await;
    let list = |page_size, page_token: &str, material: Option<Material>| ListWiresRequest {
        page_size,
        page_token: page_token.to_owned(),
        material: material.map(Into::into),
    };
    let all = world.wires().list_wires(list(500, "", None)).await.unwrap().into_inner();
    assert!(all.wires.len() > 20 && all.next_page_token.is_empty());
    let (mut paged, mut token) = (Vec::new(), String::new());
    loop {
        let page = world.wires().list_wires(list(7, &token, None)).await.unwrap().into_inner();
        assert!(page.wires.len() <= 7);
        paged.extend(page.wires);
        token = page.next_page_token;
        if token.is_empty() {
            break;
        }
    }
    assert_eq!(paged, all.wires);
    assert!(paged.is_sorted_by(|a, b| a.wire_id < b.wire_id));

    let token = world.wires().list_wires(list(7, "", None)).await.unwrap().into_inner().next_page_token;
    for (token, material) in [(token.as_str(), Some(Material::Copper)), ("AAAA", None), (&token[1..], None)] {
        let refused = world.wires().list_wires(list(7, token, material)).await;
        assert_refused(refused, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
    }
    let copper = world.wires().list_wires(list(0, "", Some(Material::Copper))).await.unwrap().into_inner();
    assert_eq!(copper.wires.iter().map(|wire| wire.wire_id.as_str()).collect::<Vec<_>>(), ["cu-1.00"]);
    assert_faults(world.wires().list_wires(list(501, "", None)).await, &["page_size"]);
    assert_faults(world.wires().list_wires(list(-1, "", None)).await, &["page_size"]);
    assert_faults(world.wires().list_wires(list(1, "", Some(Material::Unspecified))).await, &["material"]);
}

#[tokio::test]
async fn a_token_is_good_after_a_restart() {
    let world = World::with_wires().await;
    let request = ListWiresRequest { page_size: 5, ..ListWiresRequest::default() };
    let first = world.wires().list_wires(request.clone()).await.unwrap().into_inner();
    let world = world.restart().await;
    let request = ListWiresRequest { page_token: first.next_page_token, ..request };
    let second = world.wires().list_wires(request).await.unwrap().into_inner();
    assert!(first.wires.last().unwrap().wire_id < second.wires[0].wire_id);
}

#[tokio::test]
async fn a_message_beyond_the_limit_is_resource_exhausted() {
    let world = World::empty().await;
    let long = Wire { title: "x".repeat(5 * 1024 * 1024), ..copper("cu-0.50", 0.5) };
    let status = world.wires().import_wires(import(world.id(), vec![long])).await.unwrap_err();
    assert_eq!(status.code(), Code::ResourceExhausted, "{status:?}");
}
