//! Both services in this process.

use std::sync::Arc;

use becket_e2e::Shop;
use becket_service_kit::{
    LimitSettings, Protection, ServeError, ServerParts, ServiceLink, Settings, SystemClock, serve,
};
use becket_store_sqlite::{OpenMode, SqliteStore};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;

use crate::Failure;

/// Both services, running, and a client.
pub(crate) struct Running {
    pub(crate) shop: Shop,
    shutdown: CancellationToken,
    serving: JoinHandle<Result<(), ServeError>>,
    _folder: TempDir,
}

impl Running {
    /// Starts with the limits that are compiled in, changed by `change`.
    pub(crate) async fn start(change: impl FnOnce(&mut LimitSettings)) -> Result<Self, Failure> {
        let mut limits = Settings::load(None, [])?.limits;
        change(&mut limits);
        let folder = tempfile::tempdir()?;
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let url = format!("http://{}", listener.local_addr()?);
        let store = SqliteStore::open(&folder.path().join("becket.db"), OpenMode::CreateNew).await?;
        let mut routes = Routes::builder();
        let deps = becket_stringing::Deps {
            limits: limits.clone(),
            store: Arc::new(store.clone()),
            clock: Arc::new(SystemClock),
        };
        becket_stringing::register(&mut routes, deps).await?;
        let deps = becket_cutting::Deps {
            limits: limits.clone(),
            store: Arc::new(store),
            clock: Arc::new(SystemClock),
            stringing: ServiceLink::at(url.clone()),
        };
        becket_cutting::register(&mut routes, deps).await?;
        let shutdown = CancellationToken::new();
        let parts = ServerParts {
            routes: routes.routes(),
            listener,
            service_names: [&becket_stringing::SERVICE_NAMES[..], &becket_cutting::SERVICE_NAMES[..]]
                .concat(),
            limits,
            protection: Protection::default(),
            local: None,
            shutdown: shutdown.clone(),
        };
        let serving = tokio::spawn(serve(parts));
        let shop = Shop::connect(&url).await?;
        Ok(Self { shop, shutdown, serving, _folder: folder })
    }

    pub(crate) async fn stop(self) -> Result<(), Failure> {
        self.shutdown.cancel();
        Ok(self.serving.await??)
    }
}
