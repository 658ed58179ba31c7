//! The server is killed (SIGKILL) again and again while it books; nothing that it acknowledged may be lost or doubled.
//!
//! One client confirms step by step, another reports broken strings. Each keeps the request that had no answer when the
//! server died, and sends it again, under the same request id, to the next server.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Duration;

use becket_api::cutting::{
    ConfirmStepRequest, ConfirmStepResponse, CutList, CutStep, PlanCutListRequest, ReportSpoiledPieceRequest,
    ReportSpoiledPieceResponse, SpoilCause, StartCutListRequest, StepState,
};
use becket_api::journal::Entry;
use becket_e2e::invariants::{check_journal, check_pieces, check_stock, is, is_behind, is_cut};
use becket_e2e::random::Random;
use becket_e2e::{Server, Shop, reason};
use becket_store::JournalStore as _;
use becket_store::journal::GENESIS;
use becket_store_sqlite::{OpenMode, SqliteStore};
use tokio::sync::mpsc;
use tonic::Status;

use crate::{binary, data};

const KILLS: usize = 40;
const SEED: u64 = 20_261_125;
/// Most steps that are confirmed before the next kill.
const STEPS_BEFORE: usize = 8;
/// Longest time between the last of these and the kill: about two calls, so that it falls anywhere within one.
const LONGEST_WAIT_US: usize = 30_000;

/// What the clients know: what was acknowledged, and what is still without an answer.
#[derive(Default)]
struct Known {
    confirmed: Vec<(ConfirmStepRequest, ConfirmStepResponse)>,
    spoiled: Vec<(ReportSpoiledPieceRequest, ReportSpoiledPieceResponse)>,
    open_confirm: Option<ConfirmStepRequest>,
    open_spoil: Option<ReportSpoiledPieceRequest>,
    /// Requests without an answer that turned out to have been done, and not to have been done.
    found_done: usize,
    found_undone: usize,
}

impl Known {
    fn steps(&self) -> impl Iterator<Item = &CutStep> {
        self.confirmed.iter().flat_map(|(_, answer)| &answer.confirmed)
    }
}

/// Checks that the server is gone: an error without a reason of becket's comes from the connection. Any other is a fault: the
/// clients take turns, so neither is told that the other was quicker.
fn assert_gone(status: &Status) {
    assert!(reason(status).is_none(), "refused: {status:?}");
}

/// Confirms until the server is gone, and tells each step that was acknowledged.
async fn confirm(
    mut shop: Shop,
    list_id: String,
    known: &mut KnownConfirms,
    tell: mpsc::UnboundedSender<CutStep>,
) {
    loop {
        let request = known.open.take().unwrap_or_else(|| ConfirmStepRequest {
            request_id: shop.request_id(),
            list_id: list_id.clone(),
            step_number: known.next,
            count: 1,
        });
        match shop.lists.confirm_step(request.clone()).await {
            Ok(answer) => {
                let answer = answer.into_inner();
                assert_eq!(answer.confirmed.len(), 1);
                let step = answer.confirmed[0].clone();
                assert_eq!(step.step_number, request.step_number);
                known.next = answer.next.as_ref().expect("the list is long enough for all kills").step_number;
                known.done.push((request, answer));
                // Nobody listens any more once the server is being killed.
                drop(tell.send(step));
            }
            Err(status) => {
                assert_gone(&status);
                known.open = Some(request);
                return;
            }
        }
    }
}

struct KnownConfirms {
    done: Vec<(ConfirmStepRequest, ConfirmStepResponse)>,
    open: Option<ConfirmStepRequest>,
    next: i32,
}

struct KnownSpoils {
    done: Vec<(ReportSpoiledPieceRequest, ReportSpoiledPieceResponse)>,
    open: Option<ReportSpoiledPieceRequest>,
}

/// Reports now and then that a piece just cut has broken, until the server is gone.
async fn spoil(
    mut shop: Shop,
    list_id: String,
    known: &mut KnownSpoils,
    mut random: Random,
    mut told: mpsc::UnboundedReceiver<CutStep>,
) {
    loop {
        let request = match known.open.take() {
            Some(request) => request,
            None => {
                let Some(step) = told.recv().await else { return };
                if !is_cut(&step) || !random.once_in(4) {
                    continue;
                }
                ReportSpoiledPieceRequest {
                    request_id: shop.request_id(),
                    list_id: list_id.clone(),
                    step_number: step.step_number,
                    cause: SpoilCause::Broken.into(),
                    lost_length_mm: None,
                }
            }
        };
        match shop.lists.report_spoiled_piece(request.clone()).await {
            Ok(answer) => known.done.push((request, answer.into_inner())),
            Err(status) => {
                assert_gone(&status);
                known.open = Some(request);
                return;
            }
        }
    }
}

