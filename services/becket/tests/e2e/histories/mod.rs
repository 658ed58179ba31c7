//! Concurrent random clients, and whether what each was answered can be explained by calls one after the other.
//!
//! At each of three stations two stringers confirm the same list, report broken strings, miscuts and coils that ran out, and a planner
//! gives the station its next list, all from the same coils; a dispatcher adds rush jobs to running lists and plans them anew; a stock
//! keeper receives, weighs, sets aside, returns, scraps and empties coils, whose lists the service plans anew by itself; others look.
//! Meanwhile servers are killed (SIGKILL) and started again, and whoever was not answered sends the same request id again, to the other
//! replica if there is one, or gives up and never learns what became of it.
//!
//! Every call is recorded with its answer and both times. Afterwards the steps of each list and the reservations and balance of each
//! coil must be linearisable, the order of the journal must be one that the clients can have seen, and wire must be conserved to the
//! micrometre. At the end the recorded histories are falsified in several ways, and each falsehood must be found.
//!
//! `BECKET_HISTORY_SECONDS` makes the runs longer; `tests/history` sets it.

mod check;
mod client;
mod falsify;
mod floor;
mod instrument;
mod station;
mod stock;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use becket_api::cutting::Coil;
use becket_e2e::Shop;
use becket_e2e::random::Random;
use becket_faults::{Place as _, Site};
use tokio::task::JoinSet;

use crate::binary;
use check::Histories;
use client::Client;
use floor::{Bench, Floor, Recorded};

pub(super) const STATIONS: usize = 3;
/// Calls after which the clients stop, and how long they work at most, if nothing else is said.
const CALLS: usize = 4000;
const SECONDS: u64 = 75;
/// Fewer calls than these are too few to tell anything, on however busy a machine.
const FEWEST: usize = 1000;
const SEED: u64 = 20_261_201;
/// Longest time between two kills.
const BETWEEN_KILLS: Duration = Duration::from_secs(6);

/// How long the clients work, and after how many calls they may stop.
fn measure() -> (Duration, usize) {
    let stated = std::env::var("BECKET_HISTORY_SECONDS").ok().and_then(|text| text.parse().ok());
    match stated {
        Some(seconds) => (Duration::from_secs(seconds), usize::MAX),
        None => (Duration::from_secs(SECONDS), CALLS),
    }
}

/// Kills a server and starts it again, another one each time, while the clients work.
async fn killer(floor: Arc<Floor>, mut site: Site, mut random: Random) -> (Site, usize) {
    let mut kills = 0;
    loop {
        let pause = BETWEEN_KILLS.mul_f64((1 + random.below(100)) as f64 / 100.0);
        tokio::time::sleep(pause).await;
        if !floor.working() {
            return (site, kills);
        }
        let victim = random.below(site.replicas());
        tokio::task::block_in_place(|| {
            site.kill(victim);
            site.start(victim);
        });
        kills += 1;
    }
}

/// Lets all clients work at a site. Returns what they recorded, the stock as it was, and how often a server was killed.
async fn work(site: Site) -> (Site, Recorded, BTreeMap<String, Coil>, usize) {
    let doors = site.doors();
    let mut shop = doors[0].clone();
    let stations = instrument::load(&mut shop, STATIONS).await;
    let before = shop.all_coils().await.unwrap();
    let (longest, calls) = measure();
    let floor = Arc::new(Floor::new(longest, calls, before.keys().cloned().collect()));
    let mut clients = JoinSet::new();
    let mut number = 0;
    let mut client = || {
        number += 1;
        // Each begins at another door.
        Client::new(doors.clone(), number, Random::new(SEED + number as u64))
    };
    let mut benches = Vec::new();
    for station in stations {
        let bench = Arc::new(Bench::default());
        clients.spawn(station::planner(Arc::clone(&floor), Arc::clone(&bench), client(), station));
        for _ in 0..2 {
            clients.spawn(station::stringer(Arc::clone(&floor), Arc::clone(&bench), client()));
        }
        benches.push(bench);
    }
    clients.spawn(station::dispatcher(Arc::clone(&floor), benches.clone(), client()));
    clients.spawn(station::watcher(Arc::clone(&floor), benches, client()));
    for _ in 0..2 {
        clients.spawn(stock::reader(Arc::clone(&floor), client()));
    }
    clients.spawn(stock::keeper(Arc::clone(&floor), client()));
    let killing = tokio::spawn(killer(Arc::clone(&floor), site, Random::new(SEED)));
    while let Some(ended) = clients.join_next().await {
        ended.unwrap();
    }
    floor.stop();
    let (site, kills) = killing.await.unwrap();
    let recorded = std::mem::take(&mut *floor.recorded());
    (site, recorded, before, kills)
}

async fn run(engine: &str, site: Site) {
    let begun = std::time::Instant::now();
    let (site, recorded, before, kills) = work(site).await;
    let worked = begun.elapsed();
    let mut shop: Shop = site.doors().remove(0);
    let lists = shop.all_lists().await.unwrap();
    let entries = shop.all_entries().await.unwrap();
    check::wire(&shop.all_coils().await.unwrap(), &lists);
    let histories = Histories::of(&recorded, &before, &lists, &entries).unwrap();
    histories.check().unwrap();
    check::journal_order(&recorded, &entries).unwrap();
    site.verify().unwrap();
    assert_eq!(site.complaints(), Vec::<String>::new());
    println!("{engine}: {kills} kills in {} s; {recorded}; {histories}", worked.as_secs());
    // The test has seen what it is for.
    assert!(recorded.calls > FEWEST && recorded.lists.len() >= STATIONS, "{} calls", recorded.calls);
    assert!(kills > 0 && recorded.again > 0, "{kills} kills, {} calls sent again", recorded.again);
    assert_eq!(recorded.missing(), Vec::<&str>::new());
    falsify::all_are_found(&histories, &recorded, &entries);
}

#[tokio::test(flavor = "multi_thread")]
async fn histories_on_sqlite_are_linearisable() {
    run("sqlite", Site::sqlite(binary(), None)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn histories_of_two_replicas_are_linearisable() {
    let url = becket_test_postgres::Server::shared().database();
    run("postgresql, two replicas", Site::postgres(binary(), &url, 2, "")).await;
}
