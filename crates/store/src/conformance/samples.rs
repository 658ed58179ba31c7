//! Things to store.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use becket_floor::{
    Amount, Coil, CoilId, Effort, FloorChange, Level, LevelOrder, LevelReport, ListId, LotId, NewCoil,
    NewCutList, PieceId, PieceKind, PlanPolicy, Quality, Section, SectionId, SerialDigest, SerialId, Station,
    StationId, Step, StepKind, StepPiece, StepState, TailUse, WireId,
};
use becket_units::Um;

use crate::{
    Answer, CutStore, Document, NewWire, PageRequest, StoreError, StoredCutList, StoredHeader, WriteContext,
    Written,
};

/// A write with a request id of its own.
pub(super) fn ctx(request_id: &str) -> WriteContext {
    WriteContext {
        method: "test.Suite/Write",
        request_id: request_id.to_owned(),
        request_digest: [7; 32],
        actor: "anna".to_owned(),
        origin: "127.0.0.1:9".to_owned(),
        now_us: 1_000_000,
    }
}

/// An answer of the outcome as text.
pub(super) fn text<T: std::fmt::Debug>() -> Answer<T> {
    Box::new(|outcome| format!("{outcome:?}").into_bytes())
}

/// An answer that also hands the outcome to the test.
pub(super) fn told<T: Clone + std::fmt::Debug + Send + 'static>() -> (Answer<T>, impl Fn() -> T) {
    let slot = Arc::new(Mutex::new(None));
    let inner = Arc::clone(&slot);
    let answer: Answer<T> = Box::new(move |outcome: &T| {
        *inner.lock().unwrap() = Some(outcome.clone());
        format!("{outcome:?}").into_bytes()
    });
    (answer, move || slot.lock().unwrap().clone().unwrap())
}

pub(super) fn page(limit: u32, after: Option<&str>) -> PageRequest {
    PageRequest { after: after.map(str::to_owned), limit }
}

pub(super) fn document(text: &str) -> Document {
    Document { bytes: text.as_bytes().to_vec(), json: serde_json::json!({ "text": text }).to_string() }
}

pub(super) fn wire(wire_id: &str, text: &str) -> NewWire {
    NewWire { wire_id: wire_id.to_owned(), material: 1, document: document(text) }
}

pub(super) fn coil_id(text: &str) -> CoilId {
    CoilId::new(text).unwrap()
}

pub(super) fn mm(mm: i64) -> Um {
    Um::new(mm * 1000)
}

/// A sealed coil of wire "w1".
pub(super) fn coil(id: &str, lot: &str, received_date: &str, length_mm: i64) -> Coil {
    NewCoil {
        coil_id: coil_id(id),
        wire_id: WireId::new("w1").unwrap(),
        lot_id: LotId::new(lot).unwrap(),
        received_date: received_date.to_owned(),
        amount: Amount::LengthMm(mm(length_mm).as_mm()),
        remaining_length_mm: None,
        length_sd_mm: None,
        linear_density_g_m: 6.2,
    }
    .receive()
    .unwrap()
}

pub(super) fn station(reel_positions: u32) -> Station {
    Station {
        station_id: StationId::new("bench").unwrap(),
        title: "Bench".to_owned(),
        reel_positions,
        trays: 4,
        mounted: BTreeMap::new(),
    }
}

pub(super) fn piece_id(text: &str) -> PieceId {
    PieceId::new(text).unwrap()
}

pub(super) fn serial_id(text: &str) -> SerialId {
    SerialId::new(text).unwrap()
}

