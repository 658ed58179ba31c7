//! Stations that work side by side, and the gate that lets them.

use std::sync::Arc;
use std::time::{Duration, Instant};

use becket_api::cutting::{SaveStationRequest, Station as Bench};
use becket_api::document::parse_toml;
use becket_e2e::{Shop, demo};
use tokio::sync::{OwnedRwLockWriteGuard, RwLock};
use tokio::task::JoinSet;

use crate::ledger::Ledger;
use crate::station::Station;

/// Whoever is not answered in this time after the fault is gone has not recovered.
const RECOVERED_WITHIN: Duration = Duration::from_secs(120);

/// Stations at work. They stop when it is dropped.
pub(crate) struct Crew {
    pub(crate) ledger: Arc<Ledger>,
    gate: Arc<RwLock<()>>,
    pause: Option<OwnedRwLockWriteGuard<()>>,
    // Ends its tasks when it is dropped.
    _stations: JoinSet<()>,
}

impl Crew {
    /// Loads the demo shop, gives it `stations` stations and lets them wait for [`Crew::work`]. Each door leads to one replica.
    pub(crate) async fn new(doors: &[Shop], stations: usize, seed: u64) -> Self {
        let mut shop = doors[0].clone();
        shop.load().await.expect("the shop can be loaded");
        for number in 1..stations {
            let mut bench: Bench = parse_toml(demo::STATION).expect("the demo can be read");
            bench.station_id = format!("bench-{}", number + 1);
            let request = SaveStationRequest { request_id: shop.request_id(), station: Some(bench) };
            shop.stations.save_station(request).await.expect("a station can be saved");
        }
        let ledger = Arc::new(Ledger::new(stations));
        let gate = Arc::new(RwLock::new(()));
        let pause = Some(Arc::clone(&gate).write_owned().await);
        let mut tasks = JoinSet::new();
        for number in 0..stations {
            let station = Station::new(number, doors.to_vec(), Arc::clone(&ledger), seed);
            tasks.spawn(run(station, Arc::clone(&gate), Arc::clone(&ledger)));
        }
        Self { ledger, gate, pause, _stations: tasks }
    }

    /// Lets the stations work.
    pub(crate) fn work(&mut self) {
        self.pause = None;
    }

    /// Waits until every station was answered again, and returns how long that took since the fault was gone.
    pub(crate) async fn recovered(&self, since: Instant) -> Duration {
        while !self.ledger.known().all_after(since) {
            // A station that met a fault has stopped, and the fault is told.
            if !self.ledger.known().wrong.is_empty() {
                break;
            }
            if since.elapsed() > RECOVERED_WITHIN {
                let late = format!("a station was not answered within {RECOVERED_WITHIN:?}");
                self.ledger.known().wrong.push(late);
                break;
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        since.elapsed()
    }

    /// Lets the stations finish what they have begun, however often they must try, and begin nothing more.
    pub(crate) async fn pause(&mut self) {
        self.pause = Some(Arc::clone(&self.gate).write_owned().await);
    }
}

async fn run(mut station: Station, gate: Arc<RwLock<()>>, ledger: Arc<Ledger>) {
    loop {
        let pass = gate.read().await;
        if let Err(fault) = station.step().await {
            ledger.known().wrong.push(fault);
            return;
        }
        drop(pass);
        // Whoever waits to close the gate comes first.
        tokio::task::yield_now().await;
    }
}
