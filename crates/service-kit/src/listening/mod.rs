//! Accepting connections: plain, with TLS, and from within the process.

mod connection;
mod peer;
mod tls;

use std::collections::HashMap;
use std::io;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio_rustls::TlsAcceptor;
use tokio_stream::Stream;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;

use crate::link::LocalDoor;
use connection::Transport;

pub(crate) use connection::Connection;
pub use peer::Peer;
pub use tls::TlsError;
pub(crate) use tls::TlsKeys;

/// Connections that are accepted and wait for the server to take them.
const QUEUE: usize = 64;
/// Addresses that are remembered without looking which of them still have a connection.
const REMEMBERED: usize = 128;
/// Pause after the system refuses to hand over a connection, as when there are no file descriptors left.
const PAUSE: Duration = Duration::from_millis(50);

/// How connections are accepted.
#[derive(Debug, Clone)]
pub(crate) struct Listening {
    /// Certificates, if connections are encrypted.
    pub(crate) tls: Option<Arc<TlsKeys>>,
    /// Time for the handshake, and then for the first word.
    pub(crate) patience: Duration,
    /// Most connections at a time.
    pub(crate) most: usize,
    /// Most connections at a time from one address.
    pub(crate) most_of_one: usize,
}

/// Accepts connections until `shutdown` is cancelled. Those beyond the limits are closed at once.
pub(crate) fn connections(
    listening: Listening,
    listener: TcpListener,
    local: Option<LocalDoor>,
    shutdown: CancellationToken,
    cut: CancellationToken,
) -> impl Stream<Item = io::Result<Connection>> {
    let (sender, receiver) = mpsc::channel(QUEUE);
    let places = Places {
        all: Arc::new(Semaphore::new(listening.most.min(Semaphore::MAX_PERMITS))),
        of: Arc::default(),
        most_of_one: listening.most_of_one,
    };
    tokio::spawn(accept(listening.clone(), listener, places, sender.clone(), shutdown.clone(), cut.clone()));
    if let Some(door) = local {
        tokio::spawn(admit_local(door, listening.patience, sender, shutdown, cut));
    }
    ReceiverStream::new(receiver)
}

async fn accept(
    listening: Listening,
    listener: TcpListener,
    places: Places,
    sender: mpsc::Sender<io::Result<Connection>>,
    shutdown: CancellationToken,
    cut: CancellationToken,
) {
    loop {
        let accepted = tokio::select! {
            () = shutdown.cancelled() => return,
            accepted = listener.accept() => accepted,
        };
        let (stream, address) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                tracing::warn!(%error, "a connection was not accepted");
                tokio::time::sleep(PAUSE).await;
                continue;
            }
        };
        let Some(taken) = places.take(address.ip()) else {
            tracing::warn!(%address, "a connection was closed, since there are too many");
            continue;
        };
        set_no_delay(&stream);
        let (listening, sender, cut) = (listening.clone(), sender.clone(), cut.clone());
        // A handshake takes its time, and others must not wait for it.
        tokio::spawn(async move {
            let mut peer = Peer { address: Some(address), ..Peer::default() };
            let transport = match &listening.tls {
                None => Transport::Plain(stream),
                Some(keys) => match handshake(keys, stream, listening.patience).await {
                    Ok(stream) => {
                        let shown = stream.get_ref().1.peer_certificates();
                        peer.certificate =
                            shown.and_then(|chain| chain.first()).map(|der| Arc::from(der.as_ref()));
                        Transport::Tls(Box::new(stream))
                    }
                    Err(error) => {
                        tracing::debug!(%address, %error, "a handshake failed");
                        return;
                    }
                },
            };
            let patience = listening.patience;
            let connection = Connection::new(transport, peer, cut.cancelled_owned(), patience, taken);
            // Nobody takes it once the server has ended; it is closed then.
            let _ = sender.send(Ok(connection)).await;
        });
    }
}

async fn handshake(
    keys: &TlsKeys,
    stream: TcpStream,
    patience: Duration,
) -> io::Result<tokio_rustls::server::TlsStream<TcpStream>> {
    let acceptor = TlsAcceptor::from(keys.current());
    tokio::time::timeout(patience, acceptor.accept(stream))
        .await
        .unwrap_or_else(|_| Err(io::Error::new(io::ErrorKind::TimedOut, "the handshake took too long")))
}

async fn admit_local(
    mut door: LocalDoor,
    patience: Duration,
    sender: mpsc::Sender<io::Result<Connection>>,
    shutdown: CancellationToken,
    cut: CancellationToken,
) {
    loop {
        let stream = tokio::select! {
            () = shutdown.cancelled() => return,
            stream = door.next() => stream,
        };
        let Some(stream) = stream else { return };
        let peer = Peer { same_process: true, ..Peer::default() };
        let cut = cut.clone().cancelled_owned();
        let connection = Connection::new(Transport::Local(stream), peer, cut, patience, Vec::new());
        if sender.send(Ok(connection)).await.is_err() {
            return;
        }
    }
}

/// Places for connections, in all and of each address.
struct Places {
    all: Arc<Semaphore>,
    of: Arc<Mutex<HashMap<IpAddr, Arc<Semaphore>>>>,
    most_of_one: usize,
}

impl Places {
    /// Takes a place; `None` if there is none. It is given back when what is returned is dropped.
    fn take(&self, address: IpAddr) -> Option<Vec<OwnedSemaphorePermit>> {
        let one = Arc::clone(&self.all).try_acquire_owned().ok()?;
        let mut of = self.of.lock().unwrap_or_else(PoisonError::into_inner);
        // Addresses of which no connection is left are forgotten, so that the map does not grow beyond the connections.
        if of.len() > REMEMBERED {
            of.retain(|_, places| places.available_permits() < self.most_of_one);
        }
        let places = of.entry(address).or_insert_with(|| Arc::new(Semaphore::new(self.most_of_one)));
        let other = Arc::clone(places).try_acquire_owned().ok()?;
        Some(vec![one, other])
    }
}

/// Answers are small and must not wait for more to send.
fn set_no_delay(stream: &TcpStream) {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "a connection keeps its delay");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    fn places(all: usize, most_of_one: usize) -> Places {
        Places { all: Arc::new(Semaphore::new(all)), of: Arc::default(), most_of_one }
    }

    fn address(last: u8) -> IpAddr {
        Ipv4Addr::new(192, 0, 2, last).into()
    }

    #[test]
    fn one_address_cannot_take_all_places() {
        let places = places(3, 2);
        let first = places.take(address(1)).unwrap();
        let _second = places.take(address(1)).unwrap();
        assert!(places.take(address(1)).is_none());
        let _third = places.take(address(2)).unwrap();
        assert!(places.take(address(3)).is_none(), "there are three in all");
        drop(first);
        assert!(places.take(address(1)).is_some());
    }

    #[test]
    fn addresses_that_are_gone_are_forgotten() {
        let places = places(10, 2);
        for round in 0..=255 {
            drop(places.take(address(round)));
            drop(places.take(IpAddr::from([10, 0, 0, round])));
        }
        let kept = places.of.lock().unwrap().len();
        assert!(kept < 200, "{kept}");
    }
}
