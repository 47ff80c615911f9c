//! A server whose handlers do what a test asks for, and clients for it.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::time::Duration;

use axum::body::Body;
use axum::routing::{get, post};
use futures_util::{Stream, StreamExt as _, stream};
use http::{HeaderMap, Request, Response};
use http_body::Frame;
use http_body_util::{BodyExt as _, StreamBody};
use hyper_util::rt::{TokioExecutor, TokioIo};
use prost::Message;
use prost::bytes::{BufMut as _, Bytes, BytesMut};
use service::error::ServiceError;
use service::shell::{self, Settings};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::Status;
use tonic::transport::{Channel, Endpoint};
use wire::v1::run_service_client::RunServiceClient;
use wire::v1::{GetRunRequest, Run, WatchBenchRequest, WatchBenchResponse};

pub(crate) struct Server {
    pub(crate) address: SocketAddr,
    pub(crate) shutdown: CancellationToken,
    pub(crate) health: shell::Health,
    pub(crate) serving: JoinHandle<std::io::Result<()>>,
}

impl Drop for Server {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

pub(crate) async fn start(settings: Settings) -> Server {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (health, router) = router().await;
    let shutdown = CancellationToken::new();
    let serving = tokio::spawn(shell::serve(
        shell::Listener::Tcp(listener),
        router,
        settings,
        shutdown.clone(),
    ));
    Server {
        address,
        shutdown,
        health,
        serving,
    }
}

pub(crate) async fn router() -> (shell::Health, axum::Router) {
    let (health, health_service) = shell::health().await.unwrap();
    let routes = shell::with_reflection(tonic::service::Routes::new(health_service)).unwrap();
    let page = axum::Router::new()
        .route("/", get(async || "the page\n"))
        .route("/slow", get(async || tokio::time::sleep(Duration::from_secs(60)).await))
        .route("/springwright.v1.RunService/GetRun", post(get_run))
        .route("/springwright.v1.RunService/WatchBench", post(watch_bench));
    (health, shell::assemble(routes, page))
}

/// Does what the name of the run asks for.
async fn get_run(request: Request<Body>) -> Response<Body> {
    let run: GetRunRequest = read(request).await;
    match run.name.as_str() {
        "runs/slow" => tokio::time::sleep(Duration::from_secs(60)).await,
        "runs/panic" => panic!("the handler fell over"),
        "runs/missing" => return Status::from(ServiceError::NotFound { name: run.name }).into_http(),
        _ => {}
    }
    let trailers = HeaderMap::from_iter([("grpc-status".parse().unwrap(), "0".parse().unwrap())]);
    reply(stream::iter([
        Frame::data(message(&Run {
            name: run.name,
            ..Run::default()
        })),
        Frame::trailers(trailers),
    ]))
}

/// One picture, then what the name of the run asks for.
async fn watch_bench(request: Request<Body>) -> Response<Body> {
    let watch: WatchBenchRequest = read(request).await;
    let first = stream::iter([Frame::data(picture_of(&watch.run))]);
    match watch.run.as_str() {
        "runs/panic" => reply(first.chain(stream::once(async { panic!("the stream fell over") }))),
        "runs/busy" => reply(stream::repeat(picture_of(&"x".repeat(4096))).map(Frame::data)),
        _ => reply(first.chain(stream::pending())),
    }
}

fn picture_of(run: &str) -> Bytes {
    let picture = WatchBenchResponse {
        run: run.to_owned(),
        ..WatchBenchResponse::default()
    };
    message(&picture)
}

async fn read<M: Message + Default>(request: Request<Body>) -> M {
    let bytes = request.into_body().collect().await.unwrap().to_bytes();
    M::decode(bytes.slice(5..)).unwrap()
}

fn message(message: &impl Message) -> Bytes {
    let mut bytes = BytesMut::new();
    bytes.put_u8(0);
    bytes.put_u32(u32::try_from(message.encoded_len()).unwrap());
    message.encode(&mut bytes).unwrap();
    bytes.freeze()
}

fn reply(frames: impl Stream<Item = Frame<Bytes>> + Send + 'static) -> Response<Body> {
    let body = Body::new(StreamBody::new(frames.map(Ok::<_, Infallible>)));
    Response::builder()
        .header("content-type", "application/grpc")
        .body(body)
        .unwrap()
}

impl Server {
    pub(crate) fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    pub(crate) async fn channel(&self) -> Channel {
        Endpoint::from_shared(self.url()).unwrap().connect().await.unwrap()
    }

    pub(crate) async fn runs(&self) -> RunServiceClient<Channel> {
        RunServiceClient::new(self.channel().await)
    }

    /// A call through bare HTTP/2. The usual channel keeps the client's deadline by a clock of its own, and would
    /// hide what the server answers.
    pub(crate) async fn get_run_bare(&self, name: &str, headers: &[(&'static str, &str)]) -> Result<Run, Status> {
        let stream = TcpStream::connect(self.address).await.unwrap();
        let handshake = hyper::client::conn::http2::handshake(TokioExecutor::new(), TokioIo::new(stream));
        let (sender, connection) = handshake.await.unwrap();
        tokio::spawn(connection);
        let bare = tower::service_fn(move |request| {
            let mut sender = sender.clone();
            async move { sender.send_request(request).await }
        });
        let mut runs = RunServiceClient::with_origin(bare, self.url().parse().unwrap());
        runs.get_run(get_run_request(name, headers))
            .await
            .map(tonic::Response::into_inner)
    }
}

pub(crate) fn get_run_request(name: &str, headers: &[(&'static str, &str)]) -> tonic::Request<GetRunRequest> {
    let mut request = tonic::Request::new(GetRunRequest { name: name.to_owned() });
    for (key, value) in headers {
        request.metadata_mut().insert(*key, value.parse().unwrap());
    }
    request
}

pub(crate) fn watch_request(run: &str) -> WatchBenchRequest {
    WatchBenchRequest {
        run: run.to_owned(),
        ..Default::default()
    }
}

/// The reason of a status, from its details.
pub(crate) fn reason(status: &Status) -> String {
    use tonic_types::StatusExt as _;
    let info = status.get_error_details().error_info().cloned();
    info.map(|info| format!("{}/{}", info.domain, info.reason))
        .unwrap_or_default()
}
