//! Coils and stock rules.

use becket_api::cutting::{
    Coil, CoilState, DecideCoilEvidenceRequest, EvidenceKind, EvidenceState, GetCoilRequest,
    ListCoilEvidenceRequest, ListCoilsRequest, ListStockRulesRequest, NewCoil, ReceiveCoilsRequest,
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
    assert_eq!(Coil { last_evidence: None, ..world.coil("A").await }, coils[0]);
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

async fn weigh(
    world: &World,
    length_m: f64,
    accept: bool,
) -> Result<becket_api::cutting::WeighCoilResponse, tonic::Status> {
    let gross_g = 120.0 + length_m * world.coil("A13").await.linear_density_g_m;
    let (request_id, coil_id) = (world.id(), "A13".to_owned());
    let request = WeighCoilRequest {
        request_id,
        coil_id,
        gross_g,
        tare_g: 120.0,
        resolution_g: Some(0.1),
        tare_sd_g: Some(0.1),
        accept,
        keep_lists: false,
    };
    world.coils().weigh_coil(request).await.map(tonic::Response::into_inner)
}

/// 200 m were received by length, so they are known to 0.6 m; a weighing is off by the tolerance of the wire, 1.5 % of 0.031 in.
#[tokio::test]
async fn a_weighing_is_combined_with_what_was_received() {
    let world = World::with_jobs(&["S-1"]).await;
    let before = world.coil("A13").await;
    assert!((before.remaining_sd_mm - 600.0).abs() < 1e-6, "{before:?}");
    let answer = weigh(&world, 198.0, false).await.unwrap();
    let (line, coil) = (answer.evidence.unwrap(), answer.coil.unwrap());
    assert_eq!((line.kind(), line.state()), (EvidenceKind::Weighing, EvidenceState::Merged));
    assert!((line.length_um - 198_000_000).abs() < 2 && line.deviation_sds.unwrap() > -1.0, "{line:?}");
    // Weighted with the inverse of the variances.
    let weight =
        before.remaining_sd_mm.powi(2) / (before.remaining_sd_mm.powi(2) + line.length_sd_mm.powi(2));
    let expected_um = -2.0e6 * weight;
    #[expect(clippy::cast_precision_loss, reason = "a length in a test")]
    let adjusted_um = answer.adjusted_by_um as f64;
    assert!((adjusted_um - expected_um).abs() < 5.0, "{adjusted_um} {expected_um}");
    assert!(coil.remaining_sd_mm < before.remaining_sd_mm);
    assert_eq!(coil.remaining_um, 200_000_000 + answer.adjusted_by_um);
    // The wire is likely a little thinner than the catalogue has it.
    assert!(coil.likely_density_g_m < coil.linear_density_g_m);
    let shown = world.coil("A13").await;
    assert_eq!(shown.last_evidence, Some(line));
    assert_eq!(Coil { last_evidence: None, ..shown }, coil);
}

#[tokio::test]
async fn a_weighing_that_disagrees_waits_for_a_decision_and_names_lists_that_fall_short() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let before = world.coil("A13").await;
    let held = weigh(&world, 3.0, false).await.unwrap();
    let line = held.evidence.unwrap();
    assert_eq!((line.state(), held.adjusted_by_um, held.short_list_ids.len()), (EvidenceState::Held, 0, 0));
    assert!(line.deviation_sds.unwrap() < -60.0, "{line:?}");
    let now = world.coil("A13").await;
    assert_eq!((now.remaining_um, now.held_evidence_count), (before.remaining_um, 1));
    assert_eq!(now.last_evidence, before.last_evidence);
    let decide = |evidence_number, accept| {
        let (request_id, coil_id) = (world.id(), "A13".to_owned());
        let request = DecideCoilEvidenceRequest {
            request_id,
            coil_id,
            evidence_number,
            accept,
            note: "weighed twice".to_owned(),
            keep_lists: false,
        };
        let mut coils = world.coils();
        async move { coils.decide_coil_evidence(request).await.map(tonic::Response::into_inner) }
    };
    let accepted = decide(line.evidence_number, true).await.unwrap();
    assert_eq!(accepted.short_list_ids, ["L-0001"]);
    let coil = accepted.coil.unwrap();
    assert_eq!(
        (coil.remaining_um, coil.held_evidence_count),
        (before.remaining_um + accepted.adjusted_by_um, 0)
    );
    assert!((coil.remaining_um - 3_000_000).abs() < 2, "{coil:?}");
    let acceptance = accepted.evidence.unwrap();
    assert_eq!(
        (acceptance.kind(), acceptance.accepted_number),
        (EvidenceKind::Acceptance, line.evidence_number)
    );
    assert_eq!(acceptance.note, "weighed twice");
    // Nobody decides twice, and not on what is old.
    for (number, accept) in [(line.evidence_number, false), (acceptance.evidence_number, true), (1, true)] {
        let status = assert_refused(decide(number, accept).await, Code::FailedPrecondition, "STATE_FORBIDS");
        assert_eq!(meta(&status, "evidence_number"), number.to_string());
    }
    assert_refused(decide(99, true).await, Code::NotFound, "NOT_FOUND");
    assert_faults(decide(0, true).await, &["evidence_number"]);
    let first = weigh(&world, 150.0, false).await.unwrap().evidence.unwrap();
    assert_eq!(first.state(), EvidenceState::Held);
    assert_eq!(weigh(&world, 3.05, false).await.unwrap().evidence.unwrap().state(), EvidenceState::Merged);
    let late =
        assert_refused(decide(first.evidence_number, true).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert!(late.message().contains("later evidence"), "{late:?}");
    let rejected = decide(first.evidence_number, false).await.unwrap();
    assert_eq!((rejected.adjusted_by_um, rejected.evidence.unwrap().state()), (0, EvidenceState::Rejected));
    // Whoever is sure says so at once.
    let sure = weigh(&world, 150.0, true).await.unwrap();
    assert_eq!(sure.evidence.unwrap().state(), EvidenceState::Accepted);
    assert!((sure.coil.unwrap().remaining_um - 150_000_000).abs() < 2);
}

#[tokio::test]
async fn the_ledger_of_a_coil_is_listed_from_the_latest_line_on() {
    let world = World::with_jobs(&["S-1"]).await;
    // A mass is compared with a mass: the tolerance of the wire, 3 m, is no excuse for half a metre between two weighings.
    for length_m in [199.0, 3.0, 199.5, 199.05] {
        weigh(&world, length_m, false).await.unwrap();
    }
    let page = |page_token: String, coil_id: &str| {
        let request = ListCoilEvidenceRequest { page_size: 4, page_token, coil_id: coil_id.to_owned() };
        let mut coils = world.coils();
        async move { coils.list_coil_evidence(request).await.map(tonic::Response::into_inner) }
    };
    let first = page(String::new(), "A13").await.unwrap();
    let rest = page(first.next_page_token.clone(), "A13").await.unwrap();
    let lines: Vec<_> = first.evidence.iter().chain(&rest.evidence).collect();
    let told: Vec<_> = lines.iter().map(|line| (line.evidence_number, line.kind(), line.state())).collect();
    use {EvidenceKind as K, EvidenceState as S};
    let expected = [
        (5, K::Weighing, S::Merged),
        (4, K::Weighing, S::Held),
        (3, K::Weighing, S::Held),
        (2, K::Weighing, S::Merged),
        (1, K::Receipt, S::Merged),
    ];
    assert_eq!((told.as_slice(), rest.next_page_token.as_str()), (expected.as_slice(), ""));
    assert_eq!(lines[1].remaining_after_um, lines[1].remaining_before_um);
    assert_refused(page(first.next_page_token, "A16").await, Code::InvalidArgument, "PAGE_TOKEN_INVALID");
    assert_refused(page(String::new(), "none").await, Code::NotFound, "NOT_FOUND");
    assert_faults(page(String::new(), "").await, &["coil_id"]);
}

#[tokio::test]
async fn weighings_are_checked_and_an_empty_reel_is_refused_while_it_is_needed() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let request = |gross_g, tare_g| {
        let (request_id, coil_id) = (world.id(), "A13".to_owned());
        WeighCoilRequest { request_id, coil_id, gross_g, tare_g, ..Default::default() }
    };
    let send = |request| {
        let mut coils = world.coils();
        async move { coils.weigh_coil(request).await.map(tonic::Response::into_inner) }
    };
    assert_faults(send(request(-1.0, f64::NAN)).await, &["gross_g", "tare_g"]);
    assert_faults(send(request(100.0, 120.0)).await, &["gross_g"]);
    let bad = WeighCoilRequest { resolution_g: Some(0.0), tare_sd_g: Some(-1.0), ..request(130.0, 120.0) };
    assert_faults(send(bad).await, &["resolution_g", "tare_sd_g"]);
    // Ten times as much as was received.
    let density = world.coil("A13").await.linear_density_g_m;
    assert_faults(send(request(2000.0 * density, 0.0)).await, &["gross_g"]);
    // A list has steps to do on it: they could not be done, and it could not be planned anew while one is to take the coil off.
    let empty = WeighCoilRequest { accept: true, keep_lists: true, ..request(120.0, 120.0) };
    let status = assert_refused(send(empty.clone()).await, Code::FailedPrecondition, "STATE_FORBIDS");
    assert_eq!(meta(&status, "list_ids"), "L-0001");
    assert_eq!(world.coil("A13").await.remaining_um, 200_000_000);
    let note = String::new();
    let aside =
        SetAsideCoilRequest { request_id: world.id(), coil_id: "A13".to_owned(), note, keep_lists: true };
    world.coils().set_aside_coil(aside).await.unwrap();
    let coil = send(WeighCoilRequest { request_id: world.id(), ..empty }).await.unwrap().coil.unwrap();
    assert_eq!((coil.remaining_um, coil.state()), (0, CoilState::SetAside));
}

#[tokio::test]
async fn a_coil_set_aside_is_not_planned_until_it_returns() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    let (coil_id, note) = ("A13".to_owned(), "rust on it".to_owned());
    let request =
        SetAsideCoilRequest { request_id: world.id(), coil_id: coil_id.clone(), note, keep_lists: true };
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
        add_serial_ids: Vec::new(),
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
        let request = ScrapCoilRequest {
            request_id,
            coil_id: coil_id.to_owned(),
            note: String::new(),
            keep_lists: true,
        };
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
        keep_lists: true,
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
