//! Miscuts and broken strings.

use becket_api::cutting::{
    CutList, CutStep, ReportSpoiledPieceRequest, ReportSpoiledPieceResponse, SpoilCause, StepKind, StepState,
};
use tonic::{Code, Status};

use crate::world::{PIECES, World, assert_faults, assert_refused, coil, job, meta};

async fn spoil(
    world: &World,
    step_number: i32,
    cause: SpoilCause,
    lost_length_mm: Option<f64>,
) -> Result<ReportSpoiledPieceResponse, Status> {
    let request = ReportSpoiledPieceRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        step_number,
        cause: cause.into(),
        lost_length_mm,
    };
    Ok(world.lists().report_spoiled_piece(request).await?.into_inner())
}

fn step(list: &CutList, step_number: i32) -> &CutStep {
    &list.steps[usize::try_from(step_number).unwrap() - 1]
}

async fn running() -> World {
    let world = World::with_jobs(&["S-1"]).await;
    world.plan(&["S-1"]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world
}

#[tokio::test]
async fn a_broken_string_is_cut_again_next_from_the_same_coil() {
    let world = running().await;
    world.confirm("L-0001", 1, 5).await.unwrap();
    let before = world.list("L-0001").await;
    let lost = step(&before, 3).clone();
    let coil = world.coil(&lost.coil_id).await;

    let answer = spoil(&world, 3, SpoilCause::Broken, None).await.unwrap();
    let list = answer.cut_list.unwrap();
    assert_eq!(answer.recut_step_number, 6);
    assert_eq!(
        (step(&list, 3).state(), step(&list, 3).spoil_cause()),
        (StepState::Spoiled, SpoilCause::Broken)
    );
    let recut = step(&list, 6);
    assert_eq!((recut.piece_id.as_str(), recut.recut), (lost.piece_id.as_str(), true));
    assert_eq!((recut.coil_id.as_str(), recut.length_um), (lost.coil_id.as_str(), lost.length_um));
    assert_eq!((list.pieces_done, list.pieces_pending), (3, PIECES - 3));
    let after = world.coil(&lost.coil_id).await;
    assert_eq!(after.cut_um, coil.cut_um - lost.length_um);
    assert_eq!(after.scrapped_um, coil.scrapped_um + lost.length_um);
    assert_eq!(after.reserved_um, coil.reserved_um + lost.length_um);

    assert_refused(
        spoil(&world, 3, SpoilCause::Broken, None).await,
        Code::FailedPrecondition,
        "STATE_FORBIDS",
    );
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

#[tokio::test]
async fn many_callers_change_one_list_and_none_is_starved() {
    let world = running().await;
    world.confirm("L-0001", 1, 25).await.unwrap();
    // More at once than a call tries again: by turns each is booked.
    let answers = (2..=21).map(|step_number| spoil(&world, step_number, SpoilCause::Broken, None));
    let confirmed = world.confirm("L-0001", 26, 1);
    let (answers, confirmed) = tokio::join!(all(answers), confirmed);
    for answer in answers {
        answer.unwrap();
    }
    // A recut may have become the next step before; but nobody was told to come again.
    if let Err(status) = confirmed {
        assert_refused(Err::<(), _>(status), Code::FailedPrecondition, "STEP_NOT_NEXT");
    }
    let list = world.list("L-0001").await;
    assert_eq!(list.steps.iter().filter(|step| step.state() == StepState::Spoiled).count(), 20);
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

/// Lets futures run side by side.
async fn all<F: Future>(futures: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut running: Vec<_> = futures.map(|future| (Box::pin(future), None)).collect();
    std::future::poll_fn(|cx| {
        for (future, done) in running.iter_mut().filter(|(_, done)| done.is_none()) {
            if let std::task::Poll::Ready(output) = future.as_mut().poll(cx) {
                *done = Some(output);
            }
        }
        let whole = running.iter().all(|(_, done)| done.is_some());
        if whole { std::task::Poll::Ready(()) } else { std::task::Poll::Pending }
    })
    .await;
    running.into_iter().filter_map(|(_, done)| done).collect()
}

#[tokio::test]
async fn a_miscut_of_the_next_piece_books_what_was_lost() {
    let world = running().await;
    world.confirm("L-0001", 1, 1).await.unwrap();
    let before = world.list("L-0001").await;
    let piece = step(&before, 2).clone();
    let coil = world.coil(&piece.coil_id).await;
    let answer = spoil(&world, 2, SpoilCause::Miscut, Some(123.4)).await.unwrap();
    let list = answer.cut_list.unwrap();
    assert_eq!((step(&list, 2).state(), step(&list, 2).length_um), (StepState::Spoiled, 123_400));
    assert_eq!(answer.recut_step_number, 3);
    assert_eq!(
        (step(&list, 3).piece_id.as_str(), step(&list, 3).length_um),
        (piece.piece_id.as_str(), piece.length_um)
    );
    assert_eq!(world.coil(&piece.coil_id).await.remaining_um, coil.remaining_um - 123_400);
    // Its wire was lost and no piece of the serial is good, so the next cut is the first one.
    world.confirm("L-0001", 3, 1).await.unwrap();
    assert!(world.set("S-1").await.frozen);
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

#[tokio::test]
async fn a_string_that_breaks_later_is_planned_with_the_rest() {
    let world = running().await;
    let list = world.list("L-0001").await;
    // Two coils on: the first one is off its reel by then or has no wire to spare.
    let third = list.steps.iter().filter(|s| s.kind() == StepKind::Mount).nth(2).unwrap().step_number;
    let lost = list.steps.iter().find(|s| s.kind() == StepKind::Cut).unwrap().clone();
    world.confirm("L-0001", 1, third).await.unwrap();
    let answer = spoil(&world, lost.step_number, SpoilCause::Broken, None).await.unwrap();
    let list = answer.cut_list.unwrap();
    let recut = step(&list, answer.recut_step_number);
    assert_eq!(
        (recut.piece_id.as_str(), recut.wire_id.as_str()),
        (lost.piece_id.as_str(), lost.wire_id.as_str())
    );
    assert!(recut.recut && recut.state() == StepState::Pending);
    assert_eq!(world.confirm_all("L-0001").await.pieces_done, PIECES);
}

#[tokio::test]
async fn a_piece_for_which_no_wire_is_left_becomes_a_shortage() {
    let world = World::with_scale().await;
    world.open(job("S-1")).await;
    let set = world.set("S-1").await;
    let need_mm: i64 =
        set.pieces.iter().filter(|p| p.wire_id == "mw-in-13").map(|p| p.length_um).sum::<i64>() / 1000;
    #[expect(clippy::cast_precision_loss, reason = "some metres in mm")]
    let just_enough_m = (need_mm + 10) as f64 / 1000.0;
    world.receive(vec![coil("A13", "mw-in-13", "a", just_enough_m)]).await.unwrap();
    let list = world.plan(&["S-1"]).await.unwrap();
    assert_eq!((list.pieces_pending, list.shortages.len()), (36, 2), "{:?}", list.shortages);
    world.begin("L-0001").await.unwrap();
    world.confirm("L-0001", 1, 2).await.unwrap();
    let before = world.list("L-0001").await;
    let lost = step(&before, 2).clone();
    let answer = spoil(&world, 2, SpoilCause::Broken, None).await.unwrap();
    let list = answer.cut_list.unwrap();
    // 36 pieces are to be cut from wire for all but the lost one.
    let pending = list.steps.iter().filter(|s| s.kind() == StepKind::Cut && s.state() == StepState::Pending);
    let planned_um: Vec<i64> = pending.map(|s| s.length_um).collect();
    let short = list.shortages.iter().find(|s| s.wire_id == "mw-in-13").unwrap();
    assert_eq!(planned_um.len() + short.piece_ids.len(), 36);
    assert!(short.length_um >= lost.length_um);
    assert!(planned_um.iter().sum::<i64>() <= world.coil("A13").await.remaining_um);
    assert_eq!(answer.recut_step_number == 0, short.piece_ids.contains(&lost.piece_id));
    assert_eq!(list.shortages.len(), 3, "what was short before is still told");
}

#[tokio::test]
async fn faulty_reports_are_refused() {
    let world = running().await;
    world.confirm("L-0001", 1, 2).await.unwrap();
    let unspecified = SpoilCause::Unspecified;
    assert_faults(
        spoil(&world, 0, unspecified, Some(f64::NAN)).await,
        &["step_number", "cause", "lost_length_mm"],
    );
    assert_faults(spoil(&world, 9999, SpoilCause::Broken, None).await, &["step_number"]);
    assert_faults(spoil(&world, 2, SpoilCause::Broken, Some(10.0)).await, &["lost_length_mm"]);
    for lost_mm in [-1.0, 1e6, 1e9] {
        assert_faults(spoil(&world, 3, SpoilCause::Miscut, Some(lost_mm)).await, &["lost_length_mm"]);
    }
    for step_number in [1, 4] {
        let status = assert_refused(
            spoil(&world, step_number, SpoilCause::Miscut, None).await,
            Code::FailedPrecondition,
            "STATE_FORBIDS",
        );
        assert_eq!(meta(&status, "step_number"), step_number.to_string());
    }
}
