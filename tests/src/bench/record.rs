//! Recording through every layer until it is durable, against a bare loop that commits rows of the same bytes.

use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use acceptance::{Server, both};
use bytes::{Bytes, BytesMut};
use prost::Message;
use prost::encoding::{WireType, encode_key, encode_varint};
use tokio::sync::Barrier;
use tokio_stream::{Stream, StreamExt as _};
use wire::v1;
use wire::v1::record_run_request::Step;
use wire::v1::record_run_response::Step as Reply;

use crate::process::cpu_time;
use crate::raw::Client;
use crate::samples::{Test, test};
use crate::storage::{header, stored_rows};
use crate::table::{Line, note, percent};

const STREAMS: usize = 16;
/// Samples of a block: what the program's own feed sends.
pub(crate) const SAMPLES: usize = 256;
/// Blocks each stream sends.
const BLOCKS: usize = 1_000;
/// Strokes of the test that is sent: 100 readings a second.
const STROKES: usize = 126;
/// Blocks a group of the store holds at most; 16 streams can have as many on their way.
const GROUP: usize = 1_024;
const ROUNDS: usize = 3;

/// The row of recording.
pub(crate) async fn rows(dir: &Path) -> Result<Vec<Line>, String> {
    let (blocks, stored) = crate::blocking(|| {
        let test = test(SAMPLES * (BLOCKS + 1), STROKES)?;
        Ok((blocks(&test), stored_rows(&test, SAMPLES)?))
    })
    .await?;
    let row_bytes = stored.bytes / stored.rows;
    note(&format!("record: {row_bytes} bytes a row of {SAMPLES} samples"));
    let bare = acceptance::built(
        "bare_committer",
        &["--release", "-p", "store", "--example", "bare_committer"],
    )?;
    let server = Server::create(&dir.join("record"))?;
    let (mut ours, mut theirs, mut groups) = (Vec::new(), Vec::new(), 0);
    let before = cpu_time(server.id())?;
    for round in 0..ROUNDS {
        let folder = dir.join(format!("bare{round}"));
        std::fs::create_dir_all(&folder).map_err(|error| error.to_string())?;
        let (rate, count) = run_bare(&bare, &folder, row_bytes)?;
        theirs.push(rate);
        groups = count;
        let took = record(server.address(), &blocks).await?;
        ours.push((STREAMS * BLOCKS) as f64 / took.as_secs_f64());
        note(&format!(
            "record: {:.0} blocks/s, bare {rate:.0}",
            ours.last().unwrap_or(&0.0)
        ));
    }
    let cpu = cpu_time(server.id())?.saturating_sub(before).as_secs_f64() * 1e6 / (ROUNDS * STREAMS * BLOCKS) as f64;
    let (ours, theirs) = (middle(ours), middle(theirs));
    let what = format!("RecordRun, {STREAMS} streams, {SAMPLES} samples and {row_bytes} stored bytes a block");
    Ok(vec![
        Line::new("record", what)
            .measured(format!("{ours:.0} blocks/s, CPU {cpu:.0} us"))
            .against(format!("bare committer {theirs:.0} blocks/s in {groups} groups"))
            .ratio(percent(ours, theirs), ">= 70 %"),
    ])
}

fn middle(mut rates: Vec<f64>) -> f64 {
    rates.sort_unstable_by(f64::total_cmp);
    rates.get(rates.len() / 2).copied().unwrap_or(f64::NAN)
}

fn run_bare(program: &Path, dir: &Path, row_bytes: usize) -> Result<(f64, usize), String> {
    let numbers = [STREAMS * BLOCKS, STREAMS, row_bytes, GROUP].map(|number| number.to_string());
    let output = Command::new(program).arg(dir).args(numbers).output();
    let output = output.map_err(|error| error.to_string())?;
    let text = String::from_utf8_lossy(&output.stdout);
    let mut words = text.split_whitespace();
    let rate = words.next().and_then(|word| word.parse().ok());
    let groups = words.next().and_then(|word| word.parse().ok());
    rate.zip(groups).ok_or_else(|| both(&output))
}

