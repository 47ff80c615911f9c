//! Requests that are too large, and requests that never come to their end, through a real socket.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a failing helper fails its test"
)]

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use axum::body::Body;
use bytes::Bytes;
use futures_util::{StreamExt as _, stream};
use http::{HeaderMap, Request};
use http_body_util::BodyExt as _;
use hyper_util::rt::{TokioExecutor, TokioIo};
use service::{Listener, Settings, StoreChoice};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;
use wire::v1;
use wire::v1::rack_service_client::RackServiceClient;
use wire::v1::record_run_request::Step;
use wire::v1::run_service_client::RunServiceClient;
use wire::v1::spring_service_client::SpringServiceClient;

const MIB: usize = 1 << 20;

/// The whole service on a store in memory; it ends with the test's runtime.
async fn start(settings: Settings) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let service = service::open(&StoreChoice::Memory).unwrap();
    tokio::spawn(service.run(Listener::Tcp(listener), settings, CancellationToken::new()));
    address
}

async fn channel(address: SocketAddr) -> Channel {
    let endpoint = Endpoint::from_shared(format!("http://{address}")).unwrap();
    endpoint.connect().await.unwrap()
}

fn reason(status: &Status) -> (Code, String) {
    let info = status.get_error_details().error_info().cloned();
    let info = info.map(|info| format!("{}/{}", info.domain, info.reason));
    (status.code(), info.unwrap_or_default())
}

fn too_large() -> (Code, String) {
    (Code::ResourceExhausted, "springwright/TOO_LARGE".to_owned())
}

fn late() -> (Code, String) {
    (Code::DeadlineExceeded, "springwright/DEADLINE".to_owned())
}

fn header(tester: String) -> v1::RecordRunRequest {
    let column = v1::Column {
        quantity: v1::column::Quantity::Load as i32,
        unit: Some(v1::column::Unit::Force(v1::force::Unit::Newton as i32)),
    };
    let header = v1::RunHeader {
        tester,
        columns: vec![column],
        request_id: "6f1c2d3e-0000-4000-8000-000000000001".to_owned(),
        ..Default::default()
    };
    v1::RecordRunRequest {
        step: Some(Step::Header(Box::new(header))),
    }
}

fn block(number: i64, samples: usize) -> v1::RecordRunRequest {
    let block = v1::Block {
        number,
        columns: vec![v1::ValueColumn {
            values: vec![1.5; samples],
        }],
        ..Default::default()
    };
    v1::RecordRunRequest {
        step: Some(Step::Block(block)),
    }
}

#[tokio::test]
async fn request_beyond_the_bound_of_messages_is_refused_as_too_large() {
    let channel = channel(start(Settings::default()).await).await;
    let spring = v1::Spring {
        notes: "x".repeat(MIB),
        ..Default::default()
    };
    let request = v1::CreateSpringRequest {
        spring: Some(spring),
        ..Default::default()
    };
    let mut rack = RackServiceClient::new(channel.clone());
    assert_eq!(reason(&rack.create_spring(request).await.unwrap_err()), too_large());

    // One whose answer is a stream.
    let name = "x".repeat(20 * MIB);
    let mut runs = RunServiceClient::new(channel.clone());
    let request = v1::ReadRunSamplesRequest { name, from_block: 0 };
    assert_eq!(reason(&runs.read_run_samples(request).await.unwrap_err()), too_large());

    let mut springs = SpringServiceClient::new(channel);
    let reduce = |samples: usize| v1::ReduceRunRequest {
        source: Some(v1::reduce_run_request::Source::Samples(v1::Samples {
            loads: vec![1.0; samples],
            ..Default::default()
        })),
        ..Default::default()
    };
    assert_eq!(reason(&springs.reduce_run(reduce(MIB)).await.unwrap_err()), too_large());
    // Just within the bound it is the content that is refused.
    let status = springs.reduce_run(reduce(MIB - 8)).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
}

