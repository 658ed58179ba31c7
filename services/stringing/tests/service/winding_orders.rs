use becket_api::convert::timestamp;
use becket_api::stringing::{
    AmendJobRequest, AsBuilt, CloseJobRequest, FreezeStringSetRequest, GetWindingOrderRequest, Job, JobState,
    ListWindingOrdersRequest, PieceKind, ReleaseWindingOrderRequest, ReleaseWindingOrderResponse,
    WindingOrder,
};
use tonic::{Code, Status};

use crate::world::{START_US, World, assert_faults, assert_refused, job, meta, scale};

fn request(world: &World, serials: &[&str], reason: &str, validate_only: bool) -> ReleaseWindingOrderRequest {
    ReleaseWindingOrderRequest {
        request_id: world.id(),
        serial_ids: serials.iter().map(|id| (*id).to_owned()).collect(),
        reason: reason.to_owned(),
        validate_only,
    }
}

async fn send(
    world: &World,
    request: ReleaseWindingOrderRequest,
) -> Result<ReleaseWindingOrderResponse, Status> {
    Ok(world.winding_orders().release_winding_order(request).await?.into_inner())
}

async fn release(world: &World, serials: &[&str], reason: &str) -> Result<(WindingOrder, bool), Status> {
    let answer = send(world, request(world, serials, reason, false)).await?;
    Ok((answer.winding_order.unwrap(), answer.released))
}

async fn get(world: &World, order_id: &str, revision: Option<i32>) -> Result<WindingOrder, Status> {
    let request = GetWindingOrderRequest { order_id: order_id.to_owned(), revision };
    Ok(world.winding_orders().get_winding_order(request).await?.into_inner().winding_order.unwrap())
}

/// Measures a note of a serial to be longer.
async fn measure(world: &World, opened: &Job, note: i32, speaking_mm: f64) -> Job {
    let as_built = vec![AsBuilt { note, speaking_mm: Some(speaking_mm), ..AsBuilt::default() }];
    let job = Some(Job { as_built, ..opened.clone() });
    let request = AmendJobRequest { request_id: world.id(), job, validate_only: false };
    world.jobs().amend_job(request).await.unwrap().into_inner().job.unwrap()
}

#[tokio::test]
async fn an_order_agrees_with_the_string_set() {
    let world = World::with_scale().await;
    world.open(job("C27-0107")).await;
    let (order, released) = release(&world, &["C27-0107"], "").await.unwrap();
    assert!(released);
    assert_eq!((order.order_id.as_str(), order.revision, order.reason.as_str()), ("W-0001", 1, ""));
    assert_eq!(order.release_time, Some(timestamp(START_US)));
    let set = world.set("C27-0107").await;
    assert_eq!(order.serials[0].set_digest, set.digest);
    // Notes 1 to 8 have one string, 9 to 20 two.
    assert_eq!(
        order.lines.iter().map(|line| line.quantity).collect::<Vec<_>>(),
        [&[1; 8][..], &[2; 12]].concat()
    );
    for line in &order.lines {
        let string = set.strings.iter().find(|string| string.note == line.note).unwrap();
        let piece = set.pieces.iter().find(|piece| piece.piece_id == string.piece_id).unwrap();
        assert_eq!(piece.kind, i32::from(PieceKind::WoundCore));
        assert_eq!((line.cut_length_um, &line.core_wire_id), (piece.length_um, &string.wire_id));
        let (ordered, figures) = (&line.layers[0], &string.windings[0]);
        let relaxed = figures.relaxed.as_ref().unwrap();
        assert!((ordered.start_from_eye_mm - relaxed.start_from_eye_mm).abs() <= 0.005 + 1e-9);
        assert!((ordered.end_from_eye_mm - relaxed.end_from_eye_mm).abs() <= 0.005 + 1e-9);
        assert!((ordered.wire_mass_g - figures.wire_mass_g).abs() <= 0.0005 + 1e-9);
        assert!(
            (line.overall_relaxed_mm - string.wound.as_ref().unwrap().overall_relaxed_mm).abs()
                <= 0.005 + 1e-9
        );
    }
    let copper = order.materials.iter().find(|material| material.wire_id == "cu-1.00").unwrap();
    let total = set.wire_totals.iter().find(|total| total.wire_id == "cu-1.00").unwrap();
    assert!((copper.mass_kg * 1e3 - total.mass_g).abs() < 0.05, "{copper:?} {total:?}");
    assert_eq!(get(&world, "W-0001", None).await.unwrap(), order);
}

#[tokio::test]
async fn a_change_is_a_revision_with_a_reason() {
    let world = World::with_scale().await;
    let opened = world.open(job("C27-0107")).await;
    world.open(job("C27-0108")).await;
    let both = ["C27-0108", "C27-0107"];
    let (first, _) = release(&world, &both, "").await.unwrap();
    assert_eq!(first.lines.len(), 20);
    assert_eq!(first.lines[0].quantity, 2);
    let (again, released) = release(&world, &["C27-0107", "C27-0108"], "").await.unwrap();
    assert_eq!((again, released), (first.clone(), false));

    // A plain string that was measured is nothing to the winder.
    let opened = measure(&world, &opened, 50, 400.0).await;
    assert!(!release(&world, &both, "").await.unwrap().1);

    measure(&world, &opened, 3, 1905.5).await;
    for validate_only in [true, false] {
        let silent = send(&world, request(&world, &both, "", validate_only)).await;
        let status = assert_refused(silent, Code::FailedPrecondition, "STATE_FORBIDS");
        assert_eq!((meta(&status, "order_id"), meta(&status, "revision")), ("W-0001".into(), "1".into()));
    }
    let preview = send(&world, request(&world, &both, "note 3 measured", true)).await.unwrap();
    let (second, released) = release(&world, &both, "note 3 measured").await.unwrap();
    assert!(released && !preview.released);
    assert_eq!(preview.winding_order.unwrap(), WindingOrder { release_time: None, ..second.clone() });
    assert_eq!(
        (second.order_id.as_str(), second.revision, second.reason.as_str()),
        ("W-0001", 2, "note 3 measured")
    );
    assert_eq!(second.lines.len(), 21, "the measured string has a line of its own");
    assert_eq!(get(&world, "W-0001", Some(1)).await.unwrap(), first);
    assert_eq!(get(&world, "W-0001", None).await.unwrap(), second);
    let world = world.restart().await;
    assert_eq!(get(&world, "W-0001", Some(2)).await.unwrap(), second);
}

