//! A connection that can be cut off.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio_util::sync::WaitForCancellationFutureOwned;
use tonic::transport::server::{Connected, TcpConnectInfo};

/// A TCP connection that fails once it is cut. The server library runs connections as tasks of their own that
/// nobody else can end, so the hard stop at the end of the grace period goes through the connection.
pub(crate) struct GuardedIo {
    stream: TcpStream,
    // Boxed, because the library asks for a connection that may be moved.
    cut: Pin<Box<WaitForCancellationFutureOwned>>,
}

impl GuardedIo {
    pub(crate) fn new(stream: TcpStream, cut: WaitForCancellationFutureOwned) -> Self {
        Self { stream, cut: Box::pin(cut) }
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

impl AsyncRead for GuardedIo {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.check(cx)?;
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl AsyncWrite for GuardedIo {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        self.check(cx)?;
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.check(cx)?;
        Pin::new(&mut self.stream).poll_write_vectored(cx, bufs)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}

impl Connected for GuardedIo {
    type ConnectInfo = TcpConnectInfo;

    fn connect_info(&self) -> TcpConnectInfo {
        self.stream.connect_info()
    }
}