/// Lets both clients work, kills the server at a random moment, and returns when both have noticed.
async fn work_and_kill(server: Server, shop: &Shop, list_id: &str, known: &mut Known, random: &mut Random) {
    let next = known.steps().map(|step| step.step_number).max().unwrap_or(0) + 1;
    let mut confirms = KnownConfirms { done: Vec::new(), open: known.open_confirm.take(), next };
    let mut spoils = KnownSpoils { done: Vec::new(), open: known.open_spoil.take() };
    let (tell, mut told) = mpsc::unbounded_channel();
    let (pass, passed) = mpsc::unbounded_channel();
    let steps = random.below(STEPS_BEFORE + 1);
    let wait = Duration::from_micros(u64::try_from(random.below(LONGEST_WAIT_US)).unwrap());
    let killer = async {
        for _ in 0..steps {
            let step = told.recv().await.expect("steps are acknowledged as long as the server lives");
            drop(pass.send(step));
        }
        // Not to wait for anything: the moment of the kill is to be any.
        tokio::time::sleep(wait).await;
        server.kill();
        drop((pass, told));
    };
    let breaks = Random::new(random.number());
    tokio::join!(
        confirm(shop.clone(), list_id.to_owned(), &mut confirms, tell),
        spoil(shop.clone(), list_id.to_owned(), &mut spoils, breaks, passed),
        killer,
    );
    known.confirmed.append(&mut confirms.done);
    known.spoiled.append(&mut spoils.done);
    known.open_confirm = confirms.open;
    known.open_spoil = spoils.open;
}

/// What was acknowledged is there exactly once, and of what was not there is at most the request without an answer.
fn check_acknowledged(list: &CutList, known: &mut Known) {
    let behind: Vec<_> = list.steps.iter().filter(|step| is_behind(step)).collect();
    let numbers: Vec<_> = behind.iter().map(|step| step.step_number).collect();
    assert_eq!(
        numbers,
        (1..=i32::try_from(behind.len()).unwrap()).collect::<Vec<_>>(),
        "done steps come first"
    );
    let acknowledged: BTreeMap<i32, &CutStep> = known.steps().map(|step| (step.step_number, step)).collect();
    assert_eq!(acknowledged.len(), known.steps().count(), "a step was acknowledged twice");
    for (number, step) in &acknowledged {
        let there = behind.iter().find(|there| there.step_number == *number);
        let there = there.unwrap_or_else(|| panic!("step {number} was acknowledged and is not done"));
        let what = |step: &CutStep| {
            (step.kind, step.coil_id.clone(), step.serial_id.clone(), step.piece_id.clone(), step.length_um)
        };
        assert_eq!(what(there), what(step));
        assert_eq!((&there.done_time, &there.done_by), (&step.done_time, &step.done_by), "step {number}");
    }
    let more = behind.len() - acknowledged.len();
    assert!(more <= usize::from(known.open_confirm.is_some()), "{more} steps are done that nobody confirmed");

    let reported: BTreeSet<i32> = known.spoiled.iter().map(|(request, _)| request.step_number).collect();
    let spoiled: BTreeSet<i32> =
        behind.iter().filter(|step| is(step, StepState::Spoiled)).map(|step| step.step_number).collect();
    assert!(reported.is_subset(&spoiled), "acknowledged {reported:?}, there are {spoiled:?}");
    let open_spoil = known.open_spoil.as_ref().map(|request| request.step_number);
    let unexplained: Vec<_> =
        spoiled.difference(&reported).filter(|step| Some(**step) != open_spoil).collect();
    assert!(unexplained.is_empty(), "spoiled, and nobody reported it: {unexplained:?}");

    let confirm_done = usize::from(more > 0);
    let spoil_done = usize::from(spoiled.len() > reported.len());
    known.found_done += confirm_done + spoil_done;
    known.found_undone += usize::from(known.open_confirm.is_some()) - confirm_done;
    known.found_undone += usize::from(known.open_spoil.is_some()) - spoil_done;
}

/// A request that is sent again, long after its answer, gets that answer and changes nothing.
async fn check_repeats(shop: &mut Shop, known: &Known, random: &mut Random) {
    if !known.confirmed.is_empty() {
        let (request, first) = random.choose(&known.confirmed);
        let again = shop.lists.confirm_step(request.clone()).await.unwrap().into_inner();
        assert_eq!(again, *first);
    }
    if !known.spoiled.is_empty() {
        let (request, first) = random.choose(&known.spoiled);
        let again = shop.lists.report_spoiled_piece(request.clone()).await.unwrap().into_inner();
        assert_eq!(again, *first);
    }
}

