//! A network that breaks: a relay between two programs that can be cut, slowed down or left half-open.

use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream, UnixListener, UnixStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// How the network is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weather {
    /// As it should be.
    Fair,
    /// Connections are closed, and new ones too.
    Cut,
    /// Whatever comes is passed on this much later.
    Slow(Duration),
    /// Connections stay open and are accepted, and nothing arrives any more. Those that were open then stay so for good, as when a
    /// router forgets them; only new ones work again in fair weather.
    HalfOpen,
}

/// A relay. It ends when it is dropped.
#[derive(Debug)]
pub(crate) struct Proxy {
    weather: watch::Sender<Weather>,
    accepting: JoinHandle<()>,
}

/// Where connections come in or go out.
enum Listener {
    Tcp(TcpListener),
    Unix(UnixListener),
}

#[derive(Debug, Clone)]
enum Target {
    Tcp(SocketAddr),
    Unix(PathBuf),
}

impl Proxy {
    /// Relays from a free port of its own to another one.
    pub(crate) async fn tcp(target: SocketAddr) -> (Self, SocketAddr) {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port is free");
        let address = listener.local_addr().expect("it has an address");
        (Self::start(Listener::Tcp(listener), Target::Tcp(target)), address)
    }

    /// Relays from a socket in one folder to the one in another, both named as PostgreSQL names them.
    pub(crate) fn postgres(folder: &Path, target: &Path) -> Self {
        const NAME: &str = ".s.PGSQL.5432";
        let listener = UnixListener::bind(folder.join(NAME)).expect("a socket can be made");
        Self::start(Listener::Unix(listener), Target::Unix(target.join(NAME)))
    }

    fn start(listener: Listener, target: Target) -> Self {
        let (weather, seen) = watch::channel(Weather::Fair);
        let accepting = tokio::spawn(async move {
            loop {
                let (seen, target) = (seen.clone(), target.clone());
                match &listener {
                    Listener::Tcp(listener) => {
                        let Ok((inner, _)) = listener.accept().await else { return };
                        tokio::spawn(relay(inner, target, seen));
                    }
                    Listener::Unix(listener) => {
                        let Ok((inner, _)) = listener.accept().await else { return };
                        tokio::spawn(relay(inner, target, seen));
                    }
                }
            }
        });
        Self { weather, accepting }
    }

    /// Changes the weather for all connections.
    pub(crate) fn set(&self, weather: Weather) {
        self.weather.send_replace(weather);
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.accepting.abort();
    }
}

async fn relay<S>(inner: S, target: Target, weather: watch::Receiver<Weather>)
where
    S: AsyncRead + AsyncWrite + Send + Unpin + 'static,
{
    let now = *weather.borrow();
    match now {
        Weather::Cut => return,
        Weather::HalfOpen => return hold(inner, weather).await,
        Weather::Fair | Weather::Slow(_) => {}
    }
    match target {
        Target::Tcp(address) => {
            let Ok(outer) = TcpStream::connect(address).await else { return };
            // Small messages are not to wait for each other: that would be another fault.
            drop(outer.set_nodelay(true));
            both(inner, outer, &weather).await;
        }
        Target::Unix(path) => {
            let Ok(outer) = UnixStream::connect(path).await else { return };
            both(inner, outer, &weather).await;
        }
    }
}

/// Passes on in both directions until one side closes, or the network breaks.
async fn both<A, B>(inner: A, outer: B, weather: &watch::Receiver<Weather>)
where
    A: AsyncRead + AsyncWrite + Send + Unpin + 'static,
    B: AsyncRead + AsyncWrite + Send + Unpin + 'static,
{
    let (inner_read, inner_write) = tokio::io::split(inner);
    let (outer_read, outer_write) = tokio::io::split(outer);
    let (there, back) = (weather.clone(), weather.clone());
    tokio::select! {
        _ = pass(inner_read, outer_write, there) => {}
        _ = pass(outer_read, inner_write, back) => {}
    }
}

/// Keeps a connection open and passes nothing on, until a cut closes it.
async fn hold<S>(held: S, mut weather: watch::Receiver<Weather>) {
    // An error says that the proxy is gone, which ends it, too.
    drop(weather.wait_for(|weather| *weather == Weather::Cut).await);
    drop(held);
}

fn is_broken(weather: &Weather) -> bool {
    matches!(weather, Weather::Cut | Weather::HalfOpen)
}

async fn pass(
    mut from: impl AsyncRead + Unpin,
    mut to: impl AsyncWrite + Unpin,
    mut weather: watch::Receiver<Weather>,
) -> io::Result<()> {
    let mut buffer = vec![0; 16 * 1024];
    loop {
        let read = tokio::select! {
            read = from.read(&mut buffer) => read?,
            _ = weather.wait_for(is_broken) => 0,
        };
        let now = *weather.borrow();
        if now == Weather::HalfOpen {
            hold((), weather).await;
            return Ok(());
        }
        if read == 0 {
            return Ok(());
        }
        if let Weather::Slow(time) = now {
            tokio::time::sleep(time).await;
        }
        to.write_all(&buffer[..read]).await?;
    }
}
