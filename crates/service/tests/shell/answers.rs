//! Refusals and faults as clients see them.

use std::time::Duration;

use service::shell::Settings;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::Code;
use tonic::transport::Endpoint;
use wire::v1::run_service_client::RunServiceClient;

use crate::server::{Server, get_run_request, reason, start, watch_request};

/// The answer to a request of HTTP/1, after which the connection ends.
async fn ask(server: &Server, head: &str) -> String {
    let mut stream = TcpStream::connect(server.address).await.unwrap();
    stream
        .write_all(format!("{head}\r\nConnection: close\r\n\r\n").as_bytes())
        .await
        .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    answer
}

#[tokio::test]
async fn page_of_another_host_is_refused_over_http1() {
    let server = start(Settings {
        hosts: vec!["bench.example".to_owned()],
        ..Settings::default()
    })
    .await;
    for (host, status) in [("localhost", 200), ("bench.example:80", 200), ("evil.example", 403)] {
        let answer = ask(&server, &format!("GET / HTTP/1.1\r\nHost: {host}")).await;
        assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{host}: {answer}");
        assert_eq!(answer.contains("the page"), status == 200);
    }
    let grpc = "POST /springwright.v1.RunService/GetRun HTTP/1.1\r\nContent-Type: application/grpc";
    let answer = ask(&server, &format!("{grpc}\r\nContent-Length: 0\r\nHost: evil.example")).await;
    assert!(
        answer.starts_with("HTTP/1.1 200") && answer.contains("grpc-status: 7"),
        "{answer}"
    );
}

#[tokio::test]
async fn authority_of_another_host_is_refused_over_http2() {
    let server = start(Settings::default()).await;
    let endpoint = Endpoint::from_shared(server.url()).unwrap();
    let rebound = endpoint
        .origin("http://evil.example".parse().unwrap())
        .connect()
        .await
        .unwrap();
    let status = RunServiceClient::new(rebound)
        .get_run(get_run_request("runs/a", &[]))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::PermissionDenied);
    assert_eq!(reason(&status), "springwright/HOST_REFUSED");
}

#[tokio::test]
async fn unknown_path_is_unimplemented_to_grpc_and_not_found_to_others() {
    let server = start(Settings::default()).await;
    let mut runs = server.runs().await;
    let request = wire::v1::ListRunsRequest::default();
    assert_eq!(runs.list_runs(request).await.unwrap_err().code(), Code::Unimplemented);
    let answer = ask(&server, "GET /nowhere HTTP/1.1\r\nHost: localhost").await;
    assert!(answer.starts_with("HTTP/1.1 404"), "{answer}");
}

#[tokio::test]
async fn panic_costs_its_caller_one_answer_and_nobody_else_anything() {
    let server = start(Settings::default()).await;
    let mut runs = server.runs().await;
    let mut other = runs.watch_bench(watch_request("runs/a")).await.unwrap().into_inner();
    assert_eq!(other.message().await.unwrap().unwrap().run, "runs/a");

    let status = runs.get_run(get_run_request("runs/panic", &[])).await.unwrap_err();
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::Internal, "springwright/INTERNAL")
    );
    assert!(
        !status.message().contains("fell over"),
        "the panic's text is for the log: {}",
        status.message()
    );

    let mut broken = runs
        .watch_bench(watch_request("runs/panic"))
        .await
        .unwrap()
        .into_inner();
    assert!(broken.message().await.unwrap().is_some());
    let status = broken.message().await.unwrap_err();
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::Internal, "springwright/INTERNAL")
    );

    let quiet = tokio::time::timeout(Duration::from_millis(100), other.message()).await;
    assert!(quiet.is_err(), "the other stream ended: {quiet:?}");
    assert!(runs.get_run(get_run_request("runs/a", &[])).await.is_ok());
}

#[tokio::test]
async fn request_id_comes_back_or_is_made() {
    let server = start(Settings::default()).await;
    let mut runs = server.runs().await;
    let mut id = async |headers: &[(&'static str, &str)]| {
        let response = runs.get_run(get_run_request("runs/a", headers)).await.unwrap();
        response
            .metadata()
            .get("x-request-id")
            .unwrap()
            .to_str()
            .unwrap()
            .to_owned()
    };
    assert_eq!(id(&[("x-request-id", "bench-7")]).await, "bench-7");
    let (first, second) = (id(&[]).await, id(&[("x-request-id", "two words")]).await);
    assert_ne!(second, "two words");
    assert!(first.len() > 16 && second.len() > 16, "{first} {second}");
    assert_ne!(first, second);
}

#[tokio::test]
async fn every_request_leaves_one_line_in_the_log_a_quick_good_one_for_the_curious_only() {
    let log = Log::default();
    let writer = log.clone();
    let lines = tracing_subscriber::fmt()
        .with_ansi(false)
        .with_max_level(tracing::Level::DEBUG)
        .with_writer(move || writer.clone())
        .finish();
    // For all threads: one that a test beside this one runs on may be the first to reach a line that is logged.
    tracing::subscriber::set_global_default(lines).unwrap();
    let server = start(Settings::default()).await;
    let missing = server
        .get_run_bare("runs/missing", &[("x-request-id", "bench-8")])
        .await;
    assert_eq!(missing.unwrap_err().code(), Code::NotFound);
    server
        .get_run_bare("runs/a", &[("x-request-id", "bench-9")])
        .await
        .unwrap();
    tokio::time::sleep(Duration::from_millis(50)).await;
    for (id, level, status) in [
        ("bench-8", " INFO ", "status=\"NotFound\""),
        ("bench-9", "DEBUG ", "status=\"Ok\""),
    ] {
        let text = log.text();
        let is_of = |line: &&str| line.contains(id) && line.contains("duration_ms");
        let of_request: Vec<_> = text.lines().filter(is_of).collect();
        assert_eq!(of_request.len(), 1, "{text}");
        for part in [
            level,
            status,
            "/springwright.v1.RunService/GetRun",
            "duration_ms=",
            "completed=true",
        ] {
            assert!(of_request[0].contains(part), "{part} is not in {}", of_request[0]);
        }
    }
}

#[derive(Clone, Default)]
struct Log(std::sync::Arc<std::sync::Mutex<Vec<u8>>>);

impl Log {
    fn text(&self) -> String {
        String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
    }
}

impl std::io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        std::io::Write::write(&mut *self.0.lock().unwrap(), bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}
