//! From the start of the program to its first answer after a clean stop, and what it holds while nothing happens.

use std::path::Path;
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use acceptance::Server;
use store::record::RecordId;
use store::{Moment, RequestKey, SpringBody, Store};

use crate::calls::load_request;
use crate::raw::{Call, Client};
use crate::samples::test;
use crate::storage::record;
use crate::table::{Line, note};

const SPRINGS: u32 = 100_000;
const RUNS: u128 = 100;
/// Readings of a run: two strokes at 100 a second.
const READINGS: usize = 4_060;
/// Callers that wait at a time while the store is filled: what they wait for goes to the disk in one group.
const FILLERS: usize = 128;
const STARTS: usize = 5;
/// After the first answer the server settles before its memory is read.
const IDLE: Duration = Duration::from_secs(2);

/// The rows of starting.
pub(crate) fn rows(dir: &Path) -> Result<Vec<Line>, String> {
    let empty = dir.join("empty");
    Server::create(&empty)?.stop()?;
    let (took, kib) = start(&empty)?;
    let mut lines = vec![
        Line::new("start", "first answer after a clean stop, empty store").measured(millis(took)),
        Line::new("start", "memory of an idle server, empty store")
            .measured(format!("{:.1} MB", kib as f64 * 1_024.0 / 1e6))
            .ratio("", "<= 25 MB"),
    ];
    let full = dir.join("full");
    fill(&full)?;
    let (took, kib) = start(&full)?;
    let what = format!("first answer after a clean stop, {SPRINGS} springs and {RUNS} runs of {READINGS} readings");
    lines.push(Line::new("start", what).measured(format!(
        "{}, then {:.1} MB",
        millis(took),
        kib as f64 * 1_024.0 / 1e6
    )));
    Ok(lines)
}

fn millis(took: Duration) -> String {
    format!("{:.0} ms", took.as_secs_f64() * 1e3)
}

/// The median time to the first answer, and the memory the last server held, KiB.
fn start(store: &Path) -> Result<(Duration, u64), String> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| error.to_string())?;
    let call = Call::new("/springwright.v1.SpringService/LoadAtLength", &load_request());
    let (mut times, mut kib) = (Vec::new(), 0);
    for _ in 0..STARTS {
        let started = Instant::now();
        let mut server = Server::open(store)?;
        let answer = async { Client::connect(server.address()).await?.call(&call).await };
        runtime.block_on(answer)?;
        times.push(started.elapsed());
        if times.len() == STARTS {
            thread::sleep(IDLE);
            kib = server.resident_kib()?;
        }
        server.stop()?;
    }
    times.sort_unstable();
    Ok((times.get(STARTS / 2).copied().unwrap_or_default(), kib))
}

fn fill(dir: &Path) -> Result<(), String> {
    note(&format!("start: making {SPRINGS} springs and {RUNS} runs"));
    let started = Instant::now();
    let engine = store::embedded::create(dir).map_err(|error| error.to_string())?;
    let store = Store::over(engine.clone()).map_err(|error| error.to_string())?;
    let next = AtomicU32::new(0);
    thread::scope(|scope| {
        let fillers: Vec<_> = (0..FILLERS)
            .map(|_| scope.spawn(|| make_springs(&store, &next)))
            .collect();
        fillers
            .into_iter()
            .try_for_each(|filler| filler.join().map_err(|_| "a filler ended badly".to_owned())?)
    })?;
    let test = test(READINGS, 2)?;
    for number in 1..=RUNS {
        record(&store, number, &test, 256).map_err(|error| error.to_string())?;
    }
    while store.seal_due(64).map_err(|error| error.to_string())? {}
    drop(store);
    engine.close().map_err(|error| error.to_string())?;
    note(&format!("start: made in {:.0} s", started.elapsed().as_secs_f64()));
    Ok(())
}

fn make_springs(store: &Store, next: &AtomicU32) -> Result<(), String> {
    loop {
        let number = next.fetch_add(1, Ordering::Relaxed);
        if number >= SPRINGS {
            return Ok(());
        }
        let body = SpringBody {
            label: format!("spring {number}"),
            marking_text: "9.5 N/mm".to_owned(),
            rack_place: format!("shelf {}", number % 40),
            active_coil_count: Some(8.5),
            ..Default::default()
        };
        let request = RequestKey::new((1_u128 << 100 | u128::from(number)).to_be_bytes(), "bench", &[]);
        let id = RecordId::parse(&format!("spring-{number:06}"));
        let now = Moment::from_nanos(1_900_000_000_000_000_000 + i64::from(number));
        store
            .create(now, &request, id.as_ref(), body)
            .map_err(|error| error.to_string())?;
    }
}