#[tokio::test]
async fn a_repeat_gets_the_first_answer() {
    let world = World::with_scale().await;
    let opened = world.open(job("C27-0107")).await;
    let first = request(&world, &["C27-0107"], "", false);
    let answer = send(&world, first.clone()).await.unwrap();
    measure(&world, &opened, 3, 1905.5).await;
    assert_eq!(send(&world, first.clone()).await.unwrap(), answer);
    let reused = ReleaseWindingOrderRequest { reason: "other".to_owned(), ..first };
    assert_refused(send(&world, reused).await, Code::AlreadyExists, "REQUEST_ID_REUSED");
}

#[tokio::test]
async fn a_serial_is_not_ordered_twice() {
    let world = World::with_scale().await;
    for serial in ["A", "B", "C"] {
        world.open(job(serial)).await;
    }
    release(&world, &["A", "B"], "").await.unwrap();
    for validate_only in [true, false] {
        let more = send(&world, request(&world, &["B", "C"], "more", validate_only)).await;
        let status = assert_refused(more, Code::FailedPrecondition, "STATE_FORBIDS");
        assert_eq!((meta(&status, "serial_id"), meta(&status, "order_id")), ("B".into(), "W-0001".into()));
    }
    release(&world, &["C"], "").await.unwrap();
    let list = |page_token: String, serial_id: &str| ListWindingOrdersRequest {
        page_size: 1,
        page_token,
        serial_id: serial_id.to_owned(),
    };
    let first =
        world.winding_orders().list_winding_orders(list(String::new(), "")).await.unwrap().into_inner();
    assert_eq!(first.winding_orders[0].order_id, "W-0001");
    assert!(first.winding_orders[0].lines.is_empty() && first.winding_orders[0].serials.len() == 2);
    let next = world.winding_orders().list_winding_orders(list(first.next_page_token, "")).await.unwrap();
    assert_eq!(next.into_inner().winding_orders[0].order_id, "W-0002");
    let of_b =
        world.winding_orders().list_winding_orders(list(String::new(), "B")).await.unwrap().into_inner();
    assert_eq!((of_b.winding_orders.len(), of_b.winding_orders[0].order_id.as_str()), (1, "W-0001"));
    assert_eq!(of_b.next_page_token, "");
}

#[tokio::test]
async fn frozen_sets_are_ordered_and_ended_jobs_are_not() {
    let world = World::with_scale().await;
    world.open(job("A")).await;
    let digest = world.set("A").await.digest;
    let freeze =
        FreezeStringSetRequest { request_id: world.id(), serial_id: "A".to_owned(), digest: digest.clone() };
    world.sets().freeze_string_set(freeze).await.unwrap();
    let (order, _) = release(&world, &["A"], "").await.unwrap();
    assert_eq!(order.serials[0].set_digest, digest);

    let opened = world.open(job("B")).await;
    let close = CloseJobRequest {
        request_id: world.id(),
        serial_id: opened.serial_id,
        etag: opened.etag,
        final_state: JobState::GivenUp.into(),
    };
    world.jobs().close_job(close).await.unwrap();
    assert_refused(release(&world, &["B"], "").await, Code::FailedPrecondition, "STATE_FORBIDS");
}

#[tokio::test]
async fn bad_requests_are_told() {
    let world = World::with_scale().await;
    world.open(job("A")).await;
    assert_faults(release(&world, &[], "").await, &["serial_ids"]);
    let long = "x".repeat(501);
    assert_faults(release(&world, &["A", "A"], &long).await, &["serial_ids[1]", "reason"]);
    let many: Vec<_> = (0..201).map(|n| format!("S{n}")).collect();
    let many: Vec<_> = many.iter().map(String::as_str).collect();
    assert_faults(release(&world, &many, "").await, &["serial_ids"]);
    assert_refused(release(&world, &["nobody"], "").await, Code::NotFound, "NOT_FOUND");
    assert_refused(get(&world, "W-0001", None).await, Code::NotFound, "NOT_FOUND");
    assert_faults(get(&world, "W-0001", Some(0)).await, &["revision"]);

    let mut plain = scale("plain", "a");
    plain.notes.iter_mut().for_each(|note| note.windings.clear());
    world.create_and_release(plain).await;
    world.open(Job { model_id: "plain".to_owned(), ..job("P") }).await;
    let refused = release(&world, &["A", "P"], "").await;
    let status = assert_refused(refused, Code::FailedPrecondition, "NOT_COMPUTABLE");
    assert_eq!(meta(&status, "serial_id"), "P");
}
