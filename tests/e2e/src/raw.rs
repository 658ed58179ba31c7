//! Calls of any method by its descriptor, with bytes in and bytes out.

use std::time::Duration;

use becket_api::DESCRIPTORS;
use http::uri::{InvalidUri, PathAndQuery};
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use prost::bytes::{Buf, BufMut, Bytes};
use prost_reflect::{DescriptorError, DescriptorPool, MessageDescriptor};
use tonic::body::Body;
use tonic::client::Grpc;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::{Request, Status};

use crate::client::LARGEST_ANSWER;

/// A method of the API.
#[derive(Debug, Clone)]
pub struct Method {
    /// Full name of its service, such as `becket.cutting.v1.CoilService`.
    pub service: String,
    /// Its path, such as `/becket.cutting.v1.CoilService/GetCoil`.
    pub path: String,
    /// Type of the request.
    pub request: MessageDescriptor,
    /// Type of the answer.
    pub answer: MessageDescriptor,
    /// Whether it answers with a stream.
    pub streams: bool,
}

/// All methods of the API, from the descriptors that reflection serves.
///
/// # Errors
/// If the descriptors are damaged.
pub fn methods() -> Result<Vec<Method>, DescriptorError> {
    let pool = DescriptorPool::decode(DESCRIPTORS)?;
    let ours = pool.services().filter(|service| service.full_name().starts_with("becket."));
    Ok(ours
        .flat_map(|service| {
            let methods: Vec<_> = service.methods().collect();
            methods.into_iter().map(move |method| Method {
                service: service.full_name().to_owned(),
                path: format!("/{}/{}", service.full_name(), method.name()),
                request: method.input(),
                answer: method.output(),
                streams: method.is_server_streaming(),
            })
        })
        .collect())
}

/// Takes and gives messages as they are on the wire.
#[derive(Debug, Clone, Copy, Default)]
pub struct RawCodec;

impl Codec for RawCodec {
    type Encode = Bytes;
    type Decode = Bytes;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for RawCodec {
    type Item = Bytes;
    type Error = Status;

    fn encode(&mut self, item: Bytes, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.put(item);
        Ok(())
    }
}

impl Decoder for RawCodec {
    type Item = Bytes;
    type Error = Status;

    fn decode(&mut self, buffer: &mut DecodeBuf<'_>) -> Result<Option<Bytes>, Status> {
        let length = buffer.remaining();
        Ok(Some(buffer.copy_to_bytes(length)))
    }
}

/// A client that sends what it is given and keeps no time of its own: deadlines travel to the server, which alone must
/// heed them.
#[derive(Debug, Clone)]
pub struct RawClient(Grpc<Client<HttpConnector, Body>>);

impl RawClient {
    /// Prepares a connection, which is made with the first call.
    ///
    /// # Errors
    /// If the text is not an address.
    pub fn new(url: &str) -> Result<Self, InvalidUri> {
        let client = Client::builder(TokioExecutor::new()).http2_only(true).build_http();
        let grpc = Grpc::with_origin(client, url.parse()?);
        Ok(Self(grpc.max_decoding_message_size(LARGEST_ANSWER)))
    }

    /// Calls a method and returns its answer, of a stream the first message (empty if it ends without one).
    ///
    /// # Errors
    /// The status that the server answered, or UNAVAILABLE or UNKNOWN without details if the connection failed.
    pub async fn call(
        &self,
        method: &Method,
        body: Bytes,
        deadline: Option<Duration>,
    ) -> Result<Bytes, Status> {
        let mut grpc = self.0.clone();
        let path = PathAndQuery::try_from(method.path.as_str())
            .map_err(|error| Status::internal(format!("{} is not a path: {error}", method.path)))?;
        let mut request = Request::new(body);
        if let Some(deadline) = deadline {
            request.set_timeout(deadline);
        }
        grpc.ready().await.map_err(|error| Status::unavailable(error.to_string()))?;
        if method.streams {
            let mut stream = grpc.server_streaming(request, path, RawCodec).await?.into_inner();
            return Ok(stream.message().await?.unwrap_or_default());
        }
        Ok(grpc.unary(request, path, RawCodec).await?.into_inner())
    }
}