#[tokio::test]
async fn step_beyond_the_bound_is_refused_and_the_blocks_before_it_are_kept() {
    let mut runs = RunServiceClient::new(channel(start(Settings::default()).await).await);
    let mut answers = runs
        .record_run(stream::iter([header("x".repeat(MIB))]))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(reason(&answers.message().await.unwrap_err()), too_large());

    let steps = [header("t".to_owned()), block(1, 100), block(2, 100), block(3, MIB / 8)];
    let mut answers = runs.record_run(stream::iter(steps)).await.unwrap().into_inner();
    let mut durable = 0;
    let status = loop {
        match answers.message().await {
            Ok(Some(v1::RecordRunResponse {
                step: Some(v1::record_run_response::Step::Progress(progress)),
            })) => durable = progress.durable_through,
            Ok(Some(_)) => {}
            Ok(None) => panic!("the stream ended without a status"),
            Err(status) => break status,
        }
    };
    assert_eq!((reason(&status), durable), (too_large(), 2));
}

/// A call through bare HTTP/2 whose body has begun and stays open; gives the status of the answer.
async fn call_without_end(address: SocketAddr, method: &str) -> Status {
    let stream = TcpStream::connect(address).await.unwrap();
    let handshake = hyper::client::conn::http2::handshake(TokioExecutor::new(), TokioIo::new(stream));
    let (mut sender, connection) = handshake.await.unwrap();
    tokio::spawn(connection);
    // A message of ten bytes of which two come, and then one now and again.
    let first = stream::iter([Bytes::from_static(&[0, 0, 0, 0, 10, 0x0a, 8])]);
    let more = stream::unfold((), |()| async {
        tokio::time::sleep(Duration::from_millis(200)).await;
        Some((Bytes::new(), ()))
    });
    let body = Body::from_stream(first.chain(more).map(Ok::<_, std::convert::Infallible>));
    let request = Request::post(format!("http://{address}/springwright.v1.{method}"))
        .header("content-type", "application/grpc")
        .header("te", "trailers")
        .body(body)
        .unwrap();
    let (head, body) = sender.send_request(request).await.unwrap().into_parts();
    let mut said = head.headers;
    if let Ok(collected) = body.collect().await {
        said.extend(collected.trailers().cloned().unwrap_or_else(HeaderMap::new));
    }
    Status::from_header_map(&said).expect("a status")
}

#[tokio::test]
async fn request_whose_body_never_ends_gives_its_place_back() {
    let wanted = Duration::from_millis(600);
    let address = start(Settings {
        request_body: wanted,
        in_flight: 2,
        ..Settings::default()
    })
    .await;
    let began = Instant::now();
    let held = ["RackService/GetSpring", "RunService/WatchBench"]
        .map(|method| tokio::spawn(async move { (call_without_end(address, method).await, began.elapsed()) }));
    tokio::time::sleep(wanted / 2).await;
    let mut rack = RackServiceClient::new(channel(address).await);
    let mut ask = async || {
        rack.get_spring(v1::GetSpringRequest {
            name: "springs/a7".to_owned(),
        })
        .await
        .unwrap_err()
    };
    assert_eq!(
        ask().await.code(),
        Code::ResourceExhausted,
        "both places should be taken"
    );
    for call in held {
        let (status, after) = call.await.unwrap();
        assert_eq!(reason(&status), late());
        assert!(
            after >= wanted && after < wanted * 3,
            "ended after {after:?}, not {wanted:?}"
        );
    }
    assert_eq!(ask().await.code(), Code::NotFound, "places are not given back");
}

#[tokio::test]
async fn recording_may_go_on_longer_than_a_request_may_take_to_come() {
    let address = start(Settings {
        request_body: Duration::from_millis(100),
        ..Settings::default()
    })
    .await;
    let mut runs = RunServiceClient::new(channel(address).await);
    let finish = v1::RecordRunRequest {
        step: Some(Step::Finish(v1::Finish {
            block_count: 1,
            sample_count: 3,
            crc32c: None,
        })),
    };
    let steps = stream::iter([header("t".to_owned()), block(1, 3), finish]).then(|step| async {
        tokio::time::sleep(Duration::from_millis(150)).await;
        step
    });
    let answers = runs.record_run(steps).await.unwrap().into_inner();
    let answers: Vec<_> = answers.map(|answer| answer.unwrap().step.unwrap()).collect().await;
    let last = answers.last().unwrap();
    assert!(
        matches!(last, v1::record_run_response::Step::Finished(_)),
        "{answers:?}"
    );
}
