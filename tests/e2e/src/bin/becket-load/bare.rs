//! A gRPC service that looks at nothing and sends bytes that are ready.

use std::convert::Infallible;
use std::future::{Future, Ready, ready};
use std::pin::Pin;
use std::task::{Context, Poll};

use becket_e2e::raw::RawCodec;
use prost::bytes::Bytes;
use tokio::net::TcpListener;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::TcpListenerStream;
use tonic::body::Body;
use tonic::codegen::Service;
use tonic::server::{Grpc, NamedService};
use tonic::{Request, Response, Status};

use crate::Failure;
use crate::service::Prepared;

/// Path of the method that sends the set of the open serial; a path that is none of these sends that of the frozen one.
pub(crate) const OPEN: &str = "/bare.Bytes/Open";
/// Path of the method that sends the set of the frozen serial.
pub(crate) const FROZEN: &str = "/bare.Bytes/Frozen";
/// Path of the method that sends the set of a scale.
pub(crate) const COMPUTED: &str = "/bare.Bytes/Computed";

#[derive(Clone)]
struct Bare(Prepared);

impl NamedService for Bare {
    const NAME: &'static str = "bare.Bytes";
}

impl Service<http::Request<Body>> for Bare {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Self::Response, Infallible>> + Send>>;

    fn poll_ready(&mut self, _context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        let exchange = match request.uri().path() {
            OPEN => &self.0.open,
            COMPUTED => &self.0.computed,
            _ => &self.0.frozen,
        };
        let method = Prompt(exchange.answer.clone());
        Box::pin(async move { Ok(Grpc::new(RawCodec).unary(method, request).await) })
    }
}

/// The method: its answer is there before the request.
struct Prompt(Bytes);

impl Service<Request<Bytes>> for Prompt {
    type Response = Response<Bytes>;
    type Error = Status;
    type Future = Ready<Result<Response<Bytes>, Status>>;

    fn poll_ready(&mut self, _context: &mut Context<'_>) -> Poll<Result<(), Status>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, _request: Request<Bytes>) -> Self::Future {
        ready(Ok(Response::new(self.0.clone())))
    }
}

/// Starts the service, which runs until its runtime ends, and returns its address.
pub(crate) async fn start(prepared: Prepared) -> Result<String, Failure> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let url = format!("http://{}", listener.local_addr()?);
    // As the measured service does it: an answer does not wait for more to send.
    let connections = TcpListenerStream::new(listener)
        .map(|accepted| accepted.and_then(|stream| stream.set_nodelay(true).map(|()| stream)));
    let server = tonic::transport::Server::builder().add_service(Bare(prepared));
    tokio::spawn(server.serve_with_incoming(connections));
    Ok(url)
}
