//! Both services on one listener with a database and clients, and things to put into it.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use becket_api::cutting::coil_service_client::CoilServiceClient;
use becket_api::cutting::cut_list_service_client::CutListServiceClient;
use becket_api::cutting::plan_service_client::PlanServiceClient;
use becket_api::cutting::purchasing_service_client::PurchasingServiceClient;
use becket_api::cutting::record_service_client::RecordServiceClient;
use becket_api::cutting::station_service_client::StationServiceClient;
use becket_api::cutting::{
    Coil, ConfirmStepRequest, ConfirmStepResponse, CutList, GetCoilRequest, GetCutListRequest, NewCoil,
    PlanCutListRequest, ReceiveCoilsRequest, SaveStationRequest, StartCutListRequest, Station,
    new_coil::Amount,
};
use becket_api::stringing::job_service_client::JobServiceClient;
use becket_api::stringing::scale_service_client::ScaleServiceClient;
use becket_api::stringing::string_set_service_client::StringSetServiceClient;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_api::stringing::{
    CreateScaleRequest, GetStringSetRequest, HitchStyle, ImportWiresRequest, Job, Material, Note,
    OpenJobRequest, Pack, ReleaseScaleRequest, Scale, Section, SizeSeries, StringSet, Winding, Wire,
};
use becket_service_kit::{FixedClock, LimitSettings, Protection, ServeError, ServerParts, Settings, serve};
use becket_store_sqlite::{OpenMode, SqliteStore};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;
use tonic::transport::Channel;
use tonic::{Code, Status};
use tonic_types::StatusExt;

use crate::fault_store::FaultStore;

/// 2026-11-25T00:00:00Z in µs.
pub(crate) const START_US: i64 = 1_795_564_800_000_000;

/// Both services, running.
pub(crate) struct World {
    pub(crate) clock: Arc<FixedClock>,
    pub(crate) channel: Channel,
    /// Lets the cutting service's writes fail on demand.
    pub(crate) faults: Arc<FaultStore>,
    store: SqliteStore,
    directory: TempDir,
    shutdown: CancellationToken,
    served: JoinHandle<Result<(), ServeError>>,
    requests: AtomicU32,
}

impl World {
    /// Starts on an empty database.
    pub(crate) async fn empty() -> Self {
        Self::start(tempfile::tempdir().unwrap(), Arc::new(FixedClock::new(START_US))).await
    }

    /// Starts with wires, the released scale "grand/a" and the station "bench-1".
    pub(crate) async fn with_scale() -> Self {
        let world = Self::empty().await;
        let request = ImportWiresRequest {
            request_id: world.id(),
            wires: vec![copper()],
            standard_series: vec![SizeSeries::Inch.into()],
            validate_only: false,
        };
        world.wires().import_wires(request).await.unwrap();
        world.create_and_release(scale("grand", "a")).await;
        world.save_station(station("bench-1")).await.unwrap();
        world
    }

    /// Starts with jobs of these serials, due one day after the other, and wire for many instruments.
    pub(crate) async fn with_jobs(serials: &[&str]) -> Self {
        let world = Self::with_scale().await;
        for (day, serial_id) in (1..).zip(serials) {
            world.open(Job { due_date: format!("2026-12-{day:02}"), ..job(serial_id) }).await;
        }
        let coils = [
            coil("A13", "mw-in-13", "lot-13", 200.0),
            coil("A16", "mw-in-16", "lot-16", 400.0),
            coil("A19", "mw-in-19", "lot-19a", 150.0),
            coil("B19", "mw-in-19", "lot-19b", 600.0),
        ];
        world.receive(coils.to_vec()).await.unwrap();
        world
    }

    async fn start(directory: TempDir, clock: Arc<FixedClock>) -> Self {
        let store =
            SqliteStore::open(&directory.path().join("shop.db"), OpenMode::OpenOrCreate).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let shutdown = CancellationToken::new();
        let faults = Arc::new(FaultStore::new(store.clone()));
        let parts = parts(listener, address, &store, Arc::clone(&faults), &clock, &shutdown).await;
        let served = tokio::spawn(serve(parts));
        let channel = Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
        Self { clock, channel, faults, store, directory, shutdown, served, requests: AtomicU32::new(1) }
    }

