//! Instruments at their own pace with nobody watching, and with watchers: what watching costs the recording.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use acceptance::Server;
use bytes::Bytes;
use prost::Message;
use tokio::task::JoinSet;
use tokio_stream::StreamExt as _;
use wire::v1;
use wire::v1::record_run_request::Step;
use wire::v1::record_run_response::Step as Reply;

use crate::process::cpu_time;
use crate::raw::Client;
use crate::record::{SAMPLES, blocks, next, numbered, uuid_of};
use crate::samples::test;
use crate::storage::header;
use crate::table::{Line, note};

const STREAMS: usize = 8;
/// Samples a second of each stream.
const RATE: f64 = 2_000.0;
const WATCHERS: usize = 50;
/// Connections the watchers share.
const CONNECTIONS: usize = 5;
/// Of the watchers, those that read nothing.
const STALLED: usize = 2;
/// Bytes a stalled watcher takes before it is read: the server's own buffers still have to fill.
const STALLED_WINDOW: u32 = 1_024;
/// Blocks of a part of a round: about 15 s.
const PART: usize = 120;
/// Without, with, without, with: what else the machine does falls on both.
const PARTS: usize = 4;

/// What a part of the time with or without watchers gave.
#[derive(Default)]
struct Side {
    nanos: Vec<u64>,
    late: usize,
    cpu: Duration,
    took: Duration,
}

impl Side {
    fn add(&mut self, parts: Vec<(Vec<u64>, usize)>) {
        for (nanos, late) in parts {
            self.nanos.extend(nanos);
            self.late += late;
        }
        self.nanos.sort_unstable();
    }

    fn millis(&self, share: f64) -> f64 {
        let at = (share * self.nanos.len().saturating_sub(1) as f64) as usize;
        self.nanos.get(at).map_or(f64::NAN, |nanos| *nanos as f64 / 1e6)
    }

    fn words(&self) -> String {
        format!(
            "p50 {:.1} ms, p99 {:.1} ms, longest {:.1} ms, {} late, CPU {:.0} %",
            self.millis(0.5),
            self.millis(0.99),
            self.millis(1.0),
            self.late,
            100.0 * self.cpu.as_secs_f64() / self.took.as_secs_f64(),
        )
    }
}

/// The row of recording while it is watched.
pub(crate) async fn rows(dir: &Path) -> Result<Vec<Line>, String> {
    let blocks = crate::blocking(|| Ok(blocks(&test(SAMPLES * (PART + 1), 8)?))).await?;
    let server = Server::create(&dir.join("watch"))?;
    let mut streams = Vec::new();
    for stream in 0..STREAMS {
        streams.push(Instrument::attach(server.address(), stream).await?);
    }
    let runs: Vec<String> = streams.iter().map(|stream| stream.run.clone()).collect();
    let (mut alone, mut watched) = (Side::default(), Side::default());
    let mut stalled: JoinSet<Result<String, String>> = JoinSet::new();
    let pictures = Arc::new(AtomicU64::new(0));
    for part in 0..PARTS {
        let with = part % 2 == 1;
        let mut watchers = JoinSet::new();
        if with {
            if stalled.is_empty() {
                stall(server.address(), &runs, &mut stalled).await?;
            }
            watch(server.address(), &runs, &pictures, &mut watchers).await?;
        }
        let (before, started) = (cpu_time(server.id())?, Instant::now());
        let done = press(&mut streams, &blocks).await?;
        let side = if with { &mut watched } else { &mut alone };
        side.add(done);
        side.cpu += cpu_time(server.id())?.saturating_sub(before);
        side.took += started.elapsed();
        note(&format!(
            "watch: {} {}",
            if with { "watched" } else { "alone" },
            side.words()
        ));
        if let Some(ended) = watchers.try_join_next() {
            return Err(format!("a watcher that reads ended: {ended:?}"));
        }
    }
    let mut ends = Vec::new();
    while let Some(ended) = stalled.join_next().await {
        ends.push(ended.map_err(|error| error.to_string())??);
    }
    note(&format!(
        "watch: {} pictures; those that read nothing: {}",
        pictures.load(Ordering::Relaxed),
        ends.join(", ")
    ));
    let what = format!("RecordRun, {STREAMS} streams of {RATE} samples/s, time to durable, {WATCHERS} watchers");
    Ok(vec![
        Line::new("watch", what)
            .measured(watched.words())
            .against(format!("unwatched {}", alone.words()))
            .ratio(
                format!("{:+.1} ms at p99", watched.millis(0.99) - alone.millis(0.99)),
                "<= +10 ms, 0 late",
            ),
        Line::new("watch", format!("{STALLED} watchers that read nothing"))
            .measured(ends.join(", "))
            .against("the others go on")
            .ratio("", "dropped"),
    ])
}

/// Every stream sends its next part at its own pace.
async fn press(streams: &mut Vec<Instrument>, blocks: &Arc<Vec<Bytes>>) -> Result<Vec<(Vec<u64>, usize)>, String> {
    let mut pressing = JoinSet::new();
    for (place, mut stream) in streams.drain(..).enumerate() {
        let blocks = Arc::clone(blocks);
        pressing.spawn(async move {
            // Instruments do not tick together.
            tokio::time::sleep(block_time().mul_f64(place as f64 / STREAMS as f64)).await;
            let seen = stream.part(&blocks).await;
            (place, stream, seen)
        });
    }
    let mut done = Vec::new();
    while let Some(one) = pressing.join_next().await {
        let (place, stream, seen) = one.map_err(|error| error.to_string())?;
        done.push((place, stream, seen?));
    }
    done.sort_by_key(|(place, ..)| *place);
    let mut seen = Vec::new();
    for (_, stream, one) in done {
        streams.push(stream);
        seen.push(one);
    }
    Ok(seen)
}

