//! Coils and stock rules.

use becket_api::cutting::{
    Coil, CoilState, GetCoilRequest, ListCoilsRequest, ListStockRulesRequest, NewCoil, ReceiveCoilsRequest,
    ReturnCoilRequest, ScrapCoilRequest, SetAsideCoilRequest, SetStockRuleRequest, StockRule,
    WeighCoilRequest, new_coil::Amount,
};
use tonic::Code;

use crate::world::{World, assert_faults, assert_refused, coil, meta, violated};

#[tokio::test]
async fn a_coil_by_mass_has_the_length_that_follows() {
    let world = World::with_scale().await;
    let amount = Some(Amount::ReceivedMassG(500.0));
    let sealed = NewCoil { amount, ..coil("A", "mw-in-16", "lot-1", 1.0) };
    let opened = NewCoil { remaining_length_mm: Some(12_000.0), coil_id: "B".to_owned(), ..sealed.clone() };
    let coils = world.receive(vec![sealed, opened]).await.unwrap();
    // No. 16 is 0.037 in of 7850 kg/m3: 5.4454 g/m, so 500 g are 91.82 m.
    assert!((coils[0].received_um - 91_820_000).abs() < 5_000, "{:?}", coils[0]);
    assert_eq!((coils[0].state(), coils[1].state()), (CoilState::Sealed, CoilState::Opened));
    assert_eq!(coils[1].remaining_um, 12_000_000);
    assert_eq!(coils[1].adjusted_um, 12_000_000 - coils[1].received_um);
    assert_eq!(world.coil("A").await, coils[0]);
}

#[tokio::test]
async fn all_faults_of_all_coils_at_once_and_none_is_booked() {
    let world = World::with_scale().await;
    let coils = vec![
        NewCoil { lot_id: String::new(), ..coil("a b", "mw-in-16", "", 1.0) },
        NewCoil { amount: None, ..coil("B", "mw-in-16", "lot", 1.0) },
        NewCoil { received_date: "2026-11-31".to_owned(), ..coil("C", "mw-in-16", "lot", -1.0) },
        coil("D", "mw-in-16", "lot", 10.0),
    ];
    let fields = [
        "coils[0].coil_id",
        "coils[0].lot_id",
        "coils[1].received_mass_g",
        "coils[2].received_date",
        "coils[2].received_length_mm",
    ];
    assert_faults(world.receive(coils).await, &fields);
    let status = assert_refused(
        world.coils().get_coil(GetCoilRequest { coil_id: "D".to_owned() }).await,
        Code::NotFound,
        "NOT_FOUND",
    );
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("coils".to_owned(), "D".to_owned()));
    assert_faults(world.receive(vec![]).await, &["coils"]);
    let many = (0..1001).map(|i| coil(&format!("X{i}"), "mw-in-16", "lot", 1.0)).collect();
    assert_faults(world.receive(many).await, &["coils"]);
}

#[tokio::test]
async fn faults_of_different_kinds_are_told_at_once() {
    let world = World::with_scale().await;
    world.receive(vec![coil("A", "mw-in-16", "lot", 1.0)]).await.unwrap();
    let coils = vec![
        NewCoil {
            received_date: "26-11-30".to_owned(),
            remaining_length_mm: Some(-1.0),
            ..coil("A", "gold", "no lot", -1.0)
        },
        NewCoil { remaining_length_mm: Some(2000.0), ..coil("B", "mw-in-16", "lot", 1.0) },
        coil("B", "tin", "lot", 1.0),
    ];
    let status = assert_refused(world.receive(coils).await, Code::InvalidArgument, "FIELD_INVALID");
    let mut fields = violated(&status);
    fields.sort();
    let expected = [
        "coils[0].coil_id",
        "coils[0].lot_id",
        "coils[0].received_date",
        "coils[0].received_length_mm",
        "coils[0].remaining_length_mm",
        "coils[0].wire_id",
        "coils[1].remaining_length_mm",
        "coils[2].coil_id",
        "coils[2].wire_id",
    ];
    assert_eq!(fields, expected);
}