    /// Tells the server to stop, and waits until it has.
    pub(crate) async fn stop(self) -> (TempDir, Arc<FixedClock>, AtomicU32) {
        let Self { clock, channel, faults, store, directory, shutdown, served, requests } = self;
        drop(channel);
        shutdown.cancel();
        tokio::time::timeout(Duration::from_secs(20), served).await.unwrap().unwrap().unwrap();
        drop(faults);
        store.close().await;
        (directory, clock, requests)
    }

    /// Stops the server and starts it again on the same database.
    pub(crate) async fn restart(self) -> Self {
        let (directory, clock, requests) = self.stop().await;
        Self { requests, ..Self::start(directory, clock).await }
    }

    /// The token that stops the server.
    pub(crate) fn shutdown(&self) -> &CancellationToken {
        &self.shutdown
    }

    /// A request id that was not used yet.
    pub(crate) fn id(&self) -> String {
        format!("request-{}", self.requests.fetch_add(1, Ordering::Relaxed))
    }

    pub(crate) fn wires(&self) -> WireServiceClient<Channel> {
        WireServiceClient::new(self.channel.clone())
    }

    pub(crate) fn scales(&self) -> ScaleServiceClient<Channel> {
        ScaleServiceClient::new(self.channel.clone())
    }

    pub(crate) fn jobs(&self) -> JobServiceClient<Channel> {
        JobServiceClient::new(self.channel.clone())
    }

    pub(crate) fn sets(&self) -> StringSetServiceClient<Channel> {
        StringSetServiceClient::new(self.channel.clone())
    }

    pub(crate) fn coils(&self) -> CoilServiceClient<Channel> {
        CoilServiceClient::new(self.channel.clone())
    }

    pub(crate) fn stations(&self) -> StationServiceClient<Channel> {
        StationServiceClient::new(self.channel.clone())
    }

    pub(crate) fn lists(&self) -> CutListServiceClient<Channel> {
        CutListServiceClient::new(self.channel.clone())
    }

    pub(crate) fn plans(&self) -> PlanServiceClient<Channel> {
        PlanServiceClient::new(self.channel.clone())
    }

    pub(crate) fn purchasing(&self) -> PurchasingServiceClient<Channel> {
        PurchasingServiceClient::new(self.channel.clone())
    }

    pub(crate) fn records(&self) -> RecordServiceClient<Channel> {
        RecordServiceClient::new(self.channel.clone())
    }

    async fn create_and_release(&self, scale: Scale) {
        let request = CreateScaleRequest { request_id: self.id(), scale: Some(scale), validate_only: false };
        let draft = self.scales().create_scale(request).await.unwrap().into_inner().scale.unwrap();
        let Scale { model_id, revision_id, etag, .. } = draft;
        let request = ReleaseScaleRequest { request_id: self.id(), model_id, revision_id, etag };
        self.scales().release_scale(request).await.unwrap();
    }

    /// Opens a job.
    pub(crate) async fn open(&self, job: Job) -> Job {
        let request = OpenJobRequest { request_id: self.id(), job: Some(job), validate_only: false };
        self.jobs().open_job(request).await.unwrap().into_inner().job.unwrap()
    }

    /// The string set of a serial.
    pub(crate) async fn set(&self, serial_id: &str) -> StringSet {
        let request = GetStringSetRequest { serial_id: serial_id.to_owned() };
        self.sets().get_string_set(request).await.unwrap().into_inner().string_set.unwrap()
    }

    /// Creates or changes a station.
    pub(crate) async fn save_station(&self, station: Station) -> Result<Station, Status> {
        let request = SaveStationRequest { request_id: self.id(), station: Some(station) };
        Ok(self.stations().save_station(request).await?.into_inner().station.unwrap())
    }

    /// Books coils.
    pub(crate) async fn receive(&self, coils: Vec<NewCoil>) -> Result<Vec<Coil>, Status> {
        let request = ReceiveCoilsRequest { request_id: self.id(), coils, validate_only: false };
        Ok(self.coils().receive_coils(request).await?.into_inner().coils)
    }

    /// One coil. Its balance must hold.
    pub(crate) async fn coil(&self, coil_id: &str) -> Coil {
        let request = GetCoilRequest { coil_id: coil_id.to_owned() };
        let coil = self.coils().get_coil(request).await.unwrap().into_inner().coil.unwrap();
        let sum = coil.remaining_um + coil.cut_um + coil.scrapped_um - coil.adjusted_um;
        assert_eq!(coil.received_um, sum, "{coil:?}");
        coil
    }

