//! The service under measurement, with the data of the demo.

use std::path::Path;
use std::sync::Arc;

use becket_api::stringing::compute_string_set_request::Source;
use becket_api::stringing::{
    ComputeStringSetRequest, FreezeStringSetRequest, GetJobRequest, GetStringSetRequest, ScaleReference,
};
use becket_e2e::{Shop, demo};
use becket_service_kit::{Settings, SystemClock};
use becket_store_sqlite::{OpenMode, SqliteStore};
use becket_stringing::{Parts, RunError};
use prost::Message as _;
use prost::bytes::Bytes;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::Failure;

/// Serial whose set follows from its inputs, and serial of the same model whose set is frozen.
const OPEN: &str = "C27-0107";
const FROZEN: &str = "C27-0108";

/// A running service.
pub(crate) struct Service {
    url: String,
    shutdown: CancellationToken,
    serving: JoinHandle<Result<(), RunError>>,
}

impl Service {
    pub(crate) async fn start(folder: &Path) -> Result<Self, Failure> {
        let limits = Settings::load(None, [])?.limits;
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let url = format!("http://{}", listener.local_addr()?);
        let store = Arc::new(SqliteStore::open(&folder.join("becket.db"), OpenMode::CreateNew).await?);
        let shutdown = CancellationToken::new();
        let parts =
            Parts { limits, listener, store, clock: Arc::new(SystemClock), shutdown: shutdown.clone() };
        Ok(Self { url, shutdown, serving: tokio::spawn(becket_stringing::run(parts)) })
    }

    pub(crate) fn url(&self) -> &str {
        &self.url
    }

    pub(crate) async fn stop(self) -> Result<(), Failure> {
        self.shutdown.cancel();
        Ok(self.serving.await??)
    }
}

/// One request and the answer that it must get.
#[derive(Debug, Clone)]
pub(crate) struct Exchange {
    pub(crate) request: Bytes,
    pub(crate) answer: Bytes,
}

/// What is asked for: the set of an open serial, that of a frozen one, and that of their scale as it is stored.
#[derive(Debug, Clone)]
pub(crate) struct Prepared {
    pub(crate) open: Exchange,
    pub(crate) frozen: Exchange,
    pub(crate) computed: Exchange,
}

/// Loads wires, scales and jobs, freezes one set, and takes down both answers.
pub(crate) async fn prepare(url: &str) -> Result<Prepared, Failure> {
    let mut shop = Shop::connect(url).await?;
    shop.load_wires().await?;
    shop.load_scale(demo::CONCERT).await?;
    shop.load_scale(demo::SMALL).await?;
    for job in demo::jobs()? {
        shop.open_job(job).await?;
    }
    let open = exchange(&mut shop, OPEN, false).await?;
    let set = GetStringSetRequest { serial_id: FROZEN.into() };
    let set = shop.sets.get_string_set(set).await?.into_inner().string_set.ok_or("no string set")?;
    let freeze = FreezeStringSetRequest {
        request_id: shop.request_id(),
        serial_id: FROZEN.into(),
        digest: set.digest,
    };
    shop.sets.freeze_string_set(freeze).await?;
    let frozen = exchange(&mut shop, FROZEN, true).await?;
    let computed = computed(&mut shop, OPEN).await?;
    Ok(Prepared { open, frozen, computed })
}

async fn exchange(shop: &mut Shop, serial: &str, frozen: bool) -> Result<Exchange, Failure> {
    let request = GetStringSetRequest { serial_id: serial.into() };
    let answer = shop.sets.get_string_set(request.clone()).await?.into_inner();
    if answer.string_set.as_ref().is_none_or(|set| set.frozen != frozen) {
        return Err(
            format!("the set of {serial} should be {}", if frozen { "frozen" } else { "open" }).into()
        );
    }
    Ok(Exchange { request: request.encode_to_vec().into(), answer: answer.encode_to_vec().into() })
}

/// The set of the scale of a serial, without the serial.
async fn computed(shop: &mut Shop, serial: &str) -> Result<Exchange, Failure> {
    let job = shop.jobs.get_job(GetJobRequest { serial_id: serial.into() }).await?.into_inner();
    let job = job.job.ok_or("no job")?;
    let scale = ScaleReference { model_id: job.model_id, revision_id: job.revision_id };
    let request =
        ComputeStringSetRequest { source: Some(Source::Stored(scale)), ..ComputeStringSetRequest::default() };
    let answer = shop.sets.compute_string_set(request.clone()).await?.into_inner();
    Ok(Exchange { request: request.encode_to_vec().into(), answer: answer.encode_to_vec().into() })
}