#[tokio::test]
async fn wires_must_be_in_the_catalogue_and_ids_new() {
    let world = World::with_scale().await;
    let coils =
        vec![coil("A", "gold", "lot", 1.0), coil("B", "mw-in-16", "lot", 1.0), coil("C", "tin", "lot", 1.0)];
    let status = assert_refused(world.receive(coils).await, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!(violated(&status), ["coils[0].wire_id", "coils[2].wire_id"]);
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("wires".to_owned(), "gold".to_owned()));

    world.receive(vec![coil("A", "mw-in-16", "lot", 1.0)]).await.unwrap();
    let twice = vec![coil("A", "mw-in-16", "lot", 1.0), coil("B", "mw-in-16", "lot", 1.0)];
    for validate_only in [true, false] {
        let request = ReceiveCoilsRequest { request_id: world.id(), coils: twice.clone(), validate_only };
        let status =
            assert_refused(world.coils().receive_coils(request).await, Code::AlreadyExists, "ALREADY_EXISTS");
        assert_eq!(meta(&status, "ids"), "A");
    }
    let request =
        ReceiveCoilsRequest { coils: twice[1..].to_vec(), validate_only: true, ..Default::default() };
    assert_eq!(world.coils().receive_coils(request).await.unwrap().into_inner().coils.len(), 1);
    let lookup = world.coils().get_coil(GetCoilRequest { coil_id: "B".to_owned() }).await;
    assert_refused(lookup, Code::NotFound, "NOT_FOUND");
}

#[tokio::test]
async fn weighing_corrects_the_length_and_names_lists_that_fall_short() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let before = world.coil("A13").await;
    let weigh = |request_id, gross_g, tare_g| {
        let coil_id = "A13".to_owned();
        let mut coils = world.coils();
        async move { coils.weigh_coil(WeighCoilRequest { request_id, coil_id, gross_g, tare_g }).await }
    };
    let full =
        weigh(world.id(), 120.0 + 195.0 * before.linear_density_g_m, 120.0).await.unwrap().into_inner();
    assert_eq!(full.adjusted_by_um, -5_000_000);
    assert_eq!((full.coil.unwrap().remaining_um, full.short_list_ids.len()), (195_000_000, 0));
    let short = weigh(world.id(), 125.0, 120.0).await.unwrap().into_inner();
    assert_eq!(short.short_list_ids, ["L-0001"]);
    assert_eq!(world.coil("A13").await.adjusted_um, short.coil.unwrap().adjusted_um);
    assert_faults(weigh(world.id(), -1.0, f64::NAN).await, &["gross_g", "tare_g"]);
    assert_faults(weigh(world.id(), 100.0, 120.0).await, &["gross_g"]);
    // Ten times as much as was received.
    assert_faults(weigh(world.id(), 2000.0 * before.linear_density_g_m, 0.0).await, &["gross_g"]);
}

#[tokio::test]
async fn a_coil_set_aside_is_not_planned_until_it_returns() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let (coil_id, note) = ("A13".to_owned(), "rust on it".to_owned());
    let request = SetAsideCoilRequest { request_id: world.id(), coil_id: coil_id.clone(), note };
    let answer = world.coils().set_aside_coil(request.clone()).await.unwrap().into_inner();
    assert_eq!(answer.coil.unwrap().state(), CoilState::SetAside);
    assert_eq!(answer.affected_list_ids, ["L-0001"]);
    let again = SetAsideCoilRequest { request_id: world.id(), ..request.clone() };
    let status =
        assert_refused(world.coils().set_aside_coil(again).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "state"), "set_aside");
    let long = SetAsideCoilRequest { request_id: world.id(), note: "x".repeat(501), ..request };
    assert_faults(world.coils().set_aside_coil(long).await, &["note"]);

    let replan = |request_id| becket_api::cutting::ReplanCutListRequest {
        request_id,
        list_id: "L-0001".to_owned(),
        etag: String::new(),
    };
    let list =
        world.lists().replan_cut_list(replan(world.id())).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.shortages.iter().map(|s| s.wire_id.as_str()).collect::<Vec<_>>(), ["mw-in-13"]);
    assert_eq!(world.coil("A13").await.reserved_um, 0);
    let request = ReturnCoilRequest { request_id: world.id(), coil_id };
    let coil = world.coils().return_coil(request).await.unwrap().into_inner().coil.unwrap();
    assert_eq!(coil.state(), CoilState::Sealed);
    let list =
        world.lists().replan_cut_list(replan(world.id())).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.shortages, []);
}

#[tokio::test]
async fn only_a_coil_that_no_list_counts_on_is_scrapped() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let scrap = |request_id, coil_id: &str| {
        let request = ScrapCoilRequest { request_id, coil_id: coil_id.to_owned(), note: String::new() };
        let mut coils = world.coils();
        async move { coils.scrap_coil(request).await }
    };
    let status = assert_refused(scrap(world.id(), "A13").await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!((meta(&status, "coil_id"), meta(&status, "list_ids")), ("A13".into(), "L-0001".into()));
    world.receive(vec![coil("Z", "mw-in-13", "lot", 5.0)]).await.unwrap();
    let coil = scrap(world.id(), "Z").await.unwrap().into_inner().coil.unwrap();
    assert_eq!((coil.state(), coil.remaining_um, coil.scrapped_um), (CoilState::Scrapped, 0, 5_000_000));
    assert_refused(scrap(world.id(), "Z").await, Code::FailedPrecondition, "STATE_FORBIDS");
}