    /// Plans these serials at "bench-1", or all open ones.
    pub(crate) async fn plan(&self, serials: &[&str]) -> Result<CutList, Status> {
        let request = PlanCutListRequest { request_id: self.id(), ..plan_request(serials) };
        Ok(self.lists().plan_cut_list(request).await?.into_inner().cut_list.unwrap())
    }

    /// Starts a list.
    pub(crate) async fn begin(&self, list_id: &str) -> Result<CutList, Status> {
        let (request_id, list_id) = (self.id(), list_id.to_owned());
        let request = StartCutListRequest { request_id, list_id, etag: String::new() };
        Ok(self.lists().start_cut_list(request).await?.into_inner().cut_list.unwrap())
    }

    /// Confirms steps.
    pub(crate) async fn confirm(
        &self,
        list_id: &str,
        step_number: i32,
        count: i32,
    ) -> Result<ConfirmStepResponse, Status> {
        let (request_id, list_id) = (self.id(), list_id.to_owned());
        let request = ConfirmStepRequest { request_id, list_id, step_number, count };
        Ok(self.lists().confirm_step(request).await?.into_inner())
    }

    /// Confirms all steps that are pending.
    pub(crate) async fn confirm_all(&self, list_id: &str) -> CutList {
        loop {
            let list = self.list(list_id).await;
            let pending =
                list.steps.iter().filter(|step| step.state() == becket_api::cutting::StepState::Pending);
            let pending: Vec<i32> = pending.map(|step| step.step_number).collect();
            let Some(next) = pending.first() else { return list };
            let count = i32::try_from(pending.len()).unwrap().min(500);
            self.confirm(list_id, *next, count).await.unwrap();
        }
    }

    /// One list.
    pub(crate) async fn list(&self, list_id: &str) -> CutList {
        let request = GetCutListRequest { list_id: list_id.to_owned() };
        self.lists().get_cut_list(request).await.unwrap().into_inner().cut_list.unwrap()
    }
}

async fn parts(
    listener: TcpListener,
    address: SocketAddr,
    store: &SqliteStore,
    faults: Arc<FaultStore>,
    clock: &Arc<FixedClock>,
    shutdown: &CancellationToken,
) -> ServerParts {
    let limits = limits();
    let mut routes = Routes::builder();
    let deps = becket_stringing::Deps {
        limits: limits.clone(),
        store: Arc::new(store.clone()),
        clock: Arc::clone(clock) as _,
    };
    becket_stringing::register(&mut routes, deps).await.unwrap();
    let deps = becket_cutting::Deps {
        limits: limits.clone(),
        store: faults,
        clock: Arc::clone(clock) as _,
        stringing: becket_service_kit::ServiceLink::at(format!("http://{address}")),
    };
    becket_cutting::register(&mut routes, deps).await.unwrap();
    let service_names = [&becket_stringing::SERVICE_NAMES[..], &becket_cutting::SERVICE_NAMES[..]].concat();
    let shutdown = shutdown.clone();
    let protection = Protection::default();
    ServerParts {
        routes: routes.routes(),
        listener,
        service_names,
        limits,
        protection,
        local: None,
        shutdown,
    }
}

/// The limits that are compiled in.
pub(crate) fn limits() -> LimitSettings {
    Settings::load(None, []).unwrap().limits
}

/// A station with three reels and two trays.
pub(crate) fn station(station_id: &str) -> Station {
    Station {
        station_id: station_id.to_owned(),
        title: "By the window".to_owned(),
        reel_positions: 3,
        trays: 2,
        ..Station::default()
    }
}

/// A coil of so many metres.
pub(crate) fn coil(coil_id: &str, wire_id: &str, lot_id: &str, length_m: f64) -> NewCoil {
    NewCoil {
        coil_id: coil_id.to_owned(),
        wire_id: wire_id.to_owned(),
        lot_id: lot_id.to_owned(),
        received_date: "2026-11-02".to_owned(),
        remaining_length_mm: None,
        length_sd_mm: None,
        amount: Some(Amount::ReceivedLengthMm(length_m * 1000.0)),
    }
}

/// A request for a plan at "bench-1", without request id.
pub(crate) fn plan_request(serials: &[&str]) -> PlanCutListRequest {
    PlanCutListRequest {
        station_id: "bench-1".to_owned(),
        serial_ids: serials.iter().map(|&serial| serial.to_owned()).collect(),
        ..PlanCutListRequest::default()
    }
}

