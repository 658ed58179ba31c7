use becket_api::convert::timestamp;
use becket_api::journal::{Entry, ListEntriesRequest};
use becket_api::json::from_struct;
use becket_api::stringing::{ImportWiresRequest, UpdateWireRequest, Wire};
use becket_service_kit::ACTOR_KEY;
use tonic::{Code, Request};

use crate::world::{START_US, World, assert_faults, assert_refused, copper, job};

async fn entries(world: &World, request: ListEntriesRequest) -> (Vec<Entry>, String) {
    let answer = world.journal().list_entries(request).await.unwrap().into_inner();
    (answer.entries, answer.next_page_token)
}

#[tokio::test]
async fn a_change_is_told_with_what_was_before() {
    let world = World::empty().await;
    let mut request = Request::new(ImportWiresRequest {
        request_id: "import-1".to_owned(),
        wires: vec![copper("cu-0.50", 0.5)],
        ..ImportWiresRequest::default()
    });
    request.metadata_mut().insert(ACTOR_KEY, "stringer 2".parse().unwrap());
    world.wires().import_wires(request).await.unwrap();
    world.clock.advance_us(3);
    let wire = Wire { density_kg_m3: 8900.0, etag: "1".to_owned(), ..copper("cu-0.50", 0.5) };
    let request =
        UpdateWireRequest { request_id: "update-1".to_owned(), wire: Some(wire), validate_only: false };
    world.wires().update_wire(request).await.unwrap();

    let (list, token) = entries(&world, ListEntriesRequest::default()).await;
    assert_eq!((list.len(), token.as_str()), (2, ""));
    let first = &list[0];
    assert_eq!((first.sequence, first.entry_time), (1, Some(timestamp(START_US))));
    assert_eq!((first.actor.as_str(), first.origin.as_str()), ("stringer 2", "127.0.0.1"));
    assert_eq!((first.request_id.as_str(), first.subject.as_str()), ("import-1", "wires/cu-0.50"));
    assert_eq!(first.method, "becket.stringing.v1.WireService/ImportWires");
    assert_eq!((&first.before, first.hash.len()), (&None, 64));
    let second = &list[1];
    assert_eq!((second.sequence, second.actor.as_str()), (2, ""));
    assert_eq!(second.entry_time, Some(timestamp(START_US + 3)));
    let density =
        |object: &Option<prost_types::Struct>| from_struct(object.as_ref().unwrap())["densityKgM3"].as_f64();
    assert_eq!((density(&second.before), density(&second.after)), (Some(8930.0), Some(8900.0)));
    assert_eq!(second.before, first.after);
}

#[tokio::test]
async fn repeats_and_refusals_leave_no_entry() {
    let world = World::empty().await;
    let request = ImportWiresRequest {
        request_id: "import-1".to_owned(),
        wires: vec![copper("cu-0.50", 0.5)],
        ..ImportWiresRequest::default()
    };
    world.wires().import_wires(request.clone()).await.unwrap();
    world.wires().import_wires(request).await.unwrap();
    let faulty = ImportWiresRequest {
        request_id: "import-2".to_owned(),
        wires: vec![copper("cu-0.60", 0.6), copper("cu-0.50", 0.51)],
        ..ImportWiresRequest::default()
    };
    world.wires().import_wires(faulty).await.unwrap_err();
    assert_eq!(entries(&world, ListEntriesRequest::default()).await.0.len(), 1);
}

#[tokio::test]
async fn pages_and_subjects() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let (all, _) =
        entries(&world, ListEntriesRequest { page_size: 500, ..ListEntriesRequest::default() }).await;
    let sequences: Vec<i64> = all.iter().map(|entry| entry.sequence).collect();
    assert_eq!(sequences, (1..=i64::try_from(all.len()).unwrap()).collect::<Vec<_>>(), "without gaps");
    assert_eq!(all.last().unwrap().subject, "jobs/S-1");

    let (mut paged, mut token) = (Vec::new(), String::new());
    loop {
        let request = ListEntriesRequest { page_size: 9, page_token: token, ..ListEntriesRequest::default() };
        let (page, next) = entries(&world, request).await;
        paged.extend(page);
        if next.is_empty() {
            break;
        }
        token = next;
    }
    assert_eq!(paged, all);

    let request =
        ListEntriesRequest { subject: "scales/grand/a".to_owned(), ..ListEntriesRequest::default() };
    let (of_scale, _) = entries(&world, request.clone()).await;
    let methods: Vec<_> = of_scale.iter().map(|entry| entry.method.as_str()).collect();
    assert_eq!(
        methods,
        ["becket.stringing.v1.ScaleService/CreateScale", "becket.stringing.v1.ScaleService/ReleaseScale"]
    );
    let page = ListEntriesRequest { page_size: 1, ..ListEntriesRequest::default() };
    let (_, token) = entries(&world, page).await;
    let other = ListEntriesRequest { page_token: token, ..request };
    assert_refused(world.journal().list_entries(other).await, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
    let faulty = ListEntriesRequest { page_size: 501, ..ListEntriesRequest::default() };
    assert_faults(world.journal().list_entries(faulty).await, &["page_size"]);
}
