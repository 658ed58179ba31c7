//! A connection that can be cut off.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, DuplexStream, ReadBuf};
use tokio::net::TcpStream;
use tokio::sync::OwnedSemaphorePermit;
use tokio::time::Sleep;
use tokio_rustls::server::TlsStream;
use tokio_util::sync::WaitForCancellationFutureOwned;
use tonic::transport::server::Connected;

use super::peer::Peer;

/// The ways to connect.
pub(crate) enum Transport {
    /// Plain TCP.
    Plain(TcpStream),
    /// TLS over TCP.
    Tls(Box<TlsStream<TcpStream>>),
    /// Within the process.
    Local(DuplexStream),
}

macro_rules! each {
    ($self:expr, $stream:ident => $then:expr) => {
        match &mut $self.transport {
            Transport::Plain($stream) => $then,
            Transport::Tls($stream) => $then,
            Transport::Local($stream) => $then,
        }
    };
}

/// A connection that fails once it is cut, or if its client says nothing at first. The server library runs connections as
/// tasks of their own that nobody else can end, so the hard stop at the end of the grace period goes through the connection.
pub(crate) struct Connection {
    transport: Transport,
    peer: Peer,
    // Boxed, because the library asks for a connection that may be moved.
    cut: Pin<Box<WaitForCancellationFutureOwned>>,
    /// Until when the client must have said something; none after that.
    first_word: Option<Pin<Box<Sleep>>>,
    /// The place among all connections that this one takes.
    _places: Vec<OwnedSemaphorePermit>,
}

impl Connection {
    pub(crate) fn new(
        transport: Transport,
        peer: Peer,
        cut: WaitForCancellationFutureOwned,
        patience: Duration,
        places: Vec<OwnedSemaphorePermit>,
    ) -> Self {
        let first_word = Some(Box::pin(tokio::time::sleep(patience)));
        Self { transport, peer, cut: Box::pin(cut), first_word, _places: places }
    }

    /// Fails once the connection is cut. Polling it registers the task, so that a cut wakes it.
    fn check(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        match self.cut.as_mut().poll(cx) {
            Poll::Ready(()) => {
                Err(io::Error::new(io::ErrorKind::ConnectionAborted, "the service has stopped"))
            }
            Poll::Pending => Ok(()),
        }
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.check(cx)?;
        let read = each!(self, stream => Pin::new(stream).poll_read(cx, buf));
        if read.is_ready() {
            self.first_word = None;
        } else if let Some(patience) = &mut self.first_word
            && patience.as_mut().poll(cx).is_ready()
        {
            return Poll::Ready(Err(io::Error::new(io::ErrorKind::TimedOut, "the client said nothing")));
        }
        read
    }
}

impl AsyncWrite for Connection {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        self.check(cx)?;
        each!(self, stream => Pin::new(stream).poll_write(cx, buf))
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        each!(self, stream => Pin::new(stream).poll_flush(cx))
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        each!(self, stream => Pin::new(stream).poll_shutdown(cx))
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.check(cx)?;
        each!(self, stream => Pin::new(stream).poll_write_vectored(cx, bufs))
    }

    fn is_write_vectored(&self) -> bool {
        match &self.transport {
            Transport::Plain(stream) => stream.is_write_vectored(),
            Transport::Tls(stream) => stream.is_write_vectored(),
            Transport::Local(stream) => stream.is_write_vectored(),
        }
    }
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        self.peer.clone()
    }
}
