//! Strings that break after their list has ended are cut from the wire of their unisons.

use becket_api::cutting::{
    CutStep, FinishCutListRequest, NewCoil, PlanCutListRequest, PlanPolicy, ReportSpoiledPieceRequest,
    SetAsideCoilRequest, SpoilCause, StepKind, UnisonRule,
};

use crate::world::{World, coil, plan_request};

/// The first cut of a plan for S-1 that is not stored.
async fn planned(world: &World, unison_rule: UnisonRule) -> CutStep {
    let policy = Some(PlanPolicy { unison_rule: Some(unison_rule.into()), ..PlanPolicy::default() });
    let request = PlanCutListRequest { validate_only: true, policy, ..plan_request(&["S-1"]) };
    let list = world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    assert_eq!((list.pieces_pending, list.shortages.len()), (1, 0), "{list:?}");
    list.steps.into_iter().find(|step| step.kind() == StepKind::Cut).unwrap()
}

#[tokio::test]
async fn a_string_that_breaks_later_has_the_coil_of_its_unisons_or_its_lot() {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    let done = world.confirm_all("L-0001").await;
    let list_id = || "L-0001".to_owned();
    let request = FinishCutListRequest { request_id: world.id(), list_id: list_id(), give_up_pending: false };
    world.lists().finish_cut_list(request).await.unwrap();
    let lost = done.steps.iter().rfind(|s| s.coil_id == "A13" && s.kind() == StepKind::Cut).unwrap();
    let request = ReportSpoiledPieceRequest {
        request_id: world.id(),
        list_id: list_id(),
        step_number: lost.step_number,
        cause: SpoilCause::Broken.into(),
        lost_length_mm: None,
    };
    world.lists().report_spoiled_piece(request).await.unwrap();

    // The longest coil, which a plan takes where nothing else decides, and a short one of the lot of the unisons.
    let opened = |coil_id: &str, lot_id: &str, metres: f64| NewCoil {
        remaining_length_mm: Some(metres * 1000.0),
        ..coil(coil_id, "mw-in-13", lot_id, 600.0)
    };
    world.receive(vec![opened("Z13", "lot-z", 500.0), opened("B13", "lot-13", 40.0)]).await.unwrap();
    let off = planned(&world, UnisonRule::Off).await;
    assert_eq!(off.coil_id, "Z13", "{off:?}");
    for rule in [UnisonRule::Preferred, UnisonRule::Hard] {
        let recut = planned(&world, rule).await;
        assert_eq!((recut.coil_id.as_str(), recut.recut), ("A13", true), "{rule:?}");
    }
    let request = SetAsideCoilRequest {
        request_id: world.id(),
        coil_id: "A13".to_owned(),
        note: String::new(),
        keep_lists: false,
    };
    world.coils().set_aside_coil(request).await.unwrap();
    assert_eq!(planned(&world, UnisonRule::Off).await.coil_id, "Z13");
    for rule in [UnisonRule::Preferred, UnisonRule::Hard] {
        let recut = planned(&world, rule).await;
        assert_eq!((recut.coil_id.as_str(), recut.lot_id.as_str()), ("B13", "lot-13"), "{rule:?}");
    }
}
