//! A running service with a database and clients, and things to put into it.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_api::stringing::design_service_client::DesignServiceClient;
use becket_api::stringing::job_service_client::JobServiceClient;
use becket_api::stringing::scale_service_client::ScaleServiceClient;
use becket_api::stringing::string_set_service_client::StringSetServiceClient;
use becket_api::stringing::winding_order_service_client::WindingOrderServiceClient;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_api::stringing::{
    CreateScaleRequest, GetStringSetRequest, HitchStyle, ImportWiresRequest, Job, Material, Note,
    OpenJobRequest, ReleaseScaleRequest, Scale, Section, SizeSeries, StringSet, Winding, Wire,
};
use becket_service_kit::{FixedClock, Settings};
use becket_store_sqlite::{OpenMode, SqliteStore};
use becket_stringing::{Parts, RunError, run};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// 2026-11-25T00:00:00Z in µs.
pub(crate) const START_US: i64 = 1_795_564_800_000_000;

/// A running service.
pub(crate) struct World {
    pub(crate) clock: Arc<FixedClock>,
    pub(crate) channel: Channel,
    pub(crate) address: SocketAddr,
    pub(crate) store: SqliteStore,
    directory: TempDir,
    shutdown: CancellationToken,
    served: JoinHandle<Result<(), RunError>>,
    requests: AtomicU32,
}

impl World {
    /// Starts on an empty database.
    pub(crate) async fn empty() -> Self {
        Self::start(tempfile::tempdir().unwrap(), Arc::new(FixedClock::new(START_US))).await
    }

    /// Starts with wires.
    pub(crate) async fn with_wires() -> Self {
        let world = Self::empty().await;
        let request = ImportWiresRequest {
            request_id: world.id(),
            wires: vec![copper("cu-1.00", 1.0)],
            standard_series: vec![SizeSeries::Inch.into()],
            validate_only: false,
        };
        world.wires().import_wires(request).await.unwrap();
        world
    }

    /// Starts with wires and the released scale "grand/a".
    pub(crate) async fn with_scale() -> Self {
        let world = Self::with_wires().await;
        world.create_and_release(scale("grand", "a")).await;
        world
    }

    async fn start(directory: TempDir, clock: Arc<FixedClock>) -> Self {
        let path: &Path = &directory.path().join("shop.db");
        let store = SqliteStore::open(path, OpenMode::OpenOrCreate).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let shutdown = CancellationToken::new();
        let parts = Parts {
            limits: Settings::load(None, []).unwrap().limits,
            listener,
            store: Arc::new(store.clone()),
            clock: Arc::clone(&clock) as _,
            shutdown: shutdown.clone(),
        };
        let served = tokio::spawn(run(parts));
        let channel = Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
        Self { clock, channel, address, store, directory, shutdown, served, requests: AtomicU32::new(1) }
    }

    /// Starts another service on the same database, as another process would be, and connects to it.
    pub(crate) async fn beside(&self) -> StringSetServiceClient<Channel> {
        let path = self.directory.path().join("shop.db");
        let store = SqliteStore::open(&path, OpenMode::OpenExisting).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let parts = Parts {
            limits: Settings::load(None, []).unwrap().limits,
            listener,
            store: Arc::new(store),
            clock: Arc::clone(&self.clock) as _,
            shutdown: self.shutdown.clone(),
        };
        drop(tokio::spawn(run(parts)));
        let channel = Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
        StringSetServiceClient::new(channel)
    }