/// Each acknowledged request is in the journal under one moment, and no other request of the clients is, but the open ones.
fn check_requests(entries: &[Entry], known: &Known) {
    let mut times: BTreeMap<&str, BTreeSet<(i64, i32)>> = BTreeMap::new();
    for entry in entries
        .iter()
        .filter(|e| e.method.ends_with("/ConfirmStep") || e.method.ends_with("/ReportSpoiledPiece"))
    {
        let time = entry.entry_time.as_ref().unwrap();
        times.entry(&entry.request_id).or_default().insert((time.seconds, time.nanos));
    }
    let confirmed = known.confirmed.iter().map(|(request, _)| request.request_id.as_str());
    let spoiled = known.spoiled.iter().map(|(request, _)| request.request_id.as_str());
    for id in confirmed.chain(spoiled) {
        let moments = times.remove(id).unwrap_or_else(|| panic!("the journal lacks {id}"));
        assert_eq!(moments.len(), 1, "{id} was done more than once");
    }
    let open = [
        known.open_confirm.as_ref().map(|r| &r.request_id),
        known.open_spoil.as_ref().map(|r| &r.request_id),
    ];
    for id in times.keys() {
        assert!(open.iter().flatten().any(|open| open == id), "{id} was done and never acknowledged");
    }
}

async fn planned_list(server: &Server) -> CutList {
    let mut shop = Shop::connect(server.url()).await.unwrap();
    shop.load().await.unwrap();
    let request = PlanCutListRequest {
        request_id: shop.request_id(),
        station_id: "bench-1".into(),
        ..PlanCutListRequest::default()
    };
    let list = shop.lists.plan_cut_list(request).await.unwrap().into_inner().cut_list.unwrap();
    let request = StartCutListRequest {
        request_id: shop.request_id(),
        list_id: list.list_id.clone(),
        etag: list.etag.clone(),
    };
    shop.lists.start_cut_list(request).await.unwrap();
    list
}

fn pieces_of(list: &CutList) -> BTreeSet<(String, String)> {
    let short = list
        .shortages
        .iter()
        .flat_map(|short| short.piece_ids.iter().map(|piece| (short.serial_id.clone(), piece.clone())));
    check_pieces(std::slice::from_ref(list)).unwrap().into_iter().chain(short).collect()
}

async fn check_all(shop: &mut Shop, list_id: &str, known: &mut Known, journal: &mut Vec<Entry>) -> CutList {
    let list = shop.list(list_id).await.unwrap();
    check_acknowledged(&list, known);
    check_stock(&shop.all_coils().await.unwrap(), std::slice::from_ref(&list)).unwrap();
    let entries = shop.all_entries().await.unwrap();
    check_journal(&entries, journal).unwrap();
    check_requests(&entries, known);
    *journal = entries;
    list
}

/// The hashes of the journal, recomputed from what is stored.
async fn check_chain(data: &Path, entries: usize) {
    let store = SqliteStore::open(&data.join("becket.db"), OpenMode::OpenExisting).await.unwrap();
    let mut hash = GENESIS;
    let mut sequence = 0;
    loop {
        let page = store.entries(sequence, 500, None).await.unwrap();
        for entry in &page {
            assert_eq!(entry.hash, entry.hash_after(&hash), "entry {} was changed", entry.sequence);
            (hash, sequence) = (entry.hash, entry.sequence);
        }
        if page.is_empty() {
            break;
        }
    }
    assert_eq!(usize::try_from(sequence).unwrap(), entries);
    store.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_acknowledged_is_lost_or_doubled() {
    let folder = tempfile::tempdir().unwrap();
    let mut random = Random::new(SEED);
    let mut known = Known::default();
    let mut journal = Vec::new();
    let mut server = Server::start(binary(), &data(&folder));
    let planned = planned_list(&server).await;
    let list_id = planned.list_id.clone();
    for kill in 0..KILLS {
        let shop = Shop::connect(server.url()).await.unwrap();
        work_and_kill(server, &shop, &list_id, &mut known, &mut random).await;
        server = Server::start(binary(), &data(&folder));
        let mut shop = Shop::connect(server.url()).await.unwrap();
        let list = check_all(&mut shop, &list_id, &mut known, &mut journal).await;
        assert_eq!(pieces_of(&list), pieces_of(&planned), "after kill {kill}");
        check_repeats(&mut shop, &known, &mut random).await;
        let untouched = shop.list(&list_id).await.unwrap();
        assert_eq!(untouched, list, "a repeat changed something");
    }
    // The test has seen what it is for.
    let seen = format!(
        "{} confirmed, {} spoiled; without an answer: {} done, {} not done",
        known.confirmed.len(),
        known.spoiled.len(),
        known.found_done,
        known.found_undone
    );
    println!("{KILLS} kills: {seen}");
    assert!(known.confirmed.len() > KILLS && known.spoiled.len() > 5, "{seen}");
    assert!(known.found_done + known.found_undone > KILLS / 2, "{seen}");

    assert!(server.stop().success());
    check_chain(&data(&folder), journal.len()).await;
    let verified =
        std::process::Command::new(binary()).args(["verify", "--data"]).arg(data(&folder)).output();
    let verified = verified.unwrap();
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}
