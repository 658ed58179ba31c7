//! Concurrent random clients, and whether what each was answered can be explained by calls one after the other.
//!
//! At each of three stations two stringers confirm the same list and report broken strings, and a planner gives the station its next
//! list, all from the same coils; a stock keeper receives, weighs, sets aside and returns coils; others look. Every call is recorded
//! with its answer and both times. Afterwards the confirmations of each list and the reservations and balance of each coil must be
//! linearisable, and wire must be conserved to the micrometre.
//!
//! `BECKET_HISTORY_SECONDS` makes the runs longer; `tests/history` sets it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicI32, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use becket_api::cutting::new_coil::Amount;
use becket_api::cutting::{
    Coil, ConfirmStepRequest, CutList, CutStep, FinishCutListRequest, GetCoilRequest, NewCoil,
    PlanCutListRequest, PlanPolicy, ReceiveCoilsRequest, ReportSpoiledPieceRequest, ReturnCoilRequest,
    SaveStationRequest, SetAsideCoilRequest, SpoilCause, StartCutListRequest, Station, StepKind, StepState,
    WeighCoilRequest,
};
use becket_e2e::history::{CoilEvent, CoilModel, CoilState, ListEvent, ListModel, Timed, linearisable};
use becket_e2e::invariants::{check_pieces, is, is_cut};
use becket_e2e::random::Random;
use becket_e2e::{Shop, reason};
use tokio::task::JoinSet;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::concurrency::job;
use crate::replicas::{Replicas, printed, two};
use crate::{Fresh, binary, data};

const STATIONS: usize = 3;
/// How long the clients work on each engine if nothing else is said.
const SECONDS: u64 = 20;
const SEED: u64 = 20_261_201;

fn seconds() -> u64 {
    std::env::var("BECKET_HISTORY_SECONDS").ok().and_then(|text| text.parse().ok()).unwrap_or(SECONDS)
}

/// What all clients recorded.
#[derive(Default)]
struct Recorded {
    lists: BTreeMap<String, Vec<Timed<ListEvent>>>,
    coils: BTreeMap<String, Vec<Timed<CoilEvent>>>,
    /// Lists that were planned, or planned anew, with what each counts on, coil by coil.
    plans: Vec<(String, Timed<BTreeMap<String, i64>>)>,
    new_coils: Vec<Coil>,
    /// Calls that were refused, by reason.
    refused: BTreeMap<String, usize>,
    calls: usize,
}

/// What all clients share.
struct Floor {
    recorded: Mutex<Recorded>,
    begun: Instant,
    until: Instant,
    next_serial: AtomicUsize,
    next_coil: AtomicUsize,
}

/// The list that is cut at a station.
#[derive(Default)]
struct Bench {
    list: Mutex<Option<CutList>>,
    next: AtomicI32,
}

impl Floor {
    fn working(&self) -> bool {
        Instant::now() < self.until
    }

    fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_nanos()).unwrap()
    }

    fn record(&self, called: u64, events: impl IntoIterator<Item = (String, CoilEvent)>) {
        let answered = Some(self.now());
        let mut recorded = self.recorded.lock().unwrap();
        recorded.calls += 1;
        for (coil, operation) in events {
            recorded.coils.entry(coil).or_default().push(Timed { called, answered, operation });
        }
    }

    fn record_plan(&self, called: u64, list: &CutList) {
        let answered = Some(self.now());
        let plan = Timed { called, answered, operation: counted(list) };
        let mut recorded = self.recorded.lock().unwrap();
        recorded.calls += 1;
        recorded.plans.push((list.list_id.clone(), plan));
    }

    fn record_list(&self, called: u64, list_id: &str, operation: ListEvent) {
        let answered = Some(self.now());
        let mut recorded = self.recorded.lock().unwrap();
        recorded.lists.entry(list_id.to_owned()).or_default().push(Timed { called, answered, operation });
    }

    /// A refusal changes nothing; it must be one of becket's.
    fn refused(&self, status: &Status) {
        let told = reason(status).unwrap_or_else(|| panic!("{status:?}"));
        assert!(!matches!(status.code(), Code::Internal | Code::Unknown), "{status:?}");
        let mut recorded = self.recorded.lock().unwrap();
        recorded.calls += 1;
        *recorded.refused.entry(told).or_default() += 1;
    }
}

