//! What records and runs promise, over the engine in memory and the one on disk.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test all through; the lints only know the test functions themselves"
)]

mod compat;
mod damage;
mod drawer;
mod erasing;
mod history;
mod model;
mod races;
mod recording;
mod sealing;
mod text;

use std::path::Path;
use std::sync::Arc;

use store::engine::Engine;
use store::engine::memory::MemoryEngine;
use store::engine::sled::{SledEngine, SledOptions};
use store::record::{Quantity, RunColumn, RunHeader, SpringBody};
use store::{Block, Moment, RecordId, RequestKey, Store};

const DAY: i64 = 86_400_000_000_000;

fn at(nanos: i64) -> Moment {
    Moment::from_nanos(nanos)
}

fn id(text: &str) -> RecordId {
    RecordId::parse(text).unwrap()
}

/// A request of its own number; the method and the content are part of its digest.
fn request(number: u64, method: &str, content: &str) -> RequestKey {
    let mut id = [0; 16];
    id[8..].copy_from_slice(&number.to_be_bytes());
    RequestKey::new(id, method, content.as_bytes())
}

fn spring(label: &str) -> SpringBody {
    SpringBody {
        label: label.into(),
        marked_rate: Some(Quantity { value: 9.5, unit: 1 }),
        ..Default::default()
    }
}

fn header() -> RunHeader {
    let columns = vec![RunColumn { quantity: 2, unit: 1 }, RunColumn { quantity: 3, unit: 1 }];
    RunHeader {
        tester: "bench 1".into(),
        columns,
        ..Default::default()
    }
}

fn in_memory() -> (Arc<MemoryEngine>, Store) {
    let engine = Arc::new(MemoryEngine::new());
    let store = Store::over(engine.clone()).unwrap();
    (engine, store)
}

/// Opens the store in the folder, or makes it.
fn on_disk(dir: &Path) -> Arc<dyn Engine> {
    let options = SledOptions {
        reserve: 0,
        check: store::check::check_value,
        read_all: true,
        ..SledOptions::new(dir)
    };
    let engine = match dir.exists() {
        true => SledEngine::open_existing(&options),
        false => SledEngine::create(&options),
    };
    Arc::new(engine.unwrap())
}

fn block(number: u64, samples: usize) -> Block {
    let first = (number - 1) as i64 * samples as i64;
    let column = |scale: f64| (first..first + samples as i64).map(|i| i as f64 * scale).collect();
    Block {
        number,
        elapsed_ns: (first..first + samples as i64).map(|i| i * 500_000).collect(),
        columns: vec![column(0.01), column(0.5)],
        ..Default::default()
    }
}

/// Every row of the engine.
fn rows(engine: &dyn Engine) -> Vec<(Vec<u8>, Vec<u8>)> {
    engine
        .page(
            &store::engine::KeyRange::all(),
            store::engine::Order::Ascending,
            100_000,
        )
        .unwrap()
}

fn assert_sound(store: &Store) {
    let report = store::check::verify(store).unwrap();
    assert!(report.is_sound(), "{:#?}", report.problems);
}
