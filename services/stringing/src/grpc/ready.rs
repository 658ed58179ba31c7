//! String sets that are sent as the bytes that they are kept as.
//!
//! Decoding a kept answer only to let the server encode it again would take several times what all the rest of a call takes.
//! So the methods whose answers are kept are served here, with a codec that sends bytes; every other method of the service
//! goes on to the generated server. Messages stay plain for clients, and what holds for every call (deadline, admission, error
//! details, logging) is put around this service as around all others.

use std::convert::Infallible;
use std::marker::PhantomData;
use std::sync::Arc;
use std::task::{Context, Poll};

use becket_api::stringing::string_set_service_server::{self, StringSetServiceServer};
use becket_service_kit::LimitSettings;
use prost::Message;
use prost::bytes::{BufMut, Bytes};
use tonic::body::Body;
use tonic::codec::{Codec, EncodeBuf, Encoder};
use tonic::codegen::{BoxFuture, Service, http};
use tonic::server::{Grpc, NamedService, UnaryService};
use tonic::{Request, Response, Status};
use tonic_prost::ProstDecoder;

use super::Handlers;
use crate::app::App;
use crate::error::UseCaseError;

const GET_STRING_SET: &str = "/becket.stringing.v1.StringSetService/GetStringSet";
const COMPUTE_STRING_SET: &str = "/becket.stringing.v1.StringSetService/ComputeStringSet";

/// The service of string sets.
#[derive(Clone)]
pub(crate) struct ReadyAnswers {
    app: Arc<App>,
    max_request_bytes: usize,
    max_response_bytes: usize,
    others: StringSetServiceServer<Handlers>,
}

impl ReadyAnswers {
    pub(crate) fn new(handlers: &Handlers, limits: &LimitSettings) -> Self {
        let (max_request_bytes, max_response_bytes) = (limits.max_request_bytes, limits.max_response_bytes);
        let others = StringSetServiceServer::new(handlers.clone())
            .max_decoding_message_size(max_request_bytes)
            .max_encoding_message_size(max_response_bytes);
        Self { app: Arc::clone(&handlers.app), max_request_bytes, max_response_bytes, others }
    }

    /// Answers a call with the bytes that `answer` gives.
    fn answer<Q, F>(
        &self,
        request: http::Request<Body>,
        answer: impl FnOnce(Arc<App>, Q) -> F + Send + 'static,
    ) -> BoxFuture<http::Response<Body>, Infallible>
    where
        Q: Message + Default + 'static,
        F: Future<Output = Result<Bytes, UseCaseError>> + Send + 'static,
    {
        let app = Arc::clone(&self.app);
        let mut grpc = Grpc::new(ReadyCodec::<Q>(PhantomData))
            .apply_max_message_size_config(Some(self.max_request_bytes), Some(self.max_response_bytes));
        let method = Method(Some(|request| answer(app, request)));
        Box::pin(async move { Ok(grpc.unary(method, request).await) })
    }
}

impl NamedService for ReadyAnswers {
    const NAME: &'static str = string_set_service_server::SERVICE_NAME;
}

impl Service<http::Request<Body>> for ReadyAnswers {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<Self::Response, Infallible>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        // As the generated server, which is always ready.
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        match request.uri().path() {
            GET_STRING_SET => {
                self.answer(request, |app, request| async move { app.get_string_set(request).await })
            }
            COMPUTE_STRING_SET => {
                self.answer(request, |app, request| async move { app.compute_string_set(request).await })
            }
            _ => self.others.call(request),
        }
    }
}

/// A method that is called once.
struct Method<A>(Option<A>);

impl<Q, A, F> UnaryService<Q> for Method<A>
where
    A: FnOnce(Q) -> F,
    F: Future<Output = Result<Bytes, UseCaseError>> + Send + 'static,
{
    type Response = Bytes;
    type Future = BoxFuture<Response<Bytes>, Status>;

    fn call(&mut self, request: Request<Q>) -> Self::Future {
        let answer = self.0.take().map(|answer| answer(request.into_inner()));
        Box::pin(async move {
            match answer {
                Some(answer) => Ok(Response::new(answer.await?)),
                None => {
                    Err(UseCaseError::Internal("a method was called twice for one request".to_owned()).into())
                }
            }
        })
    }
}

/// Takes a message and gives bytes.
struct ReadyCodec<Q>(PhantomData<Q>);

impl<Q: Message + Default + 'static> Codec for ReadyCodec<Q> {
    type Encode = Bytes;
    type Decode = Q;
    type Encoder = AsItIs;
    type Decoder = ProstDecoder<Q>;

    fn encoder(&mut self) -> AsItIs {
        AsItIs
    }

    fn decoder(&mut self) -> ProstDecoder<Q> {
        ProstDecoder::default()
    }
}

/// Sends bytes as they are.
struct AsItIs;

impl Encoder for AsItIs {
    type Item = Bytes;
    type Error = Status;

    fn encode(&mut self, answer: Bytes, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.put(answer);
        Ok(())
    }
}