/// A list that has only to take a coil off counts on no more of it; scrapped under its hands, the list could not end.
#[tokio::test]
async fn a_coil_that_is_still_to_be_taken_off_is_not_scrapped() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let list = world.list("L-0001").await;
    let last = list.steps.last().unwrap();
    world.confirm("L-0001", 1, last.step_number - 1).await.unwrap();
    let before = world.coil(&last.coil_id).await;
    assert_eq!(before.reserved_um, 0);
    let scrap = || ScrapCoilRequest {
        request_id: world.id(),
        coil_id: last.coil_id.clone(),
        note: "kinked".to_owned(),
    };
    let status =
        assert_refused(world.coils().scrap_coil(scrap()).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "list_ids"), "L-0001");
    assert_eq!(world.coil(&last.coil_id).await, before);
    world.confirm("L-0001", last.step_number, 1).await.unwrap();
    world.coils().scrap_coil(scrap()).await.unwrap();
}

#[tokio::test]
async fn coils_are_listed_by_id_with_filters() {
    let world = World::with_jobs(&[]).await;
    let list = |request: ListCoilsRequest| {
        let mut coils = world.coils();
        async move { coils.list_coils(request).await.map(tonic::Response::into_inner) }
    };
    let ids = |coils: &[Coil]| coils.iter().map(|coil| coil.coil_id.clone()).collect::<Vec<_>>();
    let first = list(ListCoilsRequest { page_size: 3, ..Default::default() }).await.unwrap();
    assert_eq!(ids(&first.coils), ["A13", "A16", "A19"]);
    let next = ListCoilsRequest { page_size: 3, page_token: first.next_page_token, ..Default::default() };
    let rest = list(next).await.unwrap();
    assert_eq!((ids(&rest.coils), rest.next_page_token.as_str()), (vec!["B19".to_owned()], ""));
    let by_wire = ListCoilsRequest { wire_id: "mw-in-19".to_owned(), ..Default::default() };
    assert_eq!(ids(&list(by_wire).await.unwrap().coils), ["A19", "B19"]);
    let by_lot = ListCoilsRequest { lot_id: "lot-19b".to_owned(), ..Default::default() };
    assert_eq!(ids(&list(by_lot).await.unwrap().coils), ["B19"]);
    let scrapped = ListCoilsRequest { state: Some(CoilState::Scrapped.into()), ..Default::default() };
    assert_eq!(list(scrapped).await.unwrap().coils, []);
    let bad = ListCoilsRequest {
        wire_id: "a b".to_owned(),
        lot_id: "/".to_owned(),
        state: Some(0),
        ..Default::default()
    };
    assert_faults(list(bad).await, &["wire_id", "lot_id", "state"]);
    assert_faults(list(ListCoilsRequest { page_size: 501, ..Default::default() }).await, &["page_size"]);
}

#[tokio::test]
async fn stock_rules() {
    let world = World::with_scale().await;
    let set = |request_id, wire_id: &str, smallest_remnant_mm| {
        let rule = Some(StockRule { wire_id: wire_id.to_owned(), smallest_remnant_mm });
        let mut coils = world.coils();
        async move { coils.set_stock_rule(SetStockRuleRequest { request_id, rule }).await }
    };
    set(world.id(), "mw-in-16", 700.0).await.unwrap();
    set(world.id(), "mw-in-13", 400.5).await.unwrap();
    set(world.id(), "mw-in-16", 650.0).await.unwrap();
    let rules =
        world.coils().list_stock_rules(ListStockRulesRequest::default()).await.unwrap().into_inner().rules;
    let rules: Vec<_> = rules.iter().map(|rule| (rule.wire_id.as_str(), rule.smallest_remnant_mm)).collect();
    assert_eq!(rules, [("mw-in-13", 400.5), ("mw-in-16", 650.0)]);
    assert_faults(set(world.id(), "A B", 1e6).await, &["rule.smallest_remnant_mm", "rule.wire_id"]);
    let missing = set(world.id(), "gold", 1.0).await;
    let status = assert_refused(missing, Code::FailedPrecondition, "REFERENCE_MISSING");
    assert_eq!(violated(&status), ["rule.wire_id"]);
    let none = SetStockRuleRequest { request_id: world.id(), rule: None };
    assert_faults(world.coils().set_stock_rule(none).await, &["rule"]);
}