/// The blocks' contents, encoded, without their numbers.
pub(crate) fn blocks(test: &Test) -> Arc<Vec<Bytes>> {
    let columns = |at: usize| {
        let of = |column: &[f64]| column.iter().skip(at).take(SAMPLES).copied().collect();
        vec![
            v1::ValueColumn {
                values: of(&test.deflections),
            },
            v1::ValueColumn {
                values: of(&test.loads),
            },
        ]
    };
    let all = (0..test.loads.len() / SAMPLES).map(|block| {
        let at = block * SAMPLES;
        let elapsed = test.elapsed_us.iter().skip(at).take(SAMPLES);
        let block = v1::Block {
            elapsed_ns: elapsed.map(|us| us * 1_000).collect(),
            columns: columns(at),
            ..Default::default()
        };
        Bytes::from(block.encode_to_vec())
    });
    Arc::new(all.collect())
}

/// The step that sends a block: its number after its content, which a reader of the format takes in any order.
pub(crate) fn numbered(block: &Bytes, number: usize) -> Bytes {
    let mut tail = BytesMut::new();
    encode_key(1, WireType::Varint, &mut tail);
    encode_varint(number as u64, &mut tail);
    let mut step = BytesMut::with_capacity(block.len() + tail.len() + 8);
    encode_key(2, WireType::LengthDelimited, &mut step);
    encode_varint((block.len() + tail.len()) as u64, &mut step);
    step.extend_from_slice(block);
    step.extend_from_slice(&tail);
    step.freeze()
}

/// Records on every stream at once; the time from the first block until the last run is finished.
async fn record(address: SocketAddr, blocks: &Arc<Vec<Bytes>>) -> Result<Duration, String> {
    let barrier = Arc::new(Barrier::new(STREAMS + 1));
    let mut streams = Vec::new();
    for stream in 0..STREAMS {
        let client = Client::connect(address).await?;
        let (blocks, barrier) = (Arc::clone(blocks), Arc::clone(&barrier));
        streams.push(tokio::spawn(one(client, stream, blocks, barrier)));
    }
    barrier.wait().await;
    let started = Instant::now();
    for stream in streams {
        stream.await.map_err(|error| error.to_string())??;
    }
    Ok(started.elapsed())
}

async fn one(mut client: Client, stream: usize, blocks: Arc<Vec<Bytes>>, go: Arc<Barrier>) -> Result<(), String> {
    let (sender, steps) = tokio::sync::mpsc::channel(16);
    let request_id = uuid_of(stream);
    let first = v1::RecordRunRequest {
        step: Some(Step::Header(Box::new(header(request_id)))),
    };
    sender
        .send(Bytes::from(first.encode_to_vec()))
        .await
        .map_err(|error| error.to_string())?;
    let steps = tokio_stream::wrappers::ReceiverStream::new(steps);
    let mut replies = client.stream("/springwright.v1.RunService/RecordRun", steps).await?;
    match next(&mut replies).await? {
        Reply::Accepted(_) => {}
        other => return Err(format!("a header was answered with {other:?}")),
    }
    go.wait().await;
    let sending = tokio::spawn(async move {
        for (number, block) in (1..=BLOCKS).zip(blocks.iter()) {
            if sender.send(numbered(block, number)).await.is_err() {
                return;
            }
        }
        let finish = v1::Finish {
            block_count: BLOCKS as i64,
            sample_count: (BLOCKS * SAMPLES) as i64,
            crc32c: None,
        };
        let last = v1::RecordRunRequest {
            step: Some(Step::Finish(finish)),
        };
        // The answers tell when nobody takes it.
        let _ = sender.send(Bytes::from(last.encode_to_vec())).await;
    });
    loop {
        if let Reply::Finished(_) = next(&mut replies).await? {
            break;
        }
    }
    sending.await.map_err(|error| error.to_string())
}

pub(crate) async fn next(
    replies: &mut (impl Stream<Item = Result<Bytes, tonic::Status>> + Unpin),
) -> Result<Reply, String> {
    let reply = replies.next().await.ok_or("the stream ended early")?;
    let reply = v1::RecordRunResponse::decode(reply.map_err(|status| status.to_string())?);
    reply
        .map_err(|error| error.to_string())?
        .step
        .ok_or_else(|| "an empty answer".to_owned())
}

/// A request id of its own for every stream of every round.
pub(crate) fn uuid_of(stream: usize) -> String {
    let now = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .unwrap_or_default();
    let (high, low) = ((now.as_nanos() as u64), stream as u64);
    format!("{:08x}-{:04x}-4000-8000-{low:012x}", high >> 32, (high >> 16) & 0xffff)
}
