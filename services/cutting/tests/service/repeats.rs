//! A repeated request gets its first answer and changes nothing.

use std::fmt::Debug;

use becket_api::cutting::{
    CancelCutListRequest, ConfirmStepRequest, DecideCoilEvidenceRequest, FinishCutListRequest,
    PlanCutListRequest, ReceiveCoilsRequest, ReplanCutListRequest, ReportSpoiledPieceRequest,
    ReturnCoilRequest, SaveStationRequest, ScrapCoilRequest, SetAsideCoilRequest, SetStockRuleRequest,
    SpoilCause, StartCutListRequest, StockRule, WeighCoilRequest,
};
use tonic::{Code, Request, Response, Status};

use crate::world::{World, assert_faults, assert_refused, coil, plan_request, station};

fn same<R: PartialEq + Debug>(first: Result<Response<R>, Status>, second: Result<Response<R>, Status>) {
    assert_eq!(first.unwrap().into_inner(), second.unwrap().into_inner());
}

/// Sends a request twice, and then another one under the same id.
macro_rules! repeated {
    ($client:expr, $method:ident, $request:expr, $other:expr) => {{
        let (request, other) = ($request, $other);
        let first = $client.$method(request.clone()).await;
        same(first, $client.$method(request).await);
        assert_refused($client.$method(other).await, Code::AlreadyExists, "REQUEST_ID_REUSED");
    }};
}

#[tokio::test]
async fn writes_of_the_stock() {
    let world = World::with_jobs(&[]).await;
    let request_id = || "one".to_owned();
    let coil_id = || "N".to_owned();
    let request = ReceiveCoilsRequest {
        request_id: request_id(),
        coils: vec![coil("N", "mw-in-13", "lot", 9.0)],
        validate_only: false,
    };
    let other = ReceiveCoilsRequest { coils: vec![coil("M", "mw-in-13", "lot", 9.0)], ..request.clone() };
    repeated!(world.coils(), receive_coils, request, other);
    let request = WeighCoilRequest {
        request_id: request_id(),
        coil_id: coil_id(),
        gross_g: 20.0,
        tare_g: 0.0,
        ..Default::default()
    };
    let other = WeighCoilRequest { tare_g: 1.0, ..request.clone() };
    repeated!(world.coils(), weigh_coil, request, other);
    let request = DecideCoilEvidenceRequest {
        request_id: request_id(),
        coil_id: coil_id(),
        evidence_number: 2,
        accept: false,
        note: String::new(),
        keep_lists: false,
    };
    let other = DecideCoilEvidenceRequest { accept: true, ..request.clone() };
    repeated!(world.coils(), decide_coil_evidence, request, other);
    let request = SetAsideCoilRequest {
        request_id: request_id(),
        coil_id: coil_id(),
        note: String::new(),
        keep_lists: false,
    };
    let other = SetAsideCoilRequest { note: "why".to_owned(), ..request.clone() };
    repeated!(world.coils(), set_aside_coil, request, other);
    let request = ReturnCoilRequest { request_id: request_id(), coil_id: coil_id() };
    let other = ReturnCoilRequest { coil_id: "A13".to_owned(), ..request.clone() };
    repeated!(world.coils(), return_coil, request, other);
    let request = ScrapCoilRequest {
        request_id: request_id(),
        coil_id: coil_id(),
        note: String::new(),
        keep_lists: false,
    };
    let other = ScrapCoilRequest { coil_id: "A13".to_owned(), ..request.clone() };
    repeated!(world.coils(), scrap_coil, request, other);
    let rule = |smallest_remnant_mm| Some(StockRule { wire_id: "mw-in-13".to_owned(), smallest_remnant_mm });
    let request = SetStockRuleRequest { request_id: request_id(), rule: rule(1.0) };
    let other = SetStockRuleRequest { rule: rule(2.0), ..request.clone() };
    repeated!(world.coils(), set_stock_rule, request, other);
    let request = SaveStationRequest { request_id: request_id(), station: Some(station("b")) };
    let other = SaveStationRequest { station: Some(station("c")), ..request.clone() };
    repeated!(world.stations(), save_station, request, other);
}

