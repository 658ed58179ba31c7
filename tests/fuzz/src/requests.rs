//! The request of every method, through decoding, conversion and use case, with the demo's shop in a SQLite file.

use std::sync::{Arc, OnceLock};
use std::time::Duration;

use becket_api::errors::ErrorReason;
use becket_e2e::random::{Random, message};
use becket_e2e::raw::{Method, RawClient, methods};
use becket_e2e::{Shop, reason};
use becket_service_kit::{LimitSettings, ServiceLink, Settings, SystemClock};
use becket_store_sqlite::{OpenMode, SqliteStore};
use prost::Message as _;
use prost::bytes::Bytes;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio_util::sync::CancellationToken;
use tonic::Code;

/// Nothing may take longer.
const LONGEST: Duration = Duration::from_secs(5);

/// Both services in this process, and what speaks to them.
struct World {
    runtime: Runtime,
    methods: Vec<Method>,
    stringing: RawClient,
    cutting: RawClient,
    _folder: TempDir,
}

/// The path of a method, a line break, and the bytes of its request. Bytes without a known path say nothing.
pub fn requests(data: &[u8]) {
    let Some(at) = data.iter().position(|byte| *byte == b'\n') else { return };
    let (path, body) = (&data[..at], &data[at + 1..]);
    let world = world();
    let Some(method) = world.methods.iter().find(|method| method.path.as_bytes() == path) else { return };
    let client = if method.service.contains(".cutting.") { &world.cutting } else { &world.stringing };
    let call = client.call(method, Bytes::copy_from_slice(body), None);
    let answered = world.runtime.block_on(async { tokio::time::timeout(LONGEST, call).await });
    match answered {
        Err(_) => panic!("{}: no answer within {LONGEST:?}", method.path),
        Ok(Ok(_)) => {}
        Ok(Err(status)) => {
            let improper = [Code::Internal, Code::Unknown, Code::DataLoss, Code::Unimplemented];
            assert!(!improper.contains(&status.code()), "{}: {status:?}", method.path);
            let reason = reason(&status).unwrap_or_default();
            let known = ErrorReason::from_str_name(&format!("ERROR_REASON_{reason}"));
            assert!(known.is_some(), "{}: no reason that has a page: {status:?}", method.path);
        }
    }
}

/// Two inputs for each method, to begin with: an empty request and a random one.
#[must_use]
pub fn seeds(seed: u64) -> Vec<(String, Vec<u8>)> {
    let mut random = Random::new(seed);
    let mut seeds = Vec::new();
    for method in methods().expect("the descriptors are sound") {
        let name = method.path.rsplit('/').next().unwrap_or_default().to_owned();
        let head = format!("{}\n", method.path).into_bytes();
        seeds.push((format!("{name}-empty"), head.clone()));
        // Small ones: the corpus is part of the project.
        let bodies = std::iter::repeat_with(|| message(&method.request, &mut random).encode_to_vec());
        if let Some(body) = bodies.take(50).find(|body| (1..600).contains(&body.len())) {
            seeds.push((format!("{name}-random"), [head, body].concat()));
        }
    }
    seeds
}

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| {
        let runtime = Runtime::new().expect("threads can be started");
        let folder = tempfile::tempdir().expect("a folder can be made");
        let path = folder.path().join("becket.db");
        let (stringing, cutting) = runtime.block_on(serve(&path));
        let client = |url: &str| RawClient::new(url).expect("an address");
        World {
            methods: methods().expect("the descriptors are sound"),
            stringing: client(&stringing),
            cutting: client(&cutting),
            runtime,
            _folder: folder,
        }
    })
}

/// Serves both services with the demo's shop, and returns their addresses.
async fn serve(path: &std::path::Path) -> (String, String) {
    let store = SqliteStore::open(path, OpenMode::OpenOrCreate).await.expect("a file can be made");
    let limits: LimitSettings = Settings::load(None, []).expect("the defaults are sound").limits;
    let clock = Arc::new(SystemClock);
    let strings = TcpListener::bind("127.0.0.1:0").await.expect("a port is free");
    let cuts = TcpListener::bind("127.0.0.1:0").await.expect("a port is free");
    let url = |listener: &TcpListener| format!("http://{}", listener.local_addr().expect("it is bound"));
    let (stringing, cutting) = (url(&strings), url(&cuts));
    let parts = becket_stringing::Parts {
        limits: limits.clone(),
        listener: strings,
        store: Arc::new(store.clone()),
        clock: Arc::clone(&clock) as _,
        shutdown: CancellationToken::new(),
    };
    tokio::spawn(becket_stringing::run(parts));
    let link = ServiceLink::at(stringing.clone());
    let deps = becket_cutting::Deps { limits, store: Arc::new(store), clock, stringing: link };
    let parts = becket_cutting::Parts { deps, listener: cuts, shutdown: CancellationToken::new() };
    tokio::spawn(becket_cutting::run(parts));
    let mut shop = Shop::lazy(&stringing, &cutting).expect("addresses");
    shop.load().await.expect("the shop can be loaded");
    (stringing, cutting)
}
