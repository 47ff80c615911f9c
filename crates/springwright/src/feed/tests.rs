//! Whole feeds against a real socket: connections cut, the feed killed, the server absent, the source of every kind.

mod garbled;
mod server;
mod staying;

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use clap::Parser;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use wire::v1;

use super::columns::Columns;
use super::*;
use crate::tester;
use server::{Bench, Manners, Recording};

#[derive(Parser)]
struct FeedLine {
    #[command(flatten)]
    options: Options,
}

#[derive(Parser)]
struct TesterLine {
    #[command(flatten)]
    options: tester::Options,
}

fn options(arguments: &str) -> Options {
    FeedLine::try_parse_from(std::iter::once("feed").chain(arguments.split('|')))
        .unwrap()
        .options
}

/// A tester on its way, its lines, and where it listens.
async fn a_tester(arguments: &str) -> (String, SocketAddr) {
    let line = TesterLine::try_parse_from(std::iter::once("tester").chain(arguments.split('|'))).unwrap();
    let setup = tester::Setup::try_from(&line.options).unwrap();
    let tester = tester::Tester::bind(line.options.listen, setup, line.options.pace(), tester::Manner::Each)
        .await
        .unwrap();
    let address = tester.address();
    tokio::spawn(tester.serve(CancellationToken::new()));
    // What it has to say is asked of a second one that does not wait.
    let line = TesterLine {
        options: tester::Options {
            fast: true,
            ..line.options
        },
    };
    let setup = tester::Setup::try_from(&line.options).unwrap();
    let at_once = tester::Tester::bind(line.options.listen, setup, line.options.pace(), tester::Manner::Once)
        .await
        .unwrap();
    let mut stream = TcpStream::connect(at_once.address()).await.unwrap();
    tokio::spawn(at_once.serve(CancellationToken::new()));
    let mut text = String::new();
    stream.read_to_string(&mut text).await.unwrap();
    (text, address)
}

/// The samples that lines mean, read with nothing of the feed: segment, nanoseconds, values.
fn meant(text: &str) -> Vec<(i32, i64, Vec<f64>)> {
    let mut samples: Vec<(i32, i64, Vec<f64>)> = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let fields: Vec<&str> = line.split([' ', ',']).collect();
        let elapsed = 1000 * fields[0].parse::<i64>().unwrap();
        let segment = samples.last().map_or(0, |last| last.0 + i32::from(elapsed < last.1));
        samples.push((
            segment,
            elapsed,
            fields[1..].iter().map(|field| field.parse().unwrap()).collect(),
        ));
    }
    samples
}

fn spool(folder: &tempfile::TempDir) -> String {
    folder.path().join("feed.spool").display().to_string()
}

fn assert_exactly(run: &Recording, text: &str) {
    let (got, meant) = (run.samples(), meant(text));
    let first = got.iter().zip(&meant).position(|(got, meant)| got != meant);
    assert_eq!((got.len(), first), (meant.len(), None));
    assert!(run.finished.is_some());
}

/// Passes connections on and cuts the first so many after some bytes.
async fn a_cutting_proxy(to: SocketAddr, cuts: u32, bytes: std::ops::Range<usize>) -> (SocketAddr, Arc<AtomicU32>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let made = Arc::new(AtomicU32::new(0));
    let counted = Arc::clone(&made);
    tokio::spawn(async move {
        let mut chance = ChaCha8Rng::seed_from_u64(5);
        loop {
            let (client, _) = listener.accept().await.unwrap();
            let server = TcpStream::connect(to).await.unwrap();
            let left = if counted.load(Ordering::SeqCst) < cuts {
                chance.random_range(bytes.clone())
            } else {
                usize::MAX
            };
            let counted = Arc::clone(&counted);
            tokio::spawn(async move {
                if pass(client, server, left).await {
                    counted.fetch_add(1, Ordering::SeqCst);
                }
            });
        }
    });
    (address, made)
}

