//! String sets that are sent as the bytes that they are kept as.
//!
//! Decoding a kept answer only to let the server encode it again would take several times what all the rest of a call takes.
//! So the methods whose answers are kept are served here, with a body that sends bytes as they are; every other method of the
//! service goes on to the generated server. Messages stay plain for clients, and what holds for every call (deadline, admission, error
//! details, logging) is put around this service as around all others.

use std::convert::Infallible;
use std::marker::PhantomData;
use std::pin::Pin;
use std::sync::{Arc, OnceLock};
use std::task::{Context, Poll};

use becket_api::stringing::ComputeJobSetsRequest;
use becket_api::stringing::string_set_service_server::{self, StringSetServiceServer};
use becket_service_kit::{Deadline, LimitSettings};
use prost::Message;
use prost::bytes::{BufMut, Bytes};
use tonic::body::Body;
use tonic::codec::{Codec, EncodeBuf, Encoder};
use tonic::codegen::{BoxFuture, Service, http};
use tonic::server::{Grpc, NamedService, ServerStreamingService, UnaryService};
use tonic::{Request, Response, Status};
use tonic_prost::ProstDecoder;

use super::Handlers;
use crate::app::App;
use crate::error::UseCaseError;
use crate::frame::message_of;
use crate::use_cases::JobSetStream;

const GET_STRING_SET: &str = "/becket.stringing.v1.StringSetService/GetStringSet";
const COMPUTE_STRING_SET: &str = "/becket.stringing.v1.StringSetService/ComputeStringSet";
const COMPUTE_JOB_SETS: &str = "/becket.stringing.v1.StringSetService/ComputeJobSets";

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

    /// Answers a call with the frame that `answer` gives.
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
        let mut grpc = self.grpc(ReadyCodec::<Q, Nothing>(PhantomData));
        let most = self.max_response_bytes;
        Box::pin(async move {
            let ready = Arc::new(OnceLock::new());
            let method =
                Method { answer: Some(move |request| answer(app, request)), ready: Arc::clone(&ready), most };
            let response = grpc.unary(method, request).await;
            Ok(match ready.get() {
                Some(frame) => response.map(|_| Body::new(ReadyBody::new(Bytes::clone(frame)))),
                None => response,
            })
        })
    }

    fn grpc<C: Codec>(&self, codec: C) -> Grpc<C> {
        let (requests, responses) = (self.max_request_bytes, self.max_response_bytes);
        Grpc::new(codec).apply_max_message_size_config(Some(requests), Some(responses))
    }

    /// Answers a call with a stream of encoded messages.
    fn stream(&self, request: http::Request<Body>) -> BoxFuture<http::Response<Body>, Infallible> {
        let mut grpc = self.grpc(ReadyCodec::<ComputeJobSetsRequest, Encoded>(PhantomData));
        let method = JobSets { app: Arc::clone(&self.app) };
        Box::pin(async move { Ok(grpc.server_streaming(method, request).await) })
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
            COMPUTE_JOB_SETS => self.stream(request),
            _ => self.others.call(request),
        }
    }
}

/// A method that is called once. The library reads the request and makes the headers of the answer; the frame goes past its
/// encoder, which would copy it.
struct Method<A> {
    answer: Option<A>,
    /// Where the frame is put.
    ready: Arc<OnceLock<Bytes>>,
    /// Most bytes of a message.
    most: usize,
}

impl<Q, A, F> UnaryService<Q> for Method<A>
where
    A: FnOnce(Q) -> F,
    F: Future<Output = Result<Bytes, UseCaseError>> + Send + 'static,
{
    type Response = ();
    type Future = BoxFuture<Response<()>, Status>;

    fn call(&mut self, request: Request<Q>) -> Self::Future {
        let answer = self.answer.take().map(|answer| answer(request.into_inner()));
        let (ready, most) = (Arc::clone(&self.ready), self.most);
        Box::pin(async move {
            let Some(answer) = answer else {
                let text = "a method was called twice for one request";
                return Err(UseCaseError::Internal(text.to_owned()).into());
            };
            let frame = answer.await?;
            let found = message_of(&frame).len();
            if found > most {
                let text =
                    format!("the message is too large: found {found} bytes, the limit is: {most} bytes");
                return Err(Status::resource_exhausted(text));
            }
            // It is empty until now, since the method is called once.
            let _ = ready.set(frame);
            Ok(Response::new(()))
        })
    }
}

/// The method whose messages are encoded where they are computed.
struct JobSets {
    app: Arc<App>,
}

impl ServerStreamingService<ComputeJobSetsRequest> for JobSets {
    type Response = Bytes;
    type ResponseStream = JobSetStream;
    type Future = BoxFuture<Response<JobSetStream>, Status>;

    fn call(&mut self, request: Request<ComputeJobSetsRequest>) -> Self::Future {
        let (app, deadline) = (Arc::clone(&self.app), Deadline::stated(&request));
        Box::pin(async move { Ok(Response::new(app.compute_job_sets(request.into_inner(), deadline)?)) })
    }
}

/// Takes a message, and encodes by `E`: nothing, where the frame is made elsewhere, or messages that are encoded already.
struct ReadyCodec<Q, E>(PhantomData<(Q, E)>);

impl<Q, E> Codec for ReadyCodec<Q, E>
where
    Q: Message + Default + 'static,
    E: Encoder<Error = Status> + Default + Send + 'static,
    E::Item: Send + 'static,
{
    type Encode = E::Item;
    type Decode = Q;
    type Encoder = E;
    type Decoder = ProstDecoder<Q>;

    fn encoder(&mut self) -> E {
        E::default()
    }

    fn decoder(&mut self) -> ProstDecoder<Q> {
        ProstDecoder::default()
    }
}

#[derive(Default)]
struct Nothing;

impl Encoder for Nothing {
    type Item = ();
    type Error = Status;

    fn encode(&mut self, (): (), _: &mut EncodeBuf<'_>) -> Result<(), Status> {
        Ok(())
    }
}

#[derive(Default)]
struct Encoded;

impl Encoder for Encoded {
    type Item = Bytes;
    type Error = Status;

    fn encode(&mut self, message: Bytes, to: &mut EncodeBuf<'_>) -> Result<(), Status> {
        to.put(message);
        Ok(())
    }
}

/// One frame and the trailers of success.
struct ReadyBody {
    frame: Option<Bytes>,
    ended: bool,
}

impl ReadyBody {
    fn new(frame: Bytes) -> Self {
        Self { frame: Some(frame), ended: false }
    }
}

impl http_body::Body for ReadyBody {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<http_body::Frame<Bytes>, Status>>> {
        if let Some(frame) = self.frame.take() {
            return Poll::Ready(Some(Ok(http_body::Frame::data(frame))));
        }
        if std::mem::replace(&mut self.ended, true) {
            return Poll::Ready(None);
        }
        let mut trailers = http::HeaderMap::new();
        trailers.insert("grpc-status", http::HeaderValue::from_static("0"));
        Poll::Ready(Some(Ok(http_body::Frame::trailers(trailers))))
    }

    fn is_end_stream(&self) -> bool {
        self.ended
    }
}
