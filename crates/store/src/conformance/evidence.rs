//! Evidence of the lengths on coils.

use becket_floor::{
    CoilState, EvidenceKind, EvidenceState, ListId, PlannedSteps, Scales, StepKind, StepState, TailUse,
    run_out, run_out_with_replan,
};
use becket_units::Um;

use super::Factory;
use super::samples::{
    coil, coil_id, commit, confirm, confirming, ctx, finish, list, mm, page, plan, quality, start, stock,
    text, told,
};
use crate::{
    CoilChange, CoilChanged, CutStore, Decision, EvidenceRecord, JournalStore, Kind, StoreError, StoredCoil,
};

/// A weighing that finds so much wire, on scales of 0.1 g without a reel.
fn weighing(stored: &StoredCoil, length_mm: i64, accept: bool) -> CoilChange {
    let gross_g = mm(length_mm).as_mm() / 1000.0 * stored.coil.linear_density_g_m;
    let scales = Scales { gross_g, tare_g: 0.0, resolution_g: 0.1, tare_sd_g: 0.0 };
    let weighing = stored.coil.weigh(&scales, accept).unwrap();
    CoilChange {
        coil_id: stored.coil.coil_id.clone(),
        expected_version: stored.version,
        held: weighing.booking.is_none().then_some(weighing.finding),
        booking: weighing.booking,
        decision: None,
        state: weighing.state,
        refuse_if: crate::RefuseIf::Never,
        lists: Vec::new(),
        note: "monthly".to_owned(),
    }
}

fn deciding(stored: &StoredCoil, number: u32, accepted: bool) -> CoilChange {
    CoilChange {
        coil_id: stored.coil.coil_id.clone(),
        expected_version: stored.version,
        booking: None,
        held: None,
        decision: Some(Decision { number, accepted }),
        state: stored.coil.state,
        refuse_if: crate::RefuseIf::Never,
        lists: Vec::new(),
        note: "looked at it".to_owned(),
    }
}

async fn ledger(store: &impl CutStore, id: &str) -> Vec<EvidenceRecord> {
    let mut lines = store.list_coil_evidence(&coil_id(id), &page(500, None)).await.unwrap().items;
    lines.reverse();
    lines
}

/// The lines follow on each other, and the last one says what is believed.
async fn check_ledger(store: &impl CutStore, id: &str) {
    let lines = ledger(store, id).await;
    let stored = store.coil(&coil_id(id)).await.unwrap();
    for (number, line) in (1..).zip(&lines) {
        assert_eq!(line.number, number);
    }
    for pair in lines.windows(2) {
        assert_eq!(pair[0].evidence.after, pair[1].evidence.before, "{pair:?}");
    }
    assert_eq!(lines.last().unwrap().evidence.after, stored.coil.belief());
    assert!(stored.coil.is_balanced());
    let held = lines.iter().filter(|line| line.evidence.state == EvidenceState::Held).count();
    assert_eq!(usize::try_from(stored.held_evidence).unwrap(), held);
}

pub async fn every_change_of_a_length_is_a_line_of_its_ledger(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000), ("52.2", 1000)])).await.unwrap();
    let id = id.list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 3).await;
    let (answer, outcome) = told::<CoilChanged>();
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!(now.last_finding, 1);
    // 7990 mm ± 31 mm are believed.
    store.change_coil(&ctx("w"), weighing(&now, 8000, false), answer).await.unwrap();
    let line = outcome().evidence.unwrap();
    assert_eq!(
        (line.evidence.state, line.note.as_str(), line.actor.as_str()),
        (EvidenceState::Merged, "monthly", "anna")
    );
    assert_eq!(store.coil_evidence(&c1.coil_id, 5).await.unwrap(), line);
    assert_eq!(outcome().coil.last_finding, 5);
    check_ledger(&store, "C1").await;
    let lines = ledger(&store, "C1").await;
    let kinds: Vec<_> = lines.iter().map(|line| (line.evidence.kind, line.list_id.clone())).collect();
    let of_list = |kind| (kind, Some(id.clone()));
    assert_eq!(
        kinds[..4],
        [
            (EvidenceKind::Receipt, None),
            of_list(EvidenceKind::Scrap),
            of_list(EvidenceKind::Cut),
            of_list(EvidenceKind::Cut)
        ]
    );
    assert!(matches!(kinds[4], (EvidenceKind::Weighing(scales), None) if scales.resolution_g == 0.1));
    let sds: Vec<f64> = lines.iter().map(|line| line.evidence.after.sd_mm).collect();
    assert!(sds[..4].is_sorted() && sds[4] < sds[3], "{sds:?}");
    // The latest first, page by page.
    let numbers = |lines: &[EvidenceRecord]| lines.iter().map(|line| line.number).collect::<Vec<_>>();
    let first = store.list_coil_evidence(&c1.coil_id, &page(3, None)).await.unwrap();
    let rest = store.list_coil_evidence(&c1.coil_id, &page(3, first.next.as_deref())).await.unwrap();
    assert_eq!((numbers(&first.items), numbers(&rest.items), rest.next), (vec![5, 4, 3], vec![2, 1], None));
    let bad = store.list_coil_evidence(&c1.coil_id, &page(3, Some("x"))).await;
    assert!(matches!(bad, Err(StoreError::CursorInvalid)), "{bad:?}");
    let none = store.coil_evidence(&c1.coil_id, 6).await;
    assert!(matches!(none, Err(StoreError::NotFound { kind: Kind::CoilEvidence, .. })), "{none:?}");
    // And the journal tells it, too.
    let entries = store.entries(0, 100, Some("coils/C1")).await.unwrap();
    let after: serde_json::Value =
        serde_json::from_str(entries.last().unwrap().after.as_deref().unwrap()).unwrap();
    assert_eq!((&after["evidence"]["kind"], &after["evidence"]["number"]), (&"WEIGHING".into(), &5.into()));
}

