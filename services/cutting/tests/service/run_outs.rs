//! Coils that run out before their plan does.

use becket_api::cutting::{
    CoilState, CutList, EvidenceKind, ListCoilEvidenceRequest, PlanCutListRequest, PlanPolicy,
    ReportRunOutRequest, ReportRunOutResponse, StepKind, StepState, TailUse,
};
use tonic::{Code, Status};

use crate::world::{PIECES, World, assert_faults, assert_refused, coil, meta, plan_request};

async fn run_out(
    world: &World,
    step_number: i32,
    remaining_length_mm: Option<f64>,
) -> Result<ReportRunOutResponse, Status> {
    let (request_id, list_id) = (world.id(), "L-0001".to_owned());
    let request = ReportRunOutRequest { request_id, list_id, step_number, remaining_length_mm };
    Ok(world.lists().report_run_out(request).await?.into_inner())
}

async fn running() -> World {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world
}

/// The number of the first step that cuts, from this coil if one is named.
fn first_cut(list: &CutList, coil_id: Option<&str>) -> i32 {
    let cuts = list.steps.iter().filter(|step| step.kind() == StepKind::Cut);
    let mut cuts = cuts.filter(|step| coil_id.is_none_or(|coil_id| step.coil_id == coil_id));
    cuts.next().unwrap().step_number
}

/// Confirms all steps before this one.
async fn confirm_before(world: &World, step_number: i32) {
    if step_number > 1 {
        world.confirm("L-0001", 1, step_number - 1).await.unwrap();
    }
}

fn cuts_from<'a>(list: &'a CutList, coil_id: &'a str) -> impl Iterator<Item = &'a str> {
    let pending = list.steps.iter().filter(|step| step.state() == StepState::Pending);
    pending
        .filter(move |step| step.coil_id == coil_id && !step.piece_id.is_empty())
        .map(|s| s.piece_id.as_str())
}

#[tokio::test]
async fn a_run_out_is_booked_and_the_rest_of_the_coil_comes_from_another() {
    let world = running().await;
    world.receive(vec![coil("B13", "mw-in-13", "lot-2", 200.0)]).await.unwrap();
    let before = world.list("L-0001").await;
    let first = first_cut(&before, Some("A13"));
    confirm_before(&world, first).await;
    world.confirm("L-0001", first, 2).await.unwrap();
    let before = world.list("L-0001").await;
    let owed: Vec<&str> = cuts_from(&before, "A13").collect();
    let coil_before = world.coil("A13").await;

    let answer = run_out(&world, first + 2, None).await.unwrap();
    let list = answer.cut_list.unwrap();
    assert_eq!((answer.coil_id.as_str(), list.shortages.len()), ("A13", 0));
    // What is done keeps its number; then the coil comes off, with half a piece that nobody measured.
    let place = usize::try_from(first + 1).unwrap();
    assert_eq!(list.steps[..place], before.steps[..place]);
    let (off, next) = (&list.steps[place], &before.steps[place]);
    assert_eq!((off.step_number, off.kind(), off.state()), (first + 2, StepKind::Unmount, StepState::Done));
    assert_eq!((off.coil_id.as_str(), off.tail_use()), ("A13", TailUse::Scrap));
    assert!((off.length_um - next.length_um / 2).abs() <= 1, "{off:?}");
    let coil = world.coil("A13").await;
    assert_eq!((coil.remaining_um, coil.reserved_um, coil.state()), (0, 0, CoilState::UsedUp));
    assert_eq!(coil.scrapped_um, coil_before.scrapped_um + off.length_um);
    assert_eq!(answer.adjusted_by_um, off.length_um - coil_before.remaining_um);
    assert!(answer.deviation_sds < -100.0, "{}", answer.deviation_sds);
    // All that it owed comes from the other coil; nothing else moves.
    let mut now: Vec<&str> = cuts_from(&list, "B13").collect();
    let mut then = owed.clone();
    now.sort_unstable();
    then.sort_unstable();
    assert_eq!((now, answer.steps_moved), (then, i32::try_from(owed.len()).unwrap()));
    assert_eq!(cuts_from(&list, "A13").count(), 0);
    let request = ListCoilEvidenceRequest { coil_id: "A13".to_owned(), ..Default::default() };
    let lines = world.coils().list_coil_evidence(request).await.unwrap().into_inner().evidence;
    let kinds: Vec<EvidenceKind> = lines.iter().map(|line| line.kind()).collect();
    assert_eq!(kinds[..3], [EvidenceKind::Scrap, EvidenceKind::RunOut, EvidenceKind::Cut]);
    assert!(lines[..3].iter().all(|line| line.list_id == "L-0001"));
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

#[tokio::test]
async fn what_was_measured_and_is_of_use_stays_in_stock() {
    let world = running().await;
    let list = world.list("L-0001").await;
    let cut = first_cut(&list, None);
    let step = &list.steps[usize::try_from(cut).unwrap() - 1];
    let coil_id = step.coil_id.clone();
    assert!(step.length_um > 500_000);
    confirm_before(&world, cut).await;
    let request = ReportRunOutRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        step_number: cut,
        remaining_length_mm: Some(500.0),
    };
    let answer = world.lists().report_run_out(request.clone()).await.unwrap().into_inner();
    // A repeat gets the first answer, and another report under its id none.
    assert_eq!(world.lists().report_run_out(request.clone()).await.unwrap().into_inner(), answer);
    let other = ReportRunOutRequest { remaining_length_mm: None, ..request };
    let reused = world.lists().report_run_out(other).await;
    assert_refused(reused, Code::AlreadyExists, "REQUEST_ID_REUSED");
    assert!(answer.cut_list.unwrap().shortages.iter().any(|short| !short.piece_ids.is_empty()));
    let coil = world.coil(&coil_id).await;
    assert_eq!((coil.remaining_um, coil.state(), coil.remaining_sd_mm), (500_000, CoilState::Opened, 1.0));
}