/// What a list counts on, coil by coil.
fn counted(list: &CutList) -> BTreeMap<String, i64> {
    let mut sums = BTreeMap::new();
    for step in &list.steps {
        if is(step, StepState::Pending) && step.kind != i32::from(StepKind::Unmount) {
            *sums.entry(step.coil_id.clone()).or_default() += step.length_um;
        }
    }
    sums
}

/// The events of all coils. A plan counts on nothing of a coil that another plan of the same list named and this one does not.
fn coil_events(recorded: &Recorded) -> BTreeMap<String, Vec<Timed<CoilEvent>>> {
    let mut named: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (list, plan) in &recorded.plans {
        named.entry(list).or_default().extend(plan.operation.keys().map(String::as_str));
    }
    let mut events = recorded.coils.clone();
    for (list, plan) in &recorded.plans {
        for coil in &named[list.as_str()] {
            let um = plan.operation.get(*coil).copied().unwrap_or(0);
            let operation = CoilEvent::Counts { list: list.clone(), um };
            let event = Timed { called: plan.called, answered: plan.answered, operation };
            events.entry((*coil).to_owned()).or_default().push(event);
        }
    }
    events
}

fn done(list_id: &str, step: &CutStep) -> (String, CoilEvent) {
    let event = CoilEvent::Done {
        list: list_id.to_owned(),
        um: step.length_um,
        counted: step.kind != i32::from(StepKind::Unmount),
        left_um: step.remaining_after_um,
    };
    (step.coil_id.clone(), event)
}

/// Plans lists for a station and starts them, whenever the one before is finished.
async fn planner(floor: Arc<Floor>, bench: Arc<Bench>, mut shop: Shop, station: String) {
    while floor.working() {
        if bench.list.lock().unwrap().is_some() {
            tokio::time::sleep(Duration::from_millis(20)).await;
            continue;
        }
        let mut job = job(floor.next_serial.fetch_add(1, Ordering::SeqCst));
        (job.station_id, job.serial_id) = (station.clone(), format!("H-{station}-{}", job.serial_id));
        let serial = job.serial_id.clone();
        shop.open_job(job).await.unwrap();
        let list = loop {
            let request = PlanCutListRequest {
                request_id: shop.request_id(),
                station_id: station.clone(),
                serial_ids: vec![serial.clone()],
                // Many plans, not good ones.
                policy: Some(PlanPolicy {
                    search_rounds: Some(1),
                    time_budget_ms: Some(50),
                    ..PlanPolicy::default()
                }),
                ..Default::default()
            };
            let called = floor.now();
            match shop.lists.plan_cut_list(request).await {
                Ok(answer) => {
                    let list = answer.into_inner().cut_list.unwrap();
                    floor.record_plan(called, &list);
                    break list;
                }
                Err(status) => floor.refused(&status),
            }
            if !floor.working() {
                return;
            }
        };
        let request = StartCutListRequest {
            request_id: shop.request_id(),
            list_id: list.list_id.clone(),
            etag: list.etag.clone(),
        };
        shop.lists.start_cut_list(request).await.unwrap();
        bench.next.store(1, Ordering::SeqCst);
        *bench.list.lock().unwrap() = Some(list);
    }
}

