//! Peers that are no honest clients.

use std::time::{Duration, Instant};

use service::shell::Settings;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::server::{Server, get_run_request, start};

const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";
const EMPTY_SETTINGS: &[u8] = &[0, 0, 0, 4, 0, 0, 0, 0, 0];
/// The head of a HEADERS frame of 1,000 bytes, of which ten come.
const HALF_A_FRAME: &[u8] = &[0, 3, 232, 1, 4, 0, 0, 0, 1, 0x83, 0x86, 0x84, 0, 0, 0, 0, 0, 0, 0];

/// Sends the bytes and reads until the server ends the connection. Gives what came and how long it took.
async fn send(server: &Server, bytes: &[u8]) -> (Vec<u8>, Duration) {
    let began = Instant::now();
    let mut stream = TcpStream::connect(server.address).await.unwrap();
    let mut received = Vec::new();
    // A reset is an end too.
    let _ = stream.write_all(bytes).await;
    let _ = timeout(Duration::from_secs(20), stream.read_to_end(&mut received))
        .await
        .expect("never ended");
    (received, began.elapsed())
}

#[tokio::test]
async fn connection_that_does_not_come_to_the_point_is_dropped() {
    let server = start(Settings {
        first_request: Duration::from_millis(400),
        ..Settings::default()
    })
    .await;
    let handshake = [PREFACE, EMPTY_SETTINGS].concat();
    let half_frame = [PREFACE, EMPTY_SETTINGS, HALF_A_FRAME].concat();
    let cases: [(&str, &[u8]); 7] = [
        ("nothing", b""),
        ("half a preface", &PREFACE[..10]),
        ("only the preface", PREFACE),
        ("no request after the handshake", &handshake),
        ("half a frame", &half_frame),
        ("half a request line", b"GE"),
        ("half a head", b"GET / HTTP/1.1\r\nHost: local"),
    ];
    let server = &server;
    let ended = cases.map(|(name, bytes)| async move { (name, send(server, bytes).await.1) });
    for (name, after) in futures_util::future::join_all(ended).await {
        assert!(
            after > Duration::from_millis(300),
            "{name} ended after {after:?}: not for its silence"
        );
        assert!(after < Duration::from_millis(1500), "{name} ended only after {after:?}");
    }
}

#[tokio::test]
async fn connection_that_came_to_the_point_stays() {
    let server = start(Settings {
        first_request: Duration::from_millis(100),
        ..Settings::default()
    })
    .await;
    let mut stream = TcpStream::connect(server.address).await.unwrap();
    let mut buffer = [0; 4096];
    for _ in 0..2 {
        stream
            .write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
            .await
            .unwrap();
        let count = stream.read(&mut buffer).await.unwrap();
        assert!(buffer[..count].starts_with(b"HTTP/1.1 200 OK"));
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
}

#[tokio::test]
async fn bytes_of_no_protocol_end_the_connection_at_once() {
    let server = start(Settings::default()).await;
    let bad_preface = [&PREFACE[..16], b"XX\r\n\r\n\r\n", EMPTY_SETTINGS].concat();
    let bad_frame = [PREFACE, EMPTY_SETTINGS, &[0xff; 64]].concat();
    for bytes in [&[0x16, 3, 1, 0, 200, 0, 0, 0][..], &bad_preface, &bad_frame] {
        let bytes = [bytes, b"\r\n\r\n"].concat();
        let (_, after) = send(&server, &bytes).await;
        assert!(after < Duration::from_secs(1), "{bytes:?} ended after {after:?}");
    }
}

#[tokio::test]
async fn headers_over_the_bound_are_refused() {
    let server = start(Settings {
        header_bytes: 8 * 1024,
        ..Settings::default()
    })
    .await;
    let long = "x".repeat(9 * 1024);
    let (answer, _) = send(
        &server,
        format!("GET / HTTP/1.1\r\nHost: localhost\r\nx: {long}\r\n\r\n").as_bytes(),
    )
    .await;
    assert!(
        answer.starts_with(b"HTTP/1.1 431"),
        "{:?}",
        String::from_utf8_lossy(&answer)
    );

    assert!(server.get_run_bare("runs/a", &[("x-long", &long)]).await.is_err());
    let fitting = "x".repeat(7 * 1024);
    assert!(server.get_run_bare("runs/a", &[("x-long", &fitting)]).await.is_ok());
}

#[tokio::test]
async fn streams_opened_and_reset_in_a_row_end_the_connection() {
    let server = start(Settings::default()).await;
    let mut bytes = [PREFACE, EMPTY_SETTINGS].concat();
    for stream in (1..4000_u32).step_by(2) {
        // POST, http, "/", and the authority as a literal; then the reset of that stream (CANCEL).
        let block = [&[0x83, 0x86, 0x84, 0x41, 9][..], b"localhost"].concat();
        bytes.extend([0, 0, 14, 1, 4]);
        bytes.extend(stream.to_be_bytes());
        bytes.extend(block);
        bytes.extend([0, 0, 4, 3, 0]);
        bytes.extend(stream.to_be_bytes());
        bytes.extend([0, 0, 0, 8]);
    }
    let (_, after) = send(&server, &bytes).await;
    assert!(after < Duration::from_secs(3), "ended after {after:?}");
    let mut runs = server.runs().await;
    assert!(runs.get_run(get_run_request("runs/a", &[])).await.is_ok());
}

#[tokio::test]
async fn connection_over_the_cap_waits_for_a_place() {
    let server = start(Settings {
        connections: 1,
        ..Settings::default()
    })
    .await;
    let mut first = server.runs().await;
    first.get_run(get_run_request("runs/a", &[])).await.unwrap();
    let mut second = TcpStream::connect(server.address).await.unwrap();
    second
        .write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        .await
        .unwrap();
    let mut buffer = [0; 4096];
    let waiting = timeout(Duration::from_millis(300), second.read(&mut buffer)).await;
    assert!(waiting.is_err(), "answered beyond the cap");
    drop(first);
    let count = timeout(Duration::from_secs(5), second.read(&mut buffer))
        .await
        .unwrap()
        .unwrap();
    assert!(buffer[..count].starts_with(b"HTTP/1.1 200 OK"));
}
