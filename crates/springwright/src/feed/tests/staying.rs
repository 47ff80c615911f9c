//! Testers that wait, and feeds that stay with them.

use wire::v1::instruction::Action;

use super::*;

/// A tester that waits, and where it listens.
async fn a_waiting_tester(arguments: &str) -> SocketAddr {
    let arguments = format!("tester|--wait|{arguments}");
    let line = TesterLine::try_parse_from(arguments.split('|')).unwrap();
    let setup = tester::Setup::try_from(&line.options).unwrap();
    let (pace, manner) = (line.options.pace(), line.options.manner());
    let tester = tester::Tester::bind(line.options.listen, setup, pace, manner)
        .await
        .unwrap();
    let address = tester.address();
    tokio::spawn(tester.serve(CancellationToken::new()));
    address
}

fn zeroed(mark: Option<v1::TareMark>) -> Option<f64> {
    mark.and_then(|mark| mark.zeroed_load).and_then(|load| load.value)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tester_that_waits_is_started_and_tared_and_cuts_lose_neither_samples_nor_zeros() {
    const SETUP: &str = "--speed=20|--tare=50 N|--noise=0 N";
    let folder = tempfile::tempdir().unwrap();
    let (text, _) = a_tester(SETUP).await;
    let tester = a_waiting_tester(SETUP).await;
    let (proxy, _) = a_cutting_proxy(tester, 6, 3_000..12_000).await;
    let bench = Bench::new(Manners {
        faults: 6,
        tells: vec![Action::TareMark, Action::Start],
        tare_at: Some(12),
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--server={server}|--connect={proxy}|--block-ms=20|--spool={}",
        spool(&folder)
    );
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    let run = bench.only_run();
    assert!(run.finished.is_some() && report.source_reconnects >= 3, "{report}");
    assert_eq!(run.header.obeys, [1, 2, 3, 4]);
    assert_eq!(zeroed(run.blocks[0].tare_mark), Some(50.0));
    let marks: Vec<f64> = run.blocks.iter().filter_map(|block| zeroed(block.tare_mark)).collect();
    assert!(marks.len() >= 2 && marks.iter().any(|mark| *mark > 60.0), "{marks:?}");
    // What was taken off, put on again, is what the cell showed.
    let mut zero = 0.0;
    let mut raw = Vec::new();
    for block in &run.blocks {
        zero = zeroed(block.tare_mark).unwrap_or(zero);
        raw.extend(block.columns[1].values.iter().map(|load| load + zero));
    }
    let meant = meant(&text);
    assert_eq!(raw.len(), meant.len());
    for (raw, meant) in raw.iter().zip(&meant) {
        assert!((raw - meant.2[1]).abs() < 0.051, "{raw} {meant:?}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_feed_that_stays_opens_a_run_for_each_spring_until_it_is_ended() {
    let folder = tempfile::tempdir().unwrap();
    let tester = a_waiting_tester("--fast|--strokes=1").await;
    let bench = Bench::new(Manners {
        tells: vec![Action::Start],
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!("--stay|--server={server}|--connect={tester}|--spool={}", spool(&folder));
    let (controls, mut reports) = (Controls::default(), Vec::new());
    let told = |report: &FeedReport| {
        reports.push(report.samples);
        if reports.len() == 3 {
            controls.finish.cancel();
        }
    };
    stay(options(&feed), controls.clone(), told).await.unwrap();
    // The same spring each time, with other noise.
    assert!(
        reports.len() == 3 && reports.iter().all(|samples| *samples == reports[0]),
        "{reports:?}"
    );
    assert_eq!(bench.runs(), 3);
    assert!(!Path::new(&spool(&folder)).exists());
}

#[tokio::test]
async fn a_run_that_waits_leaves_nothing_behind_when_the_feed_is_ended() {
    let folder = tempfile::tempdir().unwrap();
    let tester = a_waiting_tester("--fast").await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!("--stay|--server={server}|--connect={tester}|--spool={}", spool(&folder));
    let controls = Controls::default();
    let staying = tokio::spawn(stay(options(&feed), controls.clone(), |_: &FeedReport| {}));
    while bench.runs() == 0 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    controls.finish.cancel();
    staying.await.unwrap().unwrap();
    assert!(!Path::new(&spool(&folder)).exists());
    assert_eq!(bench.only_run().blocks.len(), 0);
}
