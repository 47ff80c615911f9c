//! Deadlines and load.

use std::time::{Duration, Instant};

use service::shell::Settings;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::server::{get_run_request, reason, start, watch_request};

fn assert_deadline(status: &Status, began: Instant, wanted: Duration) {
    assert_eq!(
        (status.code(), reason(status).as_str()),
        (Code::DeadlineExceeded, "springwright/DEADLINE")
    );
    let after = began.elapsed();
    assert!(
        after >= wanted && after < wanted + Duration::from_millis(700),
        "ended after {after:?}, not {wanted:?}"
    );
}

#[tokio::test]
async fn unary_call_ends_at_the_deadline_of_its_client() {
    let server = start(Settings::default()).await;
    let began = Instant::now();
    let status = server
        .get_run_bare("runs/slow", &[("grpc-timeout", "200m")])
        .await
        .unwrap_err();
    assert_deadline(&status, began, Duration::from_millis(200));
}

#[tokio::test]
async fn unary_call_ends_at_the_deadline_of_the_server_when_that_is_sooner() {
    let server = start(Settings {
        unary_deadline: Duration::from_millis(200),
        ..Settings::default()
    })
    .await;
    let mut runs = server.runs().await;
    for headers in [&[][..], &[("grpc-timeout", "20S")]] {
        let began = Instant::now();
        let status = runs.get_run(get_run_request("runs/slow", headers)).await.unwrap_err();
        assert_deadline(&status, began, Duration::from_millis(200));
    }
}

#[tokio::test]
async fn stream_ends_at_the_deadline_of_its_client_and_at_no_other() {
    let server = start(Settings {
        unary_deadline: Duration::from_millis(100),
        ..Settings::default()
    })
    .await;
    let mut runs = server.runs().await;
    for run in ["runs/quiet", "runs/busy"] {
        let mut request = tonic::Request::new(watch_request(run));
        request.set_timeout(Duration::from_millis(400));
        let began = Instant::now();
        let mut pictures = runs.watch_bench(request).await.unwrap().into_inner();
        let status = loop {
            match pictures.message().await {
                Ok(picture) => assert!(picture.is_some(), "{run} ended without a status"),
                Err(status) => break status,
            }
        };
        assert_deadline(&status, began, Duration::from_millis(390));
    }
    let mut unbounded = runs
        .watch_bench(watch_request("runs/quiet"))
        .await
        .unwrap()
        .into_inner();
    assert!(unbounded.message().await.unwrap().is_some());
    let next = tokio::time::timeout(Duration::from_millis(300), unbounded.message()).await;
    assert!(next.is_err(), "a stream without a deadline ended: {next:?}");
}

#[tokio::test]
async fn timeout_that_cannot_be_read_is_refused() {
    let server = start(Settings::default()).await;
    let status = server
        .get_run_bare("runs/a", &[("grpc-timeout", "soon")])
        .await
        .unwrap_err();
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::InvalidArgument, "springwright/INVALID_FIELDS")
    );
    let details = status.get_error_details();
    assert_eq!(details.bad_request().unwrap().field_violations[0].field, "grpc-timeout");
}

#[tokio::test]
async fn call_over_the_bound_is_refused_at_once_and_health_is_not() {
    let server = start(Settings {
        in_flight: 2,
        ..Settings::default()
    })
    .await;
    let runs = server.runs().await;
    let mut held = Vec::new();
    for _ in 0..2 {
        let mut runs = runs.clone();
        held.push(tokio::spawn(async move {
            runs.get_run(get_run_request("runs/slow", &[])).await
        }));
    }
    tokio::time::sleep(Duration::from_millis(100)).await;
    let mut runs = runs.clone();
    let began = Instant::now();
    let status = runs.get_run(get_run_request("runs/a", &[])).await.unwrap_err();
    assert!(
        began.elapsed() < Duration::from_millis(200),
        "waited {:?}",
        began.elapsed()
    );
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::ResourceExhausted, "springwright/OVERLOADED")
    );
    assert_eq!(
        status.get_error_details().retry_info().unwrap().retry_delay,
        Some(Duration::from_secs(1))
    );

    let mut health = tonic_health::pb::health_client::HealthClient::new(server.channel().await);
    assert!(
        health
            .check(tonic_health::pb::HealthCheckRequest::default())
            .await
            .is_ok()
    );

    held.iter().for_each(tokio::task::JoinHandle::abort);
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert!(
        runs.get_run(get_run_request("runs/a", &[])).await.is_ok(),
        "places are not given back"
    );
}

#[tokio::test]
async fn open_streams_take_no_place_of_calls() {
    let server = start(Settings {
        in_flight: 1,
        ..Settings::default()
    })
    .await;
    let mut runs = server.runs().await;
    let mut open = Vec::new();
    for _ in 0..3 {
        let mut pictures = runs
            .watch_bench(watch_request("runs/quiet"))
            .await
            .unwrap()
            .into_inner();
        assert!(pictures.message().await.unwrap().is_some());
        open.push(pictures);
    }
    assert!(runs.get_run(get_run_request("runs/a", &[])).await.is_ok());
}
