//! Lines that cut and garble what they carry: nothing that came whole is lost, nothing comes twice, nothing wrong gets in.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Mutex;

use tokio::io::{AsyncBufReadExt, BufReader};

use super::*;
use crate::tty::{DataBits, Flow, Parity, Pty, SerialSettings, StopBits, Tty};

/// Damages in a test.
const DAMAGES: u32 = 100;
/// Lines from one damage to the next.
const EVERY: u64 = 30;

/// What a bad line does to what it carries.
struct BadLine {
    chance: ChaCha8Rng,
    lines: u64,
    done: Arc<AtomicU32>,
}

/// What becomes of a line.
enum Fate {
    Whole,
    /// Other bytes arrive.
    Garbled(Vec<u8>),
    /// So much arrives, and then nothing more.
    Cut(Vec<u8>),
}

impl BadLine {
    fn new(seed: u64) -> Self {
        Self {
            chance: ChaCha8Rng::seed_from_u64(seed),
            lines: 0,
            done: Arc::default(),
        }
    }

    fn fate(&mut self, line: &[u8]) -> Fate {
        self.lines += 1;
        if self.done.load(Ordering::SeqCst) >= DAMAGES || !self.lines.is_multiple_of(EVERY) {
            return Fate::Whole;
        }
        self.done.fetch_add(1, Ordering::SeqCst);
        let mut garbled = line.to_vec();
        let at = self.chance.random_range(0..line.len() - 1);
        match self.chance.random_range(0..4) {
            0 => garbled[at] ^= 1 << self.chance.random_range(0..8),
            1 => drop(garbled.remove(at)),
            // Without its end it is joined with the next one.
            2 => drop(garbled.pop()),
            _ => {
                garbled.truncate(at);
                return Fate::Cut(garbled);
            }
        }
        if garbled == line {
            Fate::Whole
        } else {
            Fate::Garbled(garbled)
        }
    }
}

const SETTINGS: SerialSettings = SerialSettings {
    baud: 115_200,
    data_bits: DataBits::Eight,
    parity: Parity::None,
    stop_bits: StopBits::One,
    flow: Flow::None,
};

/// A tester at a pseudo-terminal, and its device.
fn a_tester_on_a_line(arguments: &str) -> PathBuf {
    let line = TesterLine::try_parse_from(std::iter::once("tester").chain(arguments.split('|'))).unwrap();
    let setup = tester::Setup::try_from(&line.options).unwrap();
    let (pace, manner) = (line.options.pace(), line.options.manner());
    let pty = Pty::new().unwrap();
    let device = pty.device().to_owned();
    tokio::spawn(async move {
        tester::serve_pty(&pty, setup, pace, manner, CancellationToken::new())
            .await
            .unwrap();
    });
    device
}

/// Numbers of the readings that were damaged on their way.
type Damaged = Arc<Mutex<BTreeSet<u64>>>;