#[tokio::test]
async fn a_run_out_that_cannot_be_is_refused() {
    let world = running().await;
    let cut = first_cut(&world.list("L-0001").await, None);
    // The first step mounts; others are not next.
    for step_number in [1, cut, 999] {
        let refused = run_out(&world, step_number, None).await;
        let status = assert_refused(refused, Code::FailedPrecondition, "STATE_FORBIDS");
        assert_eq!(meta(&status, "step_number"), step_number.to_string());
    }
    confirm_before(&world, cut).await;
    for enough in [1e6, -1.0] {
        assert_faults(run_out(&world, cut, Some(enough)).await, &["remaining_length_mm"]);
    }
    assert_faults(run_out(&world, 0, Some(f64::NAN)).await, &["step_number", "remaining_length_mm"]);
    let (request_id, list_id) = (world.id(), "L-0009".to_owned());
    let request = ReportRunOutRequest { request_id, list_id, step_number: 1, remaining_length_mm: None };
    assert_refused(world.lists().report_run_out(request).await, Code::NotFound, "NOT_FOUND");
    assert_eq!(world.list("L-0001").await.pieces_done, 0);
}

/// The coil holds what the list needs, and its length is not known well enough for a margin of standard deviations.
#[tokio::test]
async fn a_margin_of_standard_deviations_leaves_more_on_coils_that_are_not_known_well() {
    let world = World::with_jobs(&["S-1"]).await;
    let plan = async |sds: f64| {
        let policy = Some(PlanPolicy { coil_margin_sds: Some(sds), ..PlanPolicy::default() });
        let request = PlanCutListRequest { validate_only: true, policy, ..plan_request(&["S-1"]) };
        world.lists().plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap()
    };
    let list = plan(0.0).await;
    let needed_um: i64 = list.steps.iter().filter(|s| s.coil_id == "A13").map(|s| s.length_um).sum();
    #[expect(clippy::cast_precision_loss, reason = "a length in a test")]
    let needed_m = needed_um as f64 / 1e6;
    let set_aside = becket_api::cutting::SetAsideCoilRequest {
        request_id: world.id(),
        coil_id: "A13".to_owned(),
        note: String::new(),
        keep_lists: false,
    };
    world.coils().set_aside_coil(set_aside).await.unwrap();
    // Two standard deviations of 0.3 % more than it takes, and a micrometre.
    let length_m = (needed_m + 2e-6) / (1.0 - 2.0 * 0.003);
    world.receive(vec![coil("T13", "mw-in-13", "lot-2", length_m)]).await.unwrap();
    let (fits, short) = (plan(1.99).await, plan(2.01).await);
    assert_eq!((fits.shortages.len(), short.shortages.len()), (0, 1));
    assert_eq!(fits.policy.unwrap().coil_margin_sds, Some(1.99));
    let stored = PlanCutListRequest {
        request_id: world.id(),
        policy: Some(PlanPolicy { coil_margin_sds: Some(1.5), ..PlanPolicy::default() }),
        ..plan_request(&["S-1"])
    };
    world.lists().plan_cut_list(stored).await.unwrap();
    assert_eq!(world.list("L-0001").await.policy.unwrap().coil_margin_sds, Some(1.5));
}
