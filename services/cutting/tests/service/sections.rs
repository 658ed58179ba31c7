//! Sections of the scale, from the string set to the step.

use std::collections::BTreeMap;

use becket_api::cutting::{
    CutList, CutStep, PieceOrder, PlanCutListRequest, PlanPolicy, ReplanCutListRequest, SpoilCause, StepKind,
};

use crate::world::{World, plan_request};

fn by_section() -> Option<PlanPolicy> {
    let piece_order = Some(PieceOrder::BySection.into());
    Some(PlanPolicy { piece_order, ..PlanPolicy::default() })
}

fn cuts(list: &CutList) -> impl Iterator<Item = &CutStep> {
    list.steps.iter().filter(|step| step.kind() == StepKind::Cut)
}

/// Every cut names its section as the set of its serial does, and from each coil sections come from the bass up, long pieces first.
/// Returns the most sections that come from one coil.
async fn assert_by_section(world: &World, list: &CutList) -> usize {
    let set = world.set("S-1").await;
    let sections: BTreeMap<&str, &str> =
        set.pieces.iter().map(|piece| (piece.piece_id.as_str(), piece.section_id.as_str())).collect();
    let numbers = BTreeMap::from([("bass", 1), ("treble", 2)]);
    let mut last: BTreeMap<(&str, &str), (i32, i64)> = BTreeMap::new();
    let mut seen: BTreeMap<&str, Vec<i32>> = BTreeMap::new();
    for step in cuts(list) {
        assert_eq!(step.section_id, sections[step.piece_id.as_str()], "{step:?}");
        assert_eq!(step.section_number, numbers[step.section_id.as_str()], "{step:?}");
        let key = (step.section_number, -step.length_um);
        let before = last.insert((&step.coil_id, &step.serial_id), key);
        assert!(before.is_none_or(|before| before <= key), "{before:?} before {step:?}");
        let here = seen.entry(&step.coil_id).or_default();
        here.push(step.section_number);
        here.dedup();
    }
    let handled = list.steps.iter().filter(|step| step.kind() != StepKind::Cut);
    assert!(handled.clone().count() > 0);
    assert!(handled.into_iter().all(|step| step.section_id.is_empty() && step.section_number == 0));
    seen.values().map(Vec::len).max().unwrap()
}

#[tokio::test]
async fn pieces_are_cut_section_by_section() {
    let world = World::with_jobs(&["S-1"]).await;
    let request =
        PlanCutListRequest { request_id: world.id(), policy: by_section(), ..plan_request(&["S-1"]) };
    let list = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(list.policy.as_ref().unwrap().piece_order, by_section().unwrap().piece_order);
    // Cores of the bass and the lowest plain pieces have one wire; the order of sizes alone would mix them.
    assert_eq!(assert_by_section(&world, &list).await, 2);
    assert_eq!(world.list("L-0001").await, list);

    // Sections are kept where a list is planned anew, and a lost piece keeps its own.
    world.begin("L-0001").await.unwrap();
    let first = cuts(&list).next().unwrap();
    world.confirm("L-0001", 1, first.step_number).await.unwrap();
    let request = becket_api::cutting::ReportSpoiledPieceRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        step_number: first.step_number,
        cause: SpoilCause::Miscut.into(),
        lost_length_mm: None,
    };
    let spoiled = world.lists().report_spoiled_piece(request).await.unwrap().into_inner();
    let list = spoiled.cut_list.unwrap();
    let recut = list.steps.iter().find(|step| step.step_number == spoiled.recut_step_number).unwrap();
    assert_eq!(
        (recut.section_id.as_str(), recut.section_number),
        (first.section_id.as_str(), first.section_number)
    );
    let request = ReplanCutListRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        ..ReplanCutListRequest::default()
    };
    let list = world.lists().replan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!(assert_by_section(&world, &list).await, 2);
}

#[tokio::test]
async fn the_other_orders_know_sections_too() {
    let world = World::with_jobs(&["S-1"]).await;
    for order in [PieceOrder::ByLength, PieceOrder::UpTheScale, PieceOrder::DownTheScale] {
        let policy = Some(PlanPolicy { piece_order: Some(order.into()), ..PlanPolicy::default() });
        let request = PlanCutListRequest { validate_only: true, policy, ..plan_request(&["S-1"]) };
        let list = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
        assert!(cuts(&list).all(|step| ["bass", "treble"].contains(&step.section_id.as_str())), "{order:?}");
    }
}