/// A bad line from a tester's device to one whose name stays while the device behind it changes, as that of an adapter that
/// is pulled out and put in again.
fn a_bad_line(tester: PathBuf, name: PathBuf, damaged: Damaged) -> Arc<AtomicU32> {
    let mut bad = BadLine::new(7);
    let made = Arc::clone(&bad.done);
    tokio::spawn(async move {
        loop {
            let pty = Pty::new().unwrap();
            let _ = std::fs::remove_file(&name);
            std::os::unix::fs::symlink(pty.device(), &name).unwrap();
            while !pty.is_open().unwrap() {
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
            let feed = pty.line().unwrap();
            let tester = Tty::open(&tester, SETTINGS).unwrap();
            carry(feed, tester, &mut bad, &damaged).await;
            // Nobody pulls an adapter out and puts it in again faster.
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    });
    made
}

async fn carry(feed: Tty, tester: Tty, bad: &mut BadLine, damaged: &Damaged) {
    let (mut from_feed, mut to_feed) = tokio::io::split(feed);
    let (from_tester, mut to_tester) = tokio::io::split(tester);
    let mut from_tester = BufReader::new(from_tester);
    let up = async {
        let mut bytes = [0; 256];
        while let Ok(count) = from_feed.read(&mut bytes).await {
            if to_tester.write_all(&bytes[..count]).await.is_err() {
                return;
            }
        }
    };
    let down = async {
        let mut joined: Option<u64> = None;
        loop {
            let mut line = Vec::new();
            if from_tester.read_until(b'\n', &mut line).await.is_err() {
                return;
            }
            let number = number_of(&line);
            damaged.lock().unwrap().extend(joined.take().and(number));
            let (sent, cut) = match bad.fate(&line) {
                Fate::Whole => (line, false),
                Fate::Garbled(garbled) => {
                    damaged.lock().unwrap().extend(number);
                    joined = (!garbled.ends_with(b"\n")).then_some(0);
                    (garbled, false)
                }
                Fate::Cut(rest) => (rest, true),
            };
            if to_feed.write_all(&sent).await.is_err() {
                return;
            }
            if cut {
                // What was written is read before the line goes.
                tokio::time::sleep(Duration::from_millis(5)).await;
                return;
            }
        }
    };
    tokio::select! {
        () = up => {}
        () = down => {}
    }
}

/// The number of a sealed reading; none: it is a note, or no whole line.
fn number_of(line: &[u8]) -> Option<u64> {
    let text = std::str::from_utf8(line).ok().filter(|text| !text.starts_with('#'))?;
    text.split('*').nth(1)?.parse().ok()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_serial_line_cut_and_garbled_a_hundred_times_lets_nothing_wrong_in() {
    let folder = tempfile::tempdir().unwrap();
    let (text, _) = a_tester("--fast").await;
    let device = a_tester_on_a_line("--fast|--checksum");
    let (name, damaged) = (folder.path().join("tty"), Damaged::default());
    let made = a_bad_line(device, name.clone(), Arc::clone(&damaged));
    while !name.exists() {
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--server={server}|--serial={}|--baud=115200|--checksum|--spool={}",
        name.display(),
        spool(&folder)
    );
    let report = run_with(options(&feed), Controls::default()).await.unwrap();
    let (run, meant) = (bench.only_run(), meant(&text));
    let got = run.samples();
    let gaps: Vec<_> = run.blocks.iter().filter_map(|block| block.gap_before.clone()).collect();
    let lost: i64 = gaps.iter().filter_map(|gap| gap.lost_sample_count).sum();
    // Each sample is one of those meant, later than the one before; what is missing is told, and was damaged on its way.
    let mut numbers = (1u64..).zip(&meant);
    let taken: BTreeSet<u64> = got
        .iter()
        .map(|got| {
            numbers
                .find(|(_, meant)| *meant == got)
                .expect("a sample that was never said")
                .0
        })
        .collect();
    let missing: BTreeSet<u64> = (1..=meant.len() as u64)
        .filter(|number| !taken.contains(number))
        .collect();
    assert!(missing.is_subset(&damaged.lock().unwrap()), "{missing:?}");
    assert_eq!(got.len() + lost as usize, meant.len(), "{report}");
    assert_eq!(made.load(Ordering::SeqCst), DAMAGES, "{report}");
    assert!(
        report.malformed >= 40 && report.source_reconnects >= 10 && gaps.len() >= 40,
        "{report}"
    );
    assert!(
        run.finished.is_some() && gaps.iter().any(|gap| gap.cause.contains("checksum")),
        "{gaps:?}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_serial_line_opened_in_the_midst_of_a_line_begins_with_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let pty = Pty::new().unwrap();
    let device = pty.device().to_owned();
    let saying = tokio::spawn(async move {
        let mut number = 123_456_u64;
        while !pty.is_open().unwrap() {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        let mut line = pty.line().unwrap();
        // The end of a line whose beginning went by: it has as many fields as a whole one.
        line.write_all(b"0 77 88\n").await.unwrap();
        loop {
            number += 1;
            let text = format!("{} {number} {}\n", number * 1000, 2 * number);
            if line.write_all(text.as_bytes()).await.is_err() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    });
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let columns = "elapsed:us,deflection:mm,load:N";
    let feed = format!(
        "--server={server}|--serial={}|--columns={columns}|--spool={}",
        device.display(),
        spool(&folder)
    );
    let controls = Controls::default();
    let finish = controls.finish.clone();
    let feeding = tokio::spawn(run_with(options(&feed), controls));
    tokio::time::sleep(Duration::from_millis(400)).await;
    finish.cancel();
    let report = feeding.await.unwrap().unwrap();
    let got = bench.only_run().samples();
    assert!(got.len() > 10 && report.malformed == 0, "{report}");
    assert!(
        got.iter().all(|got| got.2[1] == 2.0 * got.2[0] && got.2[0] > 123_456.0),
        "{:?}",
        got[0]
    );
    assert!(got.windows(2).all(|pair| pair[1].2[0] == pair[0].2[0] + 1.0));
    saying.abort();
}

/// An instrument that is asked, and where it listens.
async fn an_instrument(arguments: &str) -> (Vec<Vec<f64>>, SocketAddr) {
    let line = TesterLine::try_parse_from(std::iter::once("tester").chain(arguments.split('|'))).unwrap();
    let setup = tester::Setup::try_from(&line.options).unwrap();
    let readings = tester::Readings::of(&setup);
    let address = "127.0.0.1:0".parse().unwrap();
    let instrument = tester::Instrument::bind(address, setup, line.options.pace())
        .await
        .unwrap();
    let address = instrument.address();
    tokio::spawn(instrument.serve(CancellationToken::new()));
    (
        readings.map(|reading| vec![reading.deflection, reading.load]).collect(),
        address,
    )
}

/// The answers that came through whole to a whole question.
type Whole = Arc<Mutex<Vec<Vec<f64>>>>;

/// Passes questions and answers on, badly.
async fn a_bad_connection(to: SocketAddr, whole: Whole) -> (SocketAddr, Arc<AtomicU32>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    // Lines of both ways are counted together.
    let mut bad = BadLine::new(11);
    let made = Arc::clone(&bad.done);
    tokio::spawn(async move {
        loop {
            let (feed, _) = listener.accept().await.unwrap();
            let instrument = TcpStream::connect(to).await.unwrap();
            feed.set_nodelay(true).unwrap();
            instrument.set_nodelay(true).unwrap();
            pass_on(feed, instrument, &mut bad, &whole).await;
        }
    });
    (address, made)
}

async fn pass_on(feed: TcpStream, instrument: TcpStream, bad: &mut BadLine, whole: &Whole) {
    let (from_feed, mut to_feed) = feed.into_split();
    let (from_instrument, mut to_instrument) = instrument.into_split();
    let mut questions = BufReader::new(from_feed).split(b'\n');
    let mut answers = BufReader::new(from_instrument).split(b'\n');
    loop {
        let (line, upwards) = tokio::select! {
            question = questions.next_segment() => (question, true),
            answer = answers.next_segment() => (answer, false),
        };
        let Ok(Some(mut line)) = line else { return };
        line.push(b'\n');
        let (sent, cut) = match bad.fate(&line) {
            Fate::Whole => {
                if !upwards {
                    let text = String::from_utf8_lossy(&line);
                    let values = text.split('*').next().unwrap_or_default().split(';').map(str::parse);
                    let values: Result<Vec<f64>, _> = values.collect();
                    if let Ok(values) = values
                        && values.len() == 3
                        && values[2] != 0.0
                    {
                        whole.lock().unwrap().push(values[..2].to_vec());
                    }
                }
                (line, false)
            }
            Fate::Garbled(garbled) => (garbled, false),
            Fate::Cut(rest) => (rest, true),
        };
        let written = if upwards {
            to_instrument.write_all(&sent).await
        } else {
            to_feed.write_all(&sent).await
        };
        if written.is_err() || cut {
            return;
        }
    }
}

fn asking(server: SocketAddr, instrument: SocketAddr, more: &str, folder: &tempfile::TempDir) -> Options {
    options(&format!(
        "--server={server}|--scpi={instrument}|--query=MEAS:DEFL?|--query=MEAS:LOAD?|--busy-query=STAT:OPER:COND?|\
         --columns=deflection:mm,load:N|--poll-hz=0|--spool={}{more}",
        spool(folder)
    ))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_dialogue_cut_and_garbled_a_hundred_times_lets_nothing_wrong_in() {
    let folder = tempfile::tempdir().unwrap();
    let (readings, instrument) = an_instrument("--fast").await;
    let whole = Whole::default();
    let (proxy, made) = a_bad_connection(instrument, Arc::clone(&whole)).await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = asking(server, proxy, "|--checksum|--answer-ms=60", &folder);
    let report = run_with(feed, Controls::default()).await.unwrap();
    let run = bench.only_run();
    let got: Vec<Vec<f64>> = run.samples().into_iter().map(|(_, _, values)| values).collect();
    assert_eq!(got, *whole.lock().unwrap());
    let mut said = readings.iter();
    assert!(
        got.iter().all(|got| said.any(|said| said == got)),
        "a reading that was never said, or twice"
    );
    assert_eq!(made.load(Ordering::SeqCst), DAMAGES, "{report}");
    assert!(report.malformed >= 20 && report.gaps >= 50, "{report}");
    assert_eq!(report.segments as u64, report.source_reconnects + 1, "{report}");
    assert!(run.finished.is_some());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_no_number_is_a_gap_and_the_clock_is_that_of_the_answers() {
    let folder = tempfile::tempdir().unwrap();
    let (readings, instrument) = an_instrument("--fast|--capacity=200 N").await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let feed = asking(server, instrument, "|--setup=*CLS|--setup=INIT", &folder);
    let report = run_with(feed, Controls::default()).await.unwrap();
    let run = bench.only_run();
    let got = run.samples();
    let below: Vec<&Vec<f64>> = readings.iter().filter(|reading| reading[1] < 200.0).collect();
    assert!(below.len() < readings.len() && got.iter().map(|(_, _, values)| values).eq(below.iter().copied()));
    assert_eq!(report.malformed as usize, readings.len() - below.len());
    assert!(
        got.windows(2).all(|pair| pair[0].1 < pair[1].1) && report.segments == 1,
        "{report}"
    );
    let gaps: Vec<_> = run.blocks.iter().filter_map(|block| block.gap_before.clone()).collect();
    assert!(gaps[0].cause.contains("overflow"), "{gaps:?}");
    let lost: i64 = gaps.iter().filter_map(|gap| gap.lost_sample_count).sum();
    assert_eq!(lost as u64, report.malformed);
}

#[tokio::test]
async fn an_instrument_that_refuses_its_set_up_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let (_, instrument) = an_instrument("--fast").await;
    let bench = Bench::new(Manners::default());
    let server = bench.serve("127.0.0.1:0").await;
    let error = run_with(
        asking(server, instrument, "|--setup=BEND:IT", &folder),
        Controls::default(),
    )
    .await;
    let words = error.unwrap_err().to_string();
    assert!(
        words.contains("refuses its set-up: -113,\"Undefined header\""),
        "{words}"
    );
    assert_eq!(bench.runs(), 0);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_feed_that_stays_at_a_serial_line_opens_a_run_for_each_spring() {
    let folder = tempfile::tempdir().unwrap();
    let device = a_tester_on_a_line("--wait|--fast|--strokes=1");
    let bench = Bench::new(Manners {
        tells: vec![v1::instruction::Action::Start],
        ..Manners::default()
    });
    let server = bench.serve("127.0.0.1:0").await;
    let feed = format!(
        "--stay|--server={server}|--serial={}|--spool={}",
        device.display(),
        spool(&folder)
    );
    let (controls, mut reports) = (Controls::default(), Vec::new());
    let over = controls.clone();
    let told = |report: &FeedReport| {
        reports.push(report.clone());
        if reports.len() == 3 {
            over.finish.cancel();
        }
    };
    stay(options(&feed), controls, told).await.unwrap();
    assert_eq!(reports.len(), 3);
    assert!(
        reports.iter().all(|report| report.samples > 1000 && report.gaps == 0),
        "{reports:?}"
    );
}