/// A job on "grand/a" at "bench-1".
pub(crate) fn job(serial_id: &str) -> Job {
    Job {
        serial_id: serial_id.to_owned(),
        model_id: "grand".to_owned(),
        revision_id: "a".to_owned(),
        due_date: "2026-12-04".to_owned(),
        station_id: "bench-1".to_owned(),
        ..Job::default()
    }
}

fn copper() -> Wire {
    Wire {
        wire_id: "cu-1.00".to_owned(),
        title: "Copper 1 mm".to_owned(),
        material: Material::Copper.into(),
        diameter_mm: 1.0,
        density_kg_m3: 8930.0,
        youngs_modulus_gpa: 120.0,
        packs: vec![Pack { label: "1 kg reel".to_owned(), mass_g: 1000.0 }],
        ..Wire::default()
    }
}

/// A scale of 88 notes: 20 wound ones in the bass with 32 cores of wire 19, then 30 looped pieces of wire 19, 36 of wire 16
/// and 36 of wire 13; 134 pieces in all.
fn scale(model_id: &str, revision_id: &str) -> Scale {
    let section = |section_id: &str| Section {
        section_id: section_id.to_owned(),
        title: section_id.to_owned(),
        hitch: HitchStyle::LoopedBack.into(),
        allowances: None,
    };
    Scale {
        model_id: model_id.to_owned(),
        revision_id: revision_id.to_owned(),
        title: "A grand".to_owned(),
        first_note: 1,
        last_note: 88,
        sections: vec![section("bass"), section("treble")],
        notes: (1..=88).map(note).collect(),
        plate_limit_n: Some(250_000.0),
        ..Scale::default()
    }
}

/// Pieces of a set.
pub(crate) const PIECES: i32 = 134;

fn note(note: i32) -> Note {
    let wound = note <= 20;
    let winding = Winding { wire_id: "cu-1.00".to_owned(), bare_front_mm: 20.0, bare_back_mm: 20.0 };
    let wire = match note {
        ..=40 => "mw-in-19",
        41..=64 => "mw-in-16",
        _ => "mw-in-13",
    };
    let strings = match note {
        ..=8 => 1,
        9..=20 => 2,
        _ => 3,
    };
    // 52 mm at the top, longer by 5.45 % with each semitone down, and no longer than the plate.
    let speaking_mm = (52.0 * 1.0545_f64.powi(88 - note)).min(1900.0);
    Note {
        note,
        section_id: if wound { "bass" } else { "treble" }.to_owned(),
        string_count: strings,
        speaking_mm: (speaking_mm * 10.0).round() / 10.0,
        front_mm: 120.0,
        back_mm: 150.0,
        wire_id: wire.to_owned(),
        windings: if wound { vec![winding] } else { vec![] },
        ..Note::default()
    }
}

/// Asserts code and reason of an error.
#[track_caller]
pub(crate) fn assert_refused<T: std::fmt::Debug>(
    result: Result<T, Status>,
    code: Code,
    reason: &str,
) -> Status {
    let status = result.unwrap_err();
    let info = status.get_details_error_info().unwrap_or_else(|| panic!("no ErrorInfo in {status:?}"));
    let found = (status.code(), info.reason.as_str(), info.domain.as_str());
    assert_eq!(found, (code, reason, "becket"), "{status:?}");
    status
}

/// Asserts that a request is refused for exactly these fields.
#[track_caller]
pub(crate) fn assert_faults<T: std::fmt::Debug>(result: Result<T, Status>, fields: &[&str]) {
    let status = assert_refused(result, Code::InvalidArgument, "FIELD_INVALID");
    assert_eq!(violated(&status), fields, "{status:?}");
}

/// Paths of the faulty fields of an error.
pub(crate) fn violated(status: &Status) -> Vec<String> {
    let violations = status.get_details_bad_request().map(|details| details.field_violations);
    violations.unwrap_or_default().into_iter().map(|violation| violation.field).collect()
}

/// A value of an error's metadata.
#[track_caller]
pub(crate) fn meta(status: &Status, key: &str) -> String {
    let metadata = status.get_details_error_info().unwrap().metadata;
    metadata.get(key).unwrap_or_else(|| panic!("no {key} in {status:?}")).clone()
}