/// True: cut here.
async fn pass(mut client: TcpStream, mut server: TcpStream, mut left: usize) -> bool {
    let (mut up, mut down) = ([0; 512], [0; 512]);
    while left > 0 {
        let (count, upwards) = tokio::select! {
            read = client.read(&mut up) => (read.unwrap_or(0), true),
            read = server.read(&mut down) => (read.unwrap_or(0), false),
        };
        if count == 0 {
            return false;
        }
        let count = count.min(left);
        left -= count;
        let written = if upwards {
            server.write_all(&up[..count]).await
        } else {
            client.write_all(&down[..count]).await
        };
        if written.is_err() {
            return false;
        }
    }
    true
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hundred_cuts_lose_nothing_and_repeat_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (text, tester) = a_tester("--fast").await;
    let bench = Bench::new(Manners {
        faults: 30,
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let (proxy, cuts) = a_cutting_proxy(server, 100, 700..2500).await;
    let feed = format!(
        "--server={proxy}|--connect={tester}|--block-samples=6|--spool={}",
        spool(&folder)
    );
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    assert_exactly(&bench.only_run(), &text);
    assert_eq!(cuts.load(Ordering::SeqCst), 100);
    assert!(
        report.reconnects >= 50 && report.samples == meant(&text).len() as i64,
        "{report}"
    );
    assert!(!Path::new(&spool(&folder)).exists());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn cuts_between_tester_and_feed_lose_nothing_either() {
    let folder = tempfile::tempdir().unwrap();
    let (text, tester) = a_tester("--fast|--lose=100:50|--restart-clock-at=2000").await;
    let (proxy, _) = a_cutting_proxy(tester, 8, 5_000..20_000).await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!("--server={server}|--connect={proxy}|--spool={}", spool(&folder));
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    assert_exactly(&bench.only_run(), &text);
    assert_eq!((report.segments, report.gaps, report.malformed), (2, 1, 0));
    assert!(report.source_reconnects >= 5, "{report}");
}

/// What a killed feed is: this test's own program, started again with a command of its own.
const CHILD: &str = "SPRINGWRIGHT_TEST_FEED";

#[test]
fn a_feed_in_a_process_of_its_own() {
    let Ok(arguments) = std::env::var(CHILD) else { return };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let code = match runtime.block_on(super::run(options(&arguments))) {
        Ok(_) => 0,
        Err(error) => {
            eprintln!("{error}");
            2
        }
    };
    std::process::exit(code);
}

/// Kills the feed at random moments until one gets through; how many were killed. One that was done and only had not
/// left yet got through too: started again, it would rightly begin another run.
async fn feed_through_kills(arguments: &str, seed: u64, bench: &Bench, spool: &str) -> u32 {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    for kills in 0..200 {
        let mut child = std::process::Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "feed::tests::a_feed_in_a_process_of_its_own", "--nocapture"])
            .env(CHILD, arguments)
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        // The patience grows, or a slow machine would never get through.
        let patience = Duration::from_millis(chance.random_range(20..220) + u64::from(kills) * 4);
        let end = tokio::time::Instant::now() + patience;
        while tokio::time::Instant::now() < end {
            if let Some(status) = child.try_wait().unwrap() {
                assert!(status.success(), "{status}");
                return kills;
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        child.kill().unwrap();
        child.wait().unwrap();
        if bench.runs() == 1 && bench.only_run().finished.is_some() && !Path::new(spool).exists() {
            return kills;
        }
    }
    panic!("never got through");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_feed_killed_again_and_again_records_a_test_exactly() {
    let folder = tempfile::tempdir().unwrap();
    let (text, tester) = a_tester("--speed=20").await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--server={server}|--connect={tester}|--block-ms=20|--spool={}",
        spool(&folder)
    );
    let kills = feed_through_kills(&feed, 1, &bench, &spool(&folder)).await;
    assert_exactly(&bench.only_run(), &text);
    assert!(kills >= 5, "{kills}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_feed_killed_again_and_again_records_a_file_exactly() {
    let folder = tempfile::tempdir().unwrap();
    let (text, _) = a_tester("--fast|--separator=comma").await;
    let file = folder.path().join("test.csv");
    std::fs::write(&file, &text).unwrap();
    let bench = Bench::new(Manners {
        pause: Duration::from_millis(3),
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--server={server}|--file={}|--block-samples=8|--spool={}",
        file.display(),
        spool(&folder)
    );
    let kills = feed_through_kills(&feed, 2, &bench, &spool(&folder)).await;
    assert_exactly(&bench.only_run(), &text);
    assert!(kills >= 5, "{kills}");
}

#[tokio::test]
async fn a_superseded_feed_does_not_come_back() {
    let folder = tempfile::tempdir().unwrap();
    let (_, tester) = a_tester("--fast").await;
    let bench = Bench::new(Manners {
        superseded_at: Some(3),
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!("--server={server}|--connect={tester}|--spool={}", spool(&folder));
    let error = run_with(options(&feed), Controls::default()).await.unwrap_err();
    assert!(
        matches!(
            error,
            FeedError::Record {
                error: RecordError::Superseded(_),
                ..
            }
        ),
        "{error}"
    );
    assert_eq!(bench.only_run().attachments, 1);
    assert!(Path::new(&spool(&folder)).exists());
}

#[tokio::test]
async fn a_refused_header_ends_the_feed_and_keeps_the_spool() {
    let folder = tempfile::tempdir().unwrap();
    let (_, tester) = a_tester("--fast").await;
    let bench = Bench::new(Manners {
        refuses: true,
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!("--server={server}|--connect={tester}|--spool={}", spool(&folder));
    let error = run_with(options(&feed), Controls::default()).await.unwrap_err();
    assert!(
        matches!(
            error,
            FeedError::Record {
                error: RecordError::Refused(_),
                ..
            }
        ),
        "{error}"
    );
    assert!(Path::new(&spool(&folder)).exists());
}

#[tokio::test]
async fn the_bench_may_finish_and_the_limit_does() {
    for manners in [
        Manners {
            finish_at: Some(5),
            ..Manners::default()
        },
        Manners {
            blocks_max: Some(9),
            ..Manners::default()
        },
    ] {
        let folder = tempfile::tempdir().unwrap();
        let (text, tester) = a_tester("--speed=40").await;
        let bench = Bench::new(manners);
        let server = bench.serve("127.0.0.1:0").await;
        let feed = format!(
            "--server={server}|--connect={tester}|--block-ms=20|--spool={}",
            spool(&folder)
        );
        run_with(options(&feed), Controls::default()).await.unwrap();
        let (run, meant) = (bench.only_run(), meant(&text));
        let got = run.samples();
        assert!(run.finished.is_some() && got.len() < meant.len());
        assert!(got.iter().zip(&meant).all(|(got, meant)| got == meant));
    }
}

/// A source that says nothing about itself: lines as told, then the line breaks or ends.
async fn a_plain_source(parts: Vec<(String, bool)>) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        for (text, breaks) in parts {
            let (mut stream, _) = listener.accept().await.unwrap();
            stream.write_all(text.as_bytes()).await.unwrap();
            tokio::time::sleep(Duration::from_millis(100)).await;
            if breaks {
                // Closing over unread bytes, or with no time to linger, resets the connection.
                stream.set_zero_linger().unwrap();
            }
        }
    });
    address
}

#[tokio::test]
async fn a_plain_source_that_breaks_leaves_a_gap_and_begins_a_segment() {
    let folder = tempfile::tempdir().unwrap();
    let first = "100 1 10\n200 2 20\n300 3".to_owned();
    let source = a_plain_source(vec![(first, true), ("400 4 40\n500 5 50\n".to_owned(), false)]).await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let columns = "elapsed:us,deflection:mm,load:N";
    let feed = format!(
        "--server={server}|--connect={source}|--columns={columns}|--spool={}",
        spool(&folder)
    );
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    let run = bench.only_run();
    let brief: Vec<_> = run
        .samples()
        .into_iter()
        .map(|(segment, elapsed, values)| (segment, elapsed, values[1]))
        .collect();
    assert_eq!(
        brief,
        [(0, 0, 10.0), (0, 100_000, 20.0), (1, 0, 40.0), (1, 100_000, 50.0)]
    );
    let gap = run.blocks.iter().find_map(|block| block.gap_before.clone()).unwrap();
    assert_eq!(
        (gap.cause.as_str(), gap.lost_sample_count),
        ("the connection to the tester was lost", None)
    );
    assert_eq!((report.gaps, report.segments, report.source_reconnects), (1, 2, 1));
}

#[tokio::test]
async fn a_feed_of_a_plain_source_taken_up_again_tells_the_gap() {
    let folder = tempfile::tempdir().unwrap();
    let source = a_plain_source(vec![("100 1 10\n".to_owned(), true), ("200 2 20\n".to_owned(), false)]).await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let columns = "elapsed:us,deflection:mm,load:N";
    let feed = format!(
        "--server={server}|--connect={source}|--columns={columns}|--block-ms=5|--spool={}",
        spool(&folder)
    );
    let controls = Controls::default();
    let leave = controls.leave.clone();
    let first = tokio::spawn(run_with(options(&feed), controls));
    tokio::time::sleep(Duration::from_millis(60)).await;
    leave.cancel();
    assert!(first.await.unwrap().is_err());
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    let run = bench.only_run();
    let gap = run.blocks[1].gap_before.clone().unwrap();
    assert_eq!(
        (gap.block, gap.cause.as_str(), run.blocks[1].segment),
        (2, "the feed was restarted", 1)
    );
    assert!(report.resumed && report.samples == 2);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_a_server_the_spool_fills_and_what_is_lost_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (text, tester) = a_tester("--fast|--sample-rate-hz=2000").await;
    let reserved = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let server = reserved.local_addr().unwrap();
    drop(reserved);
    let feed = format!(
        "--server={server}|--connect={tester}|--spool-limit=1|--spool={}",
        spool(&folder)
    );
    let feeding = tokio::spawn(run_with(options(&feed), Controls::default()));
    tokio::time::sleep(Duration::from_millis(2500)).await;
    let bench = Bench::new(Manners::default());
    bench.serve(&server.to_string()).await;
    let report = feeding.await.unwrap().unwrap();
    let run = bench.only_run();
    let (got, meant) = (run.samples(), meant(&text));
    assert!(
        report.lost_samples > 0 && got.len() + report.lost_samples as usize == meant.len(),
        "{report}"
    );
    // What is there is in order and none of it twice: each sample is one of those meant, later than the one before.
    let mut rest = meant.iter();
    assert!(got.iter().all(|got| rest.any(|meant| meant == got)));
}

#[tokio::test]
async fn damage_is_counted_told_and_never_stops_a_recording() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("noisy.csv");
    std::fs::write(
        &file,
        b"t;s;F\n0;0.0;1.0\n1000;0.1;\xff\n2000;0.2;3.0\n3000;0,3;4.0\n4000;0.4;5.0",
    )
    .unwrap();
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--server={server}|--file={}|--columns=elapsed:us,deflection:mm,load:N|--separator=semicolon|--skip-lines=1|--spool={}|--spring=springs/a7|--tare=2 lbf|--load-cell-class=0.5",
        file.display(),
        spool(&folder)
    );
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    let run = bench.only_run();
    assert_eq!(run.samples().len(), 3);
    assert_eq!((report.malformed, report.gaps), (2, 2));
    let json = report.to_json();
    assert_eq!(json["malformedLines"][0]["line"], 3);
    assert_eq!(
        json["malformedLines"][1]["reason"],
        "deflection has a decimal comma; the decimal sign is a point: write 0.3"
    );
    let Some(v1::run_header::Kind::RateTest(test)) = run.header.kind else {
        panic!()
    };
    assert_eq!(test.tare_load.unwrap().unit(), v1::force::Unit::PoundForce);
    assert_eq!(test.load_cell.unwrap().class(), v1::load_cell::Class::Half);
    assert_eq!(run.header.spring, "springs/a7");
}

#[tokio::test]
async fn a_source_without_a_sample_leaves_no_run_behind() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("empty.csv");
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    for text in ["# columns load:N\n# end 0\n", "# columns load:N\nx\n"] {
        std::fs::write(&file, text).unwrap();
        let feed = format!("--server={server}|--file={}|--spool={}", file.display(), spool(&folder));
        let error = run_with(options(&feed), Controls::default()).await.unwrap_err();
        assert!(matches!(error, FeedError::NoSamples), "{error}");
    }
    assert_eq!(bench.runs(), 0);
    assert!(!Path::new(&spool(&folder)).exists());
}

#[tokio::test]
async fn samples_at_hand_are_recorded_without_a_spool() {
    let bench = Bench::new(Manners {
        faults: 3,
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let channel = channel(&server.to_string()).unwrap();
    let columns: Columns = "deflection:mm,load:N".parse().unwrap();
    let header = options("--stdin").run.header(&columns, &[]);
    let sample = |number: i64| Sample {
        clock_ns: Some(number * 1000),
        values: vec![number as f64, 9.5 * number as f64],
    };
    let recorded = record(channel, header, tokio_stream::iter((0..5000).map(sample)))
        .await
        .unwrap();
    assert_eq!(recorded.run.sample_count, 5000);
    assert!(
        bench
            .only_run()
            .samples()
            .iter()
            .zip(0..)
            .all(|(got, n)| got.1 == n * 1000 && got.2[0] == n as f64)
    );
}
