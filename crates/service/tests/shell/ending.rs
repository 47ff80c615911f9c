//! How the server goes down, and the connection within the process.

use std::time::{Duration, Instant};

use service::shell::{self, Settings};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use wire::v1::run_service_client::RunServiceClient;

use crate::server::{get_run_request, reason, router, start, watch_request};

#[tokio::test]
async fn idle_connections_do_not_hold_the_server_up() {
    let mut server = start(Settings::default()).await;
    let mut runs = server.runs().await;
    runs.get_run(get_run_request("runs/a", &[])).await.unwrap();
    let half_open = tokio::net::TcpStream::connect(server.address).await.unwrap();
    tokio::time::sleep(Duration::from_millis(50)).await;
    server.shutdown.cancel();
    timeout(Duration::from_secs(2), &mut server.serving)
        .await
        .expect("still up")
        .unwrap()
        .unwrap();
    drop(half_open);
    assert!(
        tokio::net::TcpStream::connect(server.address).await.is_err(),
        "the port is still open"
    );
}

#[tokio::test]
async fn call_under_way_is_finished() {
    let mut server = start(Settings {
        unary_deadline: Duration::from_millis(500),
        ..Settings::default()
    })
    .await;
    let mut runs = server.runs().await;
    let under_way = tokio::spawn(async move { runs.get_run(get_run_request("runs/slow", &[])).await });
    tokio::time::sleep(Duration::from_millis(100)).await;
    server.shutdown.cancel();
    let status = under_way.await.unwrap().unwrap_err();
    assert_eq!(
        reason(&status),
        "springwright/DEADLINE",
        "the call did not reach its own end"
    );
    timeout(Duration::from_secs(2), &mut server.serving)
        .await
        .expect("still up")
        .unwrap()
        .unwrap();
}

#[tokio::test]
async fn stream_that_does_not_end_is_dropped_once_the_time_is_over() {
    let mut server = start(Settings {
        drain: Duration::from_millis(300),
        ..Settings::default()
    })
    .await;
    let mut runs = server.runs().await;
    let mut pictures = runs
        .watch_bench(watch_request("runs/quiet"))
        .await
        .unwrap()
        .into_inner();
    assert!(pictures.message().await.unwrap().is_some());
    let began = Instant::now();
    server.shutdown.cancel();
    timeout(Duration::from_secs(5), &mut server.serving)
        .await
        .expect("still up")
        .unwrap()
        .unwrap();
    let after = began.elapsed();
    assert!(
        after >= Duration::from_millis(300) && after < Duration::from_millis(1200),
        "ended after {after:?}"
    );
    assert!(
        timeout(Duration::from_secs(2), pictures.message())
            .await
            .unwrap()
            .is_err()
    );
}

#[tokio::test]
async fn health_watcher_sees_the_end_coming_and_then_its_stream_ends() {
    let mut server = start(Settings::default()).await;
    let mut health = HealthClient::new(server.channel().await);
    let service = "springwright.v1.RunService".to_owned();
    let mut reports = health.watch(HealthCheckRequest { service }).await.unwrap().into_inner();
    assert_eq!(
        reports.message().await.unwrap().unwrap().status(),
        ServingStatus::Serving
    );
    server.health.set(false).await;
    server.shutdown.cancel();
    assert_eq!(
        reports.message().await.unwrap().unwrap().status(),
        ServingStatus::NotServing
    );
    let status = reports.message().await.unwrap_err();
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::Unavailable, "springwright/SHUTTING_DOWN")
    );
    timeout(Duration::from_secs(2), &mut server.serving)
        .await
        .expect("still up")
        .unwrap()
        .unwrap();
}

#[tokio::test]
async fn same_service_answers_within_the_process() {
    let (connector, listener) = shell::memory();
    let (_, router) = router().await;
    let serving = tokio::spawn(shell::serve(
        listener,
        router,
        Settings::default(),
        CancellationToken::new(),
    ));
    let mut runs = RunServiceClient::new(connector.channel());
    let run = runs.get_run(get_run_request("runs/a", &[])).await.unwrap().into_inner();
    assert_eq!(run.name, "runs/a");
    let mut pictures = runs.watch_bench(watch_request("runs/a")).await.unwrap().into_inner();
    assert_eq!(pictures.message().await.unwrap().unwrap().run, "runs/a");
    drop((connector, runs, pictures));
    timeout(Duration::from_secs(2), serving)
        .await
        .expect("serves nobody for ever")
        .unwrap()
        .unwrap();
}