/// A list that mounts a coil, cuts pieces of the given lengths in mm, and takes it off: trim 10 mm.
pub(super) fn list(coil: &Coil, serial: &str, pieces: &[(&str, i64)]) -> NewCutList {
    let mut steps = vec![step(coil, StepKind::Mount, mm(10))];
    for (name, length) in pieces {
        let mut cut = step(coil, StepKind::Cut, mm(*length));
        cut.piece = Some(StepPiece {
            serial_id: serial_id(serial),
            piece_id: piece_id(name),
            kind: PieceKind::LoopedPair,
            notes: vec![52, 53],
            section: Some(Section { number: 2, section_id: SectionId::new("tenor").unwrap() }),
            length: mm(*length),
            recut: false,
        });
        steps.push(cut);
    }
    let mut off = step(coil, StepKind::Unmount, Um::ZERO);
    off.tail_use = Some(TailUse::Keep);
    steps.push(off);
    for (number, step) in (1..).zip(&mut steps) {
        step.step_number = number;
    }
    NewCutList {
        station_id: StationId::new("bench").unwrap(),
        serials: vec![SerialDigest {
            serial_id: serial_id(serial),
            set_digest: "d1".to_owned(),
            due_date: "2026-12-01".to_owned(),
        }],
        policy: PlanPolicy {
            level_order: LevelOrder::new([Level::ReelChanges, Level::Scrap, Level::Lots, Level::CoilsOpened])
                .unwrap(),
            effort: Effort { rounds_per_coil: 7 },
            time_budget_ms: Some(250),
            due_window: Some(3),
            fifo: false,
            ..PlanPolicy::default()
        },
        steps,
        shortages: Vec::new(),
        quality: quality(),
    }
}

/// A report with a level that is proven and one that is open.
pub(super) fn quality() -> Quality {
    let levels = vec![
        LevelReport { level: Level::PiecesUncut, value: 0, lower_bound: 0, proven: true },
        LevelReport { level: Level::ReelChanges, value: 3, lower_bound: 2, proven: false },
    ];
    Quality { levels, stopped: true }
}

fn step(coil: &Coil, kind: StepKind, length: Um) -> Step {
    Step {
        step_number: 0,
        kind,
        state: StepState::Pending,
        coil_id: coil.coil_id.clone(),
        lot_id: coil.lot_id.clone(),
        wire_id: coil.wire_id.clone(),
        reel_position: 1,
        piece: None,
        length,
        remaining_after: Um::ZERO,
        tail_use: None,
        opens_coil: false,
        spoil_cause: None,
        done_us: None,
        done_by: String::new(),
    }
}

/// Books coils and a station with two reel positions.
pub(super) async fn stock(store: &impl CutStore, coils: Vec<Coil>) {
    store.receive_coils(&ctx("stock"), coils, text()).await.unwrap();
    store.save_station(&ctx("bench"), station(2), None, text()).await.unwrap();
}

/// Stores a list and returns it.
pub(super) async fn plan(
    store: &impl CutStore,
    request_id: &str,
    list: NewCutList,
) -> Result<StoredCutList, StoreError> {
    let (answer, outcome) = told();
    store.create_cut_list(&ctx(request_id), list, Vec::new(), answer).await?;
    Ok(outcome())
}

pub(super) async fn commit(
    store: &impl CutStore,
    request_id: &str,
    change: FloorChange,
) -> Result<Written, StoreError> {
    store.commit_floor(&ctx(request_id), change, text::<StoredHeader>()).await
}

/// Starts a list.
pub(super) async fn start(store: &impl CutStore, list_id: &ListId) {
    let list = store.cut_list(list_id).await.unwrap().list;
    commit(store, &format!("start {list_id}"), becket_floor::start(&list, 2).unwrap()).await.unwrap();
}

/// Finishes a list of which nothing is pending.
pub(super) async fn finish(store: &impl CutStore, list_id: &ListId) {
    let list = store.cut_list(list_id).await.unwrap().list;
    commit(store, &format!("finish {list_id}"), becket_floor::finish(&list, false, 9).unwrap())
        .await
        .unwrap();
}

/// What confirming the next steps changes.
pub(super) async fn confirming(store: &impl CutStore, list_id: &ListId, count: u32) -> FloorChange {
    let list = store.cut_list(list_id).await.unwrap().list;
    let coils = store.floor_coils(&list.coil_ids(), Some(list_id)).await.unwrap();
    let station = store.station(&list.header.station_id).await.unwrap().station;
    let next = list.next().unwrap().step_number;
    becket_floor::confirm(&list, &coils, &station, next, count, 3, "anna").unwrap()
}

/// Confirms the next steps of a list.
pub(super) async fn confirm(store: &impl CutStore, list_id: &ListId, count: u32) {
    let change = confirming(store, list_id, count).await;
    commit(store, &format!("confirm {list_id} {}", change.header.version), change).await.unwrap();
}