    /// Stops the service and starts it again on the same database.
    pub(crate) async fn restart(self) -> Self {
        let Self { clock, channel, address: _, store, directory, shutdown, served, requests } = self;
        drop(channel);
        shutdown.cancel();
        tokio::time::timeout(Duration::from_secs(20), served).await.unwrap().unwrap().unwrap();
        store.close().await;
        Self { requests, ..Self::start(directory, clock).await }
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

    pub(crate) fn winding_orders(&self) -> WindingOrderServiceClient<Channel> {
        WindingOrderServiceClient::new(self.channel.clone())
    }

    pub(crate) fn designs(&self) -> DesignServiceClient<Channel> {
        DesignServiceClient::new(self.channel.clone())
    }

    pub(crate) fn journal(&self) -> JournalServiceClient<Channel> {
        JournalServiceClient::new(self.channel.clone())
    }

    /// Creates a draft.
    pub(crate) async fn create(&self, scale: Scale) -> Scale {
        let request = CreateScaleRequest { request_id: self.id(), scale: Some(scale), validate_only: false };
        self.scales().create_scale(request).await.unwrap().into_inner().scale.unwrap()
    }

    /// Creates a draft and releases it.
    pub(crate) async fn create_and_release(&self, scale: Scale) -> Scale {
        let draft = self.create(scale).await;
        let request = ReleaseScaleRequest {
            request_id: self.id(),
            model_id: draft.model_id,
            revision_id: draft.revision_id,
            etag: draft.etag,
        };
        self.scales().release_scale(request).await.unwrap().into_inner().scale.unwrap()
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
}

/// A copper wire for windings.
pub(crate) fn copper(wire_id: &str, diameter_mm: f64) -> Wire {
    Wire {
        wire_id: wire_id.to_owned(),
        title: format!("Copper {diameter_mm} mm"),
        material: Material::Copper.into(),
        diameter_mm,
        density_kg_m3: 8930.0,
        youngs_modulus_gpa: 120.0,
        ..Wire::default()
    }
}

/// A scale of 88 notes: 20 wound ones in the bass, and three strings each above.
pub(crate) fn scale(model_id: &str, revision_id: &str) -> Scale {
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

fn note(note: i32) -> Note {
    let wound = note <= 20;
    let winding = Winding { wire_id: "cu-1.00".to_owned(), bare_front_mm: 20.0, bare_back_mm: 20.0 };
    // 52 mm at the top, longer by 5.45 % with each semitone down, and no longer than the plate.
    let speaking_mm = (52.0 * 1.0545_f64.powi(88 - note)).min(1900.0);
    Note {
        note,
        section_id: if wound { "bass" } else { "treble" }.to_owned(),
        string_count: if note <= 8 {
            1
        } else if wound {
            2
        } else {
            3
        },
        speaking_mm: (speaking_mm * 10.0).round() / 10.0,
        front_mm: 120.0,
        back_mm: 150.0,
        wire_id: if note <= 40 {
            "mw-in-19"
        } else if note <= 64 {
            "mw-in-16"
        } else {
            "mw-in-13"
        }
        .to_owned(),
        windings: if wound { vec![winding] } else { vec![] },
        ..Note::default()
    }
}

/// A job on "grand/a".
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

/// Asserts code and reason of an error.
#[track_caller]
pub(crate) fn assert_refused<T: std::fmt::Debug>(
    result: Result<T, Status>,
    code: Code,
    reason: &str,
) -> Status {
    let status = result.unwrap_err();
    let info = status.get_details_error_info().unwrap_or_else(|| panic!("no ErrorInfo in {status:?}"));
    assert_eq!(
        (status.code(), info.reason.as_str(), info.domain.as_str()),
        (code, reason, "becket"),
        "{status:?}"
    );
    status
}

/// Asserts that a request is refused for exactly these fields.
#[track_caller]
pub(crate) fn assert_faults<T: std::fmt::Debug>(result: Result<T, Status>, fields: &[&str]) {
    let status = assert_refused(result, Code::InvalidArgument, "FIELD_INVALID");
    let found = status.get_details_bad_request().unwrap().field_violations;
    let found: Vec<&str> = found.iter().map(|violation| violation.field.as_str()).collect();
    assert_eq!(found, fields, "{status:?}");
}

/// A value of an error's metadata.
#[track_caller]
pub(crate) fn meta(status: &Status, key: &str) -> String {
    status.get_details_error_info().unwrap().metadata[key].clone()
}