pub async fn weighings_that_disagree_wait_for_a_decision(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let read = || async { store.coil(&c1.coil_id).await.unwrap() };
    for (request_id, length) in [("w1", 5000), ("w2", 6000)] {
        store.change_coil(&ctx(request_id), weighing(&read().await, length, false), text()).await.unwrap();
    }
    let held = read().await;
    assert_eq!((held.held_evidence, held.last_finding, held.coil.remaining), (2, 1, mm(10_000)));
    assert_eq!((held.version, held.coil.estimate), (3, c1.estimate));
    check_ledger(&store, "C1").await;
    // The first was weighed with a wrong tare.
    store.change_coil(&ctx("d1"), deciding(&held, 2, false), text()).await.unwrap();
    let line = store.coil_evidence(&c1.coil_id, 2).await.unwrap();
    assert_eq!(line.evidence.state, EvidenceState::Rejected);
    assert_eq!(line.decided.map(|decided| decided.decided_by), Some("anna".to_owned()));
    let again = store.change_coil(&ctx("d2"), deciding(&read().await, 2, true), text()).await;
    assert!(matches!(again, Err(StoreError::NotFound { kind: Kind::CoilEvidence, .. })), "{again:?}");
    // The second is right: 6 m ± what the scales and the wire allow.
    let now = read().await;
    let record = store.coil_evidence(&c1.coil_id, 3).await.unwrap();
    let (finding, state) = now.coil.accept(3, &record.evidence).unwrap();
    let booking = Some(now.coil.settle(finding.length, finding).unwrap());
    let accept = CoilChange { booking, state, ..deciding(&now, 3, true) };
    let (answer, outcome) = told::<CoilChanged>();
    store.change_coil(&ctx("d3"), accept, answer).await.unwrap();
    let line = outcome().evidence.unwrap();
    assert_eq!((line.number, line.evidence.kind), (4, EvidenceKind::Acceptance(3)));
    let now = read().await;
    assert_eq!((now.coil.remaining, now.held_evidence, now.last_finding), (mm(6000), 0, 4));
    assert_eq!(now.coil.estimate, finding.estimate);
    check_ledger(&store, "C1").await;
}

pub async fn a_coil_that_ran_out_is_taken_off_by_a_step_of_its_own(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000), ("52.2", 1000)])).await.unwrap();
    let id: ListId = id.list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 2).await;
    let before = store.cut_list(&id).await.unwrap().list;
    let coils = store.floor_coils(&before.coil_ids(), Some(&id)).await.unwrap();
    let bench = store.station(&before.header.station_id).await.unwrap().station;
    let out = run_out(&before, &coils, &bench, 3, None, 5, "bert").unwrap();
    let quality = quality();
    let planned = PlannedSteps { serials: Vec::new(), steps: Vec::new(), shortages: Vec::new(), quality };
    let change = run_out_with_replan(out, planned).unwrap();
    let expected = change.applied_to(&before);
    commit(&store, "r", change).await.unwrap();
    let after = store.cut_list(&id).await.unwrap().list;
    assert_eq!(after, expected);
    let off = after.steps.last().unwrap();
    assert_eq!((after.steps.len(), off.kind, off.state), (3, StepKind::Unmount, StepState::Done));
    assert_eq!((off.tail_use, off.length, off.done_by.as_str()), (Some(TailUse::Scrap), mm(500), "bert"));
    let coil = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!(
        (coil.coil.state, coil.coil.remaining, coil.reserved),
        (CoilState::UsedUp, Um::ZERO, Um::ZERO)
    );
    assert!(store.station(&before.header.station_id).await.unwrap().station.mounted.is_empty());
    check_ledger(&store, "C1").await;
    let kinds: Vec<_> = ledger(&store, "C1").await.iter().map(|line| line.evidence.kind).collect();
    assert_eq!(kinds[3..], [EvidenceKind::RunOut, EvidenceKind::Scrap]);
    // Nothing that cuts is added as done, nor anything without a new plan.
    let second = plan(&store, "p2", list(&coil_of(&store).await, "S2", &[("52.1", 100)])).await.unwrap();
    let second = second.list.header.list_id;
    finish(&store, &id).await;
    start(&store, &second).await;
    let mut bad = confirming(&store, &second, 1).await;
    bad.added_steps = vec![after.steps[1].clone()];
    let alone = commit(&store, "b1", bad.clone()).await;
    assert!(matches!(alone, Err(StoreError::ChangeInconsistent { .. })), "{alone:?}");
    bad.replace_pending = Some(Vec::new());
    let cut = commit(&store, "b2", bad).await;
    assert!(matches!(cut, Err(StoreError::ChangeInconsistent { .. })), "{cut:?}");
}

/// Another coil in stock.
async fn coil_of(store: &impl CutStore) -> becket_floor::Coil {
    let more = coil("C2", "L1", "2026-01-01", 10_000);
    store.receive_coils(&ctx("more"), vec![more.clone()], text()).await.unwrap();
    more
}