fn block_time() -> Duration {
    Duration::from_secs_f64(SAMPLES as f64 / RATE)
}

/// One instrument's stream.
struct Instrument {
    run: String,
    sender: tokio::sync::mpsc::Sender<Bytes>,
    replies: tonic::Streaming<Bytes>,
    sent: usize,
}

impl Instrument {
    async fn attach(address: SocketAddr, stream: usize) -> Result<Self, String> {
        let mut client = Client::connect(address).await?;
        let (sender, steps) = tokio::sync::mpsc::channel(1);
        let mut head = header(uuid_of(stream));
        head.tester = format!("tester {stream}");
        let step = v1::RecordRunRequest {
            step: Some(Step::Header(Box::new(head))),
        };
        let first = Bytes::from(step.encode_to_vec());
        sender.send(first).await.map_err(|error| error.to_string())?;
        let steps = tokio_stream::wrappers::ReceiverStream::new(steps);
        let mut replies = client.stream("/springwright.v1.RunService/RecordRun", steps).await?;
        match next(&mut replies).await? {
            Reply::Accepted(accepted) => Ok(Self {
                run: accepted.run,
                sender,
                replies,
                sent: 0,
            }),
            other => Err(format!("a header was answered with {other:?}")),
        }
    }

    /// Sends a part; how long each block took to be known as durable, and how many left late because the one before had
    /// not been taken.
    async fn part(&mut self, blocks: &[Bytes]) -> Result<(Vec<u64>, usize), String> {
        let began = Instant::now();
        let first = self.sent + 1;
        let due = |number: usize| began + block_time().mul_f64((number - first) as f64);
        let (sender, mut late) = (self.sender.clone(), 0);
        let sending = async {
            for (number, block) in (first..).zip(blocks.iter().take(PART)) {
                tokio::time::sleep_until(due(number).into()).await;
                let step = numbered(block, number);
                sender.send(step).await.map_err(|error| error.to_string())?;
                late += usize::from(due(number).elapsed() > block_time());
            }
            Ok::<(), String>(())
        };
        let replies = &mut self.replies;
        let hearing = async {
            let mut nanos = Vec::with_capacity(PART);
            while nanos.len() < PART {
                if let Reply::Progress(progress) = next(replies).await? {
                    let through = usize::try_from(progress.durable_through).unwrap_or(0);
                    for number in (first + nanos.len())..=through.min(first + PART - 1) {
                        nanos.push(u64::try_from(due(number).elapsed().as_nanos()).unwrap_or(u64::MAX));
                    }
                }
            }
            Ok::<_, String>(nanos)
        };
        let ((), nanos) = tokio::try_join!(sending, hearing)?;
        self.sent += PART;
        Ok((nanos, late))
    }
}

fn watch_request(run: &str) -> Bytes {
    let request = v1::WatchBenchRequest {
        run: run.to_owned(),
        ..Default::default()
    };
    request.encode_to_vec().into()
}

async fn open(client: &mut Client, run: &str) -> Result<tonic::Streaming<Bytes>, String> {
    let request = tokio_stream::once(watch_request(run));
    client.stream("/springwright.v1.RunService/WatchBench", request).await
}

/// Watchers that read whatever comes, spread over the runs; they end when they are dropped.
async fn watch(
    address: SocketAddr,
    runs: &[String],
    pictures: &Arc<AtomicU64>,
    watchers: &mut JoinSet<Result<(), String>>,
) -> Result<(), String> {
    let mut clients = Vec::new();
    for _ in 0..CONNECTIONS {
        clients.push(Client::connect(address).await?);
    }
    for (place, run) in (0..WATCHERS - STALLED).zip(runs.iter().cycle()) {
        let Some(client) = clients.get_mut(place % CONNECTIONS) else {
            break;
        };
        let mut shown = open(client, run).await?;
        let pictures = Arc::clone(pictures);
        watchers.spawn(async move {
            while let Some(picture) = shown.next().await {
                picture.map_err(|status| status.to_string())?;
                pictures.fetch_add(1, Ordering::Relaxed);
            }
            Err("the stream ended".to_owned())
        });
    }
    Ok(())
}

/// Watchers that read nothing until everything else is over, and then tell how they were ended.
async fn stall(
    address: SocketAddr,
    runs: &[String],
    stalled: &mut JoinSet<Result<String, String>>,
) -> Result<(), String> {
    for run in runs.iter().take(STALLED) {
        let mut client = Client::with_window(address, STALLED_WINDOW).await?;
        let mut shown = open(&mut client, run).await?;
        stalled.spawn(async move {
            let _client = client;
            tokio::time::sleep(block_time().mul_f64(((PARTS - 1) * PART) as f64)).await;
            let patience = Duration::from_secs(3);
            let mut count = 0;
            loop {
                match tokio::time::timeout(patience, shown.next()).await {
                    Ok(Some(Ok(_))) if count < 2_000 => count += 1,
                    Ok(Some(Ok(_))) | Err(_) => return Ok(format!("NOT dropped ({count} pictures)")),
                    Ok(Some(Err(status))) => return Ok(format!("dropped, {:?} after {count} pictures", status.code())),
                    Ok(None) => return Ok(format!("dropped after {count} pictures")),
                }
            }
        });
    }
    Ok(())
}