/// Confirms steps beside another one, reports a string now and then, and finishes the list.
async fn stringer(floor: Arc<Floor>, bench: Arc<Bench>, mut shop: Shop, mut random: Random) {
    let mut last_cut: Option<(String, i32)> = None;
    while floor.working() {
        let list = bench.list.lock().unwrap().clone();
        let Some(list) = list else {
            tokio::time::sleep(Duration::from_millis(5)).await;
            continue;
        };
        let list_id = list.list_id.clone();
        if let Some((of, step)) = last_cut.take_if(|_| random.once_in(12))
            && of == list_id
        {
            spoil(&floor, &mut shop, of, step).await;
            continue;
        }
        let request = ConfirmStepRequest {
            request_id: shop.request_id(),
            list_id: list_id.clone(),
            step_number: bench.next.load(Ordering::SeqCst).max(1),
            count: 1,
        };
        let called = floor.now();
        match shop.lists.confirm_step(request.clone()).await {
            Ok(answer) => {
                let answer = answer.into_inner();
                floor.record(called, answer.confirmed.iter().map(|step| done(&list_id, step)));
                floor.record_list(called, &list_id, ListEvent::Confirmed(request.step_number));
                bench.next.fetch_max(request.step_number + 1, Ordering::SeqCst);
                if let Some(step) = answer.confirmed.first().filter(|step| is_cut(step)) {
                    last_cut = Some((list_id.clone(), step.step_number));
                }
                if random.once_in(20) {
                    // The same again has the same answer and no effect.
                    let again = shop.lists.confirm_step(request).await.unwrap().into_inner();
                    assert_eq!(again, answer);
                }
                if answer.next.is_none() {
                    finish(&floor, &bench, &mut shop, list_id).await;
                }
            }
            Err(status) => {
                let next = next_step(&status);
                floor.refused(&status);
                if let Some(next) = next {
                    floor.record_list(called, &list_id, ListEvent::NextIs(next));
                    bench.next.fetch_max(next, Ordering::SeqCst);
                }
            }
        }
    }
}

fn next_step(status: &Status) -> Option<i32> {
    if reason(status).as_deref() != Some("STEP_NOT_NEXT") {
        return None;
    }
    status.get_details_error_info()?.metadata.get("next_step_number")?.parse().ok()
}

async fn spoil(floor: &Floor, shop: &mut Shop, list_id: String, step_number: i32) {
    let request = ReportSpoiledPieceRequest {
        request_id: shop.request_id(),
        list_id,
        step_number,
        cause: SpoilCause::Broken.into(),
        lost_length_mm: None,
    };
    let called = floor.now();
    match shop.lists.report_spoiled_piece(request).await {
        Ok(answer) => {
            let list = answer.into_inner().cut_list.unwrap();
            floor.record_plan(called, &list);
        }
        Err(status) => floor.refused(&status),
    }
}

async fn finish(floor: &Floor, bench: &Bench, shop: &mut Shop, list_id: String) {
    let request = FinishCutListRequest { request_id: shop.request_id(), list_id, give_up_pending: false };
    match shop.lists.finish_cut_list(request).await {
        Ok(_) => *bench.list.lock().unwrap() = None,
        // The other one reported a string meanwhile.
        Err(status) => floor.refused(&status),
    }
}

async fn look(floor: &Floor, shop: &mut Shop, coil_id: &str) -> Coil {
    let called = floor.now();
    let request = GetCoilRequest { coil_id: coil_id.to_owned() };
    let coil = shop.coils.get_coil(request).await.unwrap().into_inner().coil.unwrap();
    let seen = CoilEvent::Seen { remaining_um: coil.remaining_um, reserved_um: coil.reserved_um };
    floor.record(called, [(coil.coil_id.clone(), seen)]);
    coil
}