#[tokio::test]
async fn writes_of_lists() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let request_id = || "one".to_owned();
    let list_id = || "L-0001".to_owned();
    let request = PlanCutListRequest { request_id: request_id(), ..plan_request(&["S-1"]) };
    let other = PlanCutListRequest { request_id: request_id(), ..plan_request(&["S-2"]) };
    repeated!(world.lists(), plan_cut_list, request, other);
    let request = StartCutListRequest { request_id: request_id(), list_id: list_id(), etag: String::new() };
    let other = StartCutListRequest { list_id: "L-0002".to_owned(), ..request.clone() };
    repeated!(world.lists(), start_cut_list, request, other);
    let request =
        ConfirmStepRequest { request_id: request_id(), list_id: list_id(), step_number: 1, count: 3 };
    let other = ConfirmStepRequest { count: 2, ..request.clone() };
    repeated!(world.lists(), confirm_step, request, other);
    assert_eq!(world.list("L-0001").await.pieces_done, 2);
    let request = ReportSpoiledPieceRequest {
        request_id: request_id(),
        list_id: list_id(),
        step_number: 2,
        cause: SpoilCause::Broken.into(),
        lost_length_mm: None,
    };
    let other = ReportSpoiledPieceRequest { step_number: 3, ..request.clone() };
    repeated!(world.lists(), report_spoiled_piece, request, other);
    let request = ReplanCutListRequest {
        request_id: request_id(),
        list_id: list_id(),
        etag: String::new(),
        add_serial_ids: Vec::new(),
    };
    let other = ReplanCutListRequest { etag: "1".to_owned(), ..request.clone() };
    repeated!(world.lists(), replan_cut_list, request, other);
    let request =
        FinishCutListRequest { request_id: request_id(), list_id: list_id(), give_up_pending: true };
    let other = FinishCutListRequest { give_up_pending: false, ..request.clone() };
    repeated!(world.lists(), finish_cut_list, request, other);
    world.plan(&["S-2"]).await.unwrap();
    let request = CancelCutListRequest { request_id: request_id(), list_id: "L-0002".to_owned() };
    let other = CancelCutListRequest { list_id: list_id(), ..request.clone() };
    repeated!(world.lists(), cancel_cut_list, request, other);
}

#[tokio::test]
async fn another_caller_may_use_the_same_id() {
    let world = World::with_jobs(&["S-1"]).await;
    let receive = |actor: &str, coil_id: &str| {
        let coils = vec![coil(coil_id, "mw-in-13", "lot", 9.0)];
        let mut request =
            Request::new(ReceiveCoilsRequest { request_id: "one".to_owned(), coils, validate_only: false });
        request.metadata_mut().insert("becket-actor", actor.parse().unwrap());
        request
    };
    world.coils().receive_coils(receive("ann", "N")).await.unwrap();
    world.coils().receive_coils(receive("ben", "M")).await.unwrap();
    let reused = world.coils().receive_coils(receive("ann", "M")).await;
    assert_refused(reused, Code::AlreadyExists, "REQUEST_ID_REUSED");
}

#[tokio::test]
async fn a_write_without_an_id_is_refused() {
    let world = World::empty().await;
    let request = SaveStationRequest { request_id: String::new(), station: Some(station("b")) };
    assert_faults(world.stations().save_station(request).await, &["request_id"]);
}

#[tokio::test]
async fn requests_at_the_same_time_confirm_once() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let request = ConfirmStepRequest {
        request_id: "one".to_owned(),
        list_id: "L-0001".to_owned(),
        step_number: 1,
        count: 4,
    };
    let calls: Vec<_> = (0..8)
        .map(|_| {
            let (mut lists, request) = (world.lists(), request.clone());
            tokio::spawn(async move { lists.confirm_step(request).await.unwrap().into_inner() })
        })
        .collect();
    let mut answers = Vec::new();
    for call in calls {
        answers.push(call.await.unwrap());
    }
    assert!(answers.iter().all(|answer| *answer == answers[0]));
    assert_eq!(world.list("L-0001").await.pieces_done, 3);
}
