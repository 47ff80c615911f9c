//! Calls of bytes: a client that neither encodes nor decodes, so that what it costs is the same whomever it calls, and a
//! bare service that answers with so many bytes.

use std::convert::Infallible;
use std::task::{Context, Poll};

use bytes::{Buf, BufMut, Bytes};
use tonic::Status;
use tonic::body::Body;
use tonic::client::Grpc;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::codegen::http::uri::PathAndQuery;
use tonic::codegen::{BoxFuture, Service, http};
use tonic::server::{NamedService, UnaryService};
use tonic::transport::{Channel, Endpoint};

/// Messages as they are.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Raw;

impl Codec for Raw {
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

impl Encoder for Raw {
    type Item = Bytes;
    type Error = Status;

    fn encode(&mut self, item: Bytes, into: &mut EncodeBuf<'_>) -> Result<(), Status> {
        into.put(item);
        Ok(())
    }
}

impl Decoder for Raw {
    type Item = Bytes;
    type Error = Status;

    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<Bytes>, Status> {
        Ok(Some(from.copy_to_bytes(from.remaining())))
    }
}

/// Answers every call with the same bytes.
#[derive(Clone, Debug)]
pub(crate) struct Echo(pub(crate) Bytes);

impl NamedService for Echo {
    const NAME: &'static str = "bench.Echo";
}

impl UnaryService<Bytes> for Echo {
    type Response = Bytes;
    type Future = BoxFuture<tonic::Response<Bytes>, Status>;

    fn call(&mut self, _: tonic::Request<Bytes>) -> Self::Future {
        let reply = self.0.clone();
        Box::pin(async move { Ok(tonic::Response::new(reply)) })
    }
}

impl Service<http::Request<Body>> for Echo {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<Self::Response, Infallible>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        let echo = self.clone();
        Box::pin(async move { Ok(tonic::server::Grpc::new(Raw).unary(echo, request).await) })
    }
}

/// A method and the bytes it is called with.
#[derive(Clone, Debug)]
pub(crate) struct Call {
    pub(crate) path: PathAndQuery,
    pub(crate) request: Bytes,
}

impl Call {
    pub(crate) fn new(path: &'static str, request: &impl prost::Message) -> Self {
        Self {
            path: PathAndQuery::from_static(path),
            request: request.encode_to_vec().into(),
        }
    }
}

/// One connection.
#[derive(Clone, Debug)]
pub(crate) struct Client(Grpc<Channel>);

impl Client {
    pub(crate) async fn connect(address: std::net::SocketAddr) -> Result<Self, String> {
        let endpoint = Endpoint::from_shared(format!("http://{address}")).map_err(|error| error.to_string())?;
        let channel = endpoint.connect().await.map_err(|error| error.to_string())?;
        Ok(Self(Grpc::new(channel)))
    }

    /// One that takes so many bytes of a stream before it is read.
    pub(crate) async fn with_window(address: std::net::SocketAddr, bytes: u32) -> Result<Self, String> {
        let endpoint = Endpoint::from_shared(format!("http://{address}")).map_err(|error| error.to_string())?;
        let endpoint = endpoint.initial_stream_window_size(bytes);
        let channel = endpoint.connect().await.map_err(|error| error.to_string())?;
        Ok(Self(Grpc::new(channel)))
    }

    pub(crate) async fn call(&mut self, call: &Call) -> Result<Bytes, String> {
        self.0.ready().await.map_err(|error| error.to_string())?;
        let request = tonic::Request::new(call.request.clone());
        let reply = self.0.unary(request, call.path.clone(), Raw).await;
        reply
            .map(tonic::Response::into_inner)
            .map_err(|status| status.to_string())
    }

    /// Both directions as streams.
    pub(crate) async fn stream(
        &mut self,
        path: &'static str,
        requests: impl tokio_stream::Stream<Item = Bytes> + Send + 'static,
    ) -> Result<tonic::Streaming<Bytes>, String> {
        self.0.ready().await.map_err(|error| error.to_string())?;
        let request = tonic::Request::new(requests);
        let replies = self.0.streaming(request, PathAndQuery::from_static(path), Raw).await;
        replies
            .map(tonic::Response::into_inner)
            .map_err(|status| status.to_string())
    }
}