async fn reader(floor: Arc<Floor>, mut shop: Shop, coils: Arc<Vec<String>>, mut random: Random) {
    while floor.working() {
        look(&floor, &mut shop, random.choose(&coils).as_str()).await;
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
}

async fn stock_keeper(floor: Arc<Floor>, mut shop: Shop, coils: Arc<Vec<String>>, mut random: Random) {
    while floor.working() {
        let coil = look(&floor, &mut shop, random.choose(&coils).as_str()).await;
        match random.below(4) {
            0 => receive(&floor, &mut shop, &coil).await,
            1 => weigh(&floor, &mut shop, &coil).await,
            _ if coil.reserved_um == 0 => aside(&floor, &mut shop, &coil).await,
            _ => {}
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

async fn receive(floor: &Floor, shop: &mut Shop, like: &Coil) {
    let number = floor.next_coil.fetch_add(1, Ordering::SeqCst);
    let coil = NewCoil {
        coil_id: format!("N{number:04}"),
        wire_id: like.wire_id.clone(),
        lot_id: like.lot_id.clone(),
        received_date: "2026-03-01".to_owned(),
        amount: Some(Amount::ReceivedLengthMm(90_000.0)),
        ..Default::default()
    };
    let request =
        ReceiveCoilsRequest { request_id: shop.request_id(), coils: vec![coil], validate_only: false };
    let coils = shop.coils.receive_coils(request).await.unwrap().into_inner().coils;
    let mut recorded = floor.recorded.lock().unwrap();
    recorded.calls += 1;
    recorded.new_coils.extend(coils);
}

/// Weighs a coil that seems to hold a little more than is known.
async fn weigh(floor: &Floor, shop: &mut Shop, coil: &Coil) {
    #[expect(clippy::cast_precision_loss, reason = "a reading of scales")]
    let wire_g = coil.remaining_um as f64 * 1e-6 * coil.linear_density_g_m;
    let request = WeighCoilRequest {
        request_id: shop.request_id(),
        coil_id: coil.coil_id.clone(),
        gross_g: 50.0 + wire_g * 1.001,
        tare_g: 50.0,
        keep_lists: true,
        ..Default::default()
    };
    let called = floor.now();
    match shop.coils.weigh_coil(request).await {
        Ok(answer) => {
            let coil = answer.into_inner().coil.unwrap();
            let (remaining_um, reserved_um) = (coil.remaining_um, coil.reserved_um);
            floor.record(called, [(coil.coil_id, CoilEvent::Weighed { remaining_um, reserved_um })]);
        }
        Err(status) => floor.refused(&status),
    }
}

/// Sets a coil aside and returns it.
async fn aside(floor: &Floor, shop: &mut Shop, coil: &Coil) {
    let coil_id = coil.coil_id.clone();
    let (request_id, note) = (shop.request_id(), String::new());
    let called = floor.now();
    let request = SetAsideCoilRequest { request_id, coil_id: coil_id.clone(), note, keep_lists: true };
    match shop.coils.set_aside_coil(request).await {
        Ok(_) => floor.record(called, [(coil_id.clone(), CoilEvent::SetAside(true))]),
        Err(status) => return floor.refused(&status),
    }
    loop {
        let request = ReturnCoilRequest { request_id: shop.request_id(), coil_id: coil_id.clone() };
        let called = floor.now();
        match shop.coils.return_coil(request).await {
            Ok(_) => return floor.record(called, [(coil_id, CoilEvent::SetAside(false))]),
            Err(status) => floor.refused(&status),
        }
    }
}

async fn add_stations(shop: &mut Shop) -> Vec<String> {
    let names: Vec<String> = (1..=STATIONS).map(|number| format!("floor-{number}")).collect();
    for station_id in &names {
        let station = Station {
            station_id: station_id.clone(),
            title: "A bench".to_owned(),
            reel_positions: 4,
            trays: 4,
            ..Default::default()
        };
        let request = SaveStationRequest { request_id: shop.request_id(), station: Some(station) };
        shop.stations.save_station(request).await.unwrap();
    }
    names
}

/// Lets all clients work on these servers; returns what they recorded and the stock as it was.
async fn work(urls: &[&str]) -> (Recorded, BTreeMap<String, Coil>) {
    let mut shop = Shop::connect(urls[0]).await.unwrap();
    shop.load().await.unwrap();
    let stations = add_stations(&mut shop).await;
    let before = shop.all_coils().await.unwrap();
    let coils: Arc<Vec<String>> = Arc::new(before.keys().cloned().collect());
    let begun = Instant::now();
    let floor = Arc::new(Floor {
        recorded: Mutex::default(),
        begun,
        until: begun + Duration::from_secs(seconds()),
        next_serial: AtomicUsize::new(0),
        next_coil: AtomicUsize::new(0),
    });
    let mut clients = JoinSet::new();
    // A connection each, in turn to each server.
    let mut next = 0;
    let mut client = async || {
        next += 1;
        Shop::connect(urls[next % urls.len()]).await.unwrap()
    };
    let mut seed = SEED;
    let mut random = || {
        seed += 1;
        Random::new(seed)
    };
    for station in stations {
        let bench = Arc::new(Bench::default());
        clients.spawn(planner(Arc::clone(&floor), Arc::clone(&bench), client().await, station));
        for _ in 0..2 {
            clients.spawn(stringer(Arc::clone(&floor), Arc::clone(&bench), client().await, random()));
        }
    }
    for _ in 0..2 {
        clients.spawn(reader(Arc::clone(&floor), client().await, Arc::clone(&coils), random()));
    }
    clients.spawn(stock_keeper(Arc::clone(&floor), client().await, coils, random()));
    while let Some(ended) = clients.join_next().await {
        ended.unwrap();
    }
    let recorded = std::mem::take(&mut *floor.recorded.lock().unwrap());
    (recorded, before)
}

fn check_histories(recorded: &Recorded, before: &BTreeMap<String, Coil>) {
    for (list, history) in &recorded.lists {
        if let Err((most, at)) = linearisable::<ListModel>(&0, history) {
            panic!("list {list}: {most} of {} calls in order, then {:?}", history.len(), history[at]);
        }
    }
    let start = |coil: &Coil| {
        let remaining_um = coil.remaining_um;
        (coil.coil_id.clone(), CoilState { remaining_um, ..CoilState::default() })
    };
    let starts: BTreeMap<String, CoilState> = before.values().chain(&recorded.new_coils).map(start).collect();
    for (coil, history) in &coil_events(recorded) {
        if let Err((most, at)) = linearisable::<CoilModel>(&starts[coil], history) {
            let near: Vec<_> = history
                .iter()
                .filter(|event| event.called.abs_diff(history[at].called) < 50_000_000)
                .collect();
            panic!(
                "coil {coil}: {most} of {} events in order, then {:?} among {near:#?}",
                history.len(),
                history[at]
            );
        }
    }
}

/// What came in is there, was cut, scrapped or corrected, and cut is what the steps say.
async fn check_wire(shop: &mut Shop) {
    let coils = shop.all_coils().await.unwrap();
    let lists = shop.all_lists().await.unwrap();
    check_pieces(&lists).unwrap();
    let mut cut: BTreeMap<&str, i64> = BTreeMap::new();
    for step in lists.iter().flat_map(|list| &list.steps) {
        if is_cut(step) && is(step, StepState::Done) {
            *cut.entry(&step.coil_id).or_default() += step.length_um;
        }
    }
    for (id, coil) in &coils {
        let balance = coil.received_um - coil.cut_um - coil.scrapped_um + coil.adjusted_um;
        assert_eq!(coil.remaining_um, balance, "{id}");
        assert_eq!(coil.cut_um, cut.get(id.as_str()).copied().unwrap_or(0), "{id}");
    }
}

fn tell(engine: &str, recorded: &Recorded) {
    let events: usize = coil_events(recorded).values().map(Vec::len).sum();
    let steps: usize = recorded.lists.values().map(Vec::len).sum();
    println!(
        "{engine}: {} calls in {} s; {} lists with {steps} confirmations and refusals, {} coils with {events} events; refused: {:?}",
        recorded.calls,
        seconds(),
        recorded.lists.len(),
        recorded.coils.len(),
        recorded.refused
    );
    // The test has seen what it is for.
    assert!(recorded.calls > 300 && recorded.lists.len() >= STATIONS, "{} calls", recorded.calls);
    assert!(recorded.refused.contains_key("STEP_NOT_NEXT"), "{:?}", recorded.refused);
}

#[tokio::test(flavor = "multi_thread")]
async fn histories_on_sqlite_are_linearisable() {
    let fresh = Fresh::start();
    let (recorded, before) = work(&[fresh.server.url()]).await;
    check_histories(&recorded, &before);
    check_wire(&mut Shop::connect(fresh.server.url()).await.unwrap()).await;
    let verified =
        std::process::Command::new(binary()).args(["verify", "--data"]).arg(data(&fresh.folder)).output();
    printed(&verified.unwrap());
    tell("sqlite", &recorded);
}

#[tokio::test(flavor = "multi_thread")]
async fn histories_of_two_replicas_are_linearisable() {
    let replicas = Replicas::new();
    replicas.migrate();
    let [(a, mut shop), (b, _)] = two(&replicas).await;
    let (recorded, before) = work(&[a.url(), b.url()]).await;
    check_histories(&recorded, &before);
    check_wire(&mut shop).await;
    printed(&replicas.becket(&["verify"]));
    tell("postgresql, two replicas", &recorded);
}
