//! When the engine fails it fails as a whole: reads are refused, writes in doubt, and nobody waits for ever.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test all through; the lints only know the test functions themselves"
)]

use std::future::Future;
use std::path::Path;
use std::pin::pin;
use std::task::{Context, Poll, Waker};
use std::thread;
use std::time::{Duration, Instant};

use store::engine::memory::{Doubt, MemoryEngine};
use store::engine::sled::{Sabotage, SledEngine, SledOptions};
use store::engine::{Batch, BatchFault, Engine, EngineError, Health, KeyRange, Lane, Order, Outcome};

fn put(key: &str) -> Batch {
    Batch::new().put(key, "value")
}

fn failing(dir: &Path, sabotage: Sabotage) -> SledOptions {
    SledOptions {
        sabotage,
        stall: Duration::from_millis(400),
        ..SledOptions::new(dir)
    }
}

#[test]
fn errors_and_panics_and_stalls_fail_the_engine_and_keep_what_was_acknowledged() {
    let stall = Duration::from_secs(3);
    for sabotage in [Sabotage::FailAt(4), Sabotage::PanicAt(4), Sabotage::StallAt(4, stall)] {
        let scratch = tempfile::tempdir().unwrap();
        let (dir, moved) = (scratch.path().join("store"), scratch.path().join("moved"));
        let engine = SledEngine::create(&failing(&dir, sabotage)).unwrap();
        let watch = engine.watch();
        assert_eq!(engine.commit(put("first"), Lane::Live), Outcome::Committed);
        assert_eq!(engine.commit(put("second"), Lane::Live), Outcome::Committed);

        // A group, whatever waits behind it, and a reader that comes in between: all get an answer.
        let started = Instant::now();
        let pending: Vec<_> = (0..3000)
            .map(|i| engine.submit(put(&format!("lost {i}")), Lane::Bulk))
            .collect();
        for pending in pending {
            assert_eq!(pending.wait(), Outcome::InDoubt);
        }
        assert!(matches!(engine.get(b"first"), Err(EngineError::Failed(_))));
        assert!(
            started.elapsed() < Duration::from_secs(2),
            "{sabotage:?}: {:?}",
            started.elapsed()
        );
        assert!(watch.has_changed().unwrap());
        assert!(matches!(engine.condition(), Health::Failed(_)));
        assert_eq!(engine.commit(put("later"), Lane::Live), Outcome::InDoubt);
        assert!(matches!(engine.close(), Err(EngineError::Failed(_))));
        drop(engine);

        // The failed engine is never stopped, so in one process its folder is freed only by taking a copy.
        copy(&dir, &moved);
        let engine = SledEngine::open_existing(&SledOptions::new(&moved)).unwrap();
        let keys: Vec<_> = engine.page(&KeyRange::all(), Order::Ascending, 9000).unwrap();
        assert!(keys.iter().any(|(key, _)| key == b"first") && keys.iter().any(|(key, _)| key == b"second"));
        assert!(keys.iter().all(|(key, _)| key != b"later"));
    }
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn below_the_reserve_only_what_frees_space_is_taken() {
    let scratch = tempfile::tempdir().unwrap();
    let low = SledOptions {
        reserve: u64::MAX,
        ..SledOptions::new(scratch.path().join("store"))
    };
    let engine = SledEngine::create(&low).unwrap();
    let outcome = engine.commit(put("k"), Lane::Live);
    assert!(
        matches!(outcome, Outcome::Unfit(BatchFault::DiskLow { reserve: u64::MAX, .. })),
        "{outcome:?}"
    );
    assert_eq!(engine.get(b"k").unwrap(), None);
    assert_eq!(engine.commit(put("k").allow_when_low(), Lane::Live), Outcome::Committed);
    assert_eq!(
        engine.commit(Batch::new().delete("k").allow_when_low(), Lane::Live),
        Outcome::Committed
    );
    assert_eq!(engine.condition(), Health::Serving);
}

#[test]
fn a_view_that_is_held_too_long_costs_the_batch_and_not_the_engine() {
    let scratch = tempfile::tempdir().unwrap();
    let engine = SledEngine::create(&failing(&scratch.path().join("store"), Sabotage::None)).unwrap();
    let view = engine.view().unwrap();
    let started = Instant::now();
    assert_eq!(engine.commit(put("k"), Lane::Live), Outcome::Unfit(BatchFault::HeldUp));
    assert!(started.elapsed() >= Duration::from_millis(400));

    // A second view on the same thread is let in although a batch waits for the first.
    let waiting = engine.submit(put("k"), Lane::Live);
    thread::sleep(Duration::from_millis(50));
    let started = Instant::now();
    assert_eq!(engine.view().unwrap().get(b"k").unwrap(), None);
    assert!(started.elapsed() < Duration::from_millis(200));
    assert_eq!(view.get(b"k").unwrap(), None);
    drop(view);
    assert_eq!(waiting.wait(), Outcome::Committed);
    assert_eq!(engine.get(b"k").unwrap().unwrap(), b"value");
}

#[test]
fn a_full_lane_sheds_and_the_live_lane_overtakes_bulk() {
    let scratch = tempfile::tempdir().unwrap();
    let stalled = SledOptions {
        sabotage: Sabotage::StallAt(2, Duration::from_millis(800)),
        ..SledOptions::new(scratch.path().join("store"))
    };
    let engine = SledEngine::create(&stalled).unwrap();
    let first = engine.submit(put("first"), Lane::Bulk);
    thread::sleep(Duration::from_millis(100));
    let mut queued = Vec::new();
    let shed = loop {
        match engine.try_submit(put(&format!("bulk {}", queued.len())), Lane::Bulk) {
            Ok(pending) => queued.push(pending),
            Err(batch) => break batch,
        }
    };
    assert_eq!(shed, put(&format!("bulk {}", queued.len())));
    assert!((1000..=10_000).contains(&queued.len()), "{}", queued.len());
    // The bulk lane is full, the live one is not, and what comes last in time is answered before the last of bulk.
    let live = engine.try_submit(put("live"), Lane::Live).unwrap();
    assert_eq!(live.wait(), Outcome::Committed);
    let mut last = pin!(queued.pop().unwrap());
    assert!(last.as_mut().poll(&mut Context::from_waker(Waker::noop())) == Poll::Pending);
    assert_eq!(first.wait(), Outcome::Committed);
    assert!(queued.into_iter().all(|pending| pending.wait() == Outcome::Committed));
}

#[test]
fn closing_answers_what_is_queued_and_marks_the_store_clean() {
    let scratch = tempfile::tempdir().unwrap();
    let options = SledOptions::new(scratch.path().join("store"));
    let engine = SledEngine::create(&options).unwrap();
    let pending: Vec<_> = (0..2000)
        .map(|i| engine.submit(put(&format!("{i}")), Lane::Bulk))
        .collect();
    engine.close().unwrap();
    assert!(pending.into_iter().all(|pending| pending.wait() == Outcome::Committed));
    // After a clean stop rows are not read while opening, so this check is not even asked.
    let never = SledOptions {
        check: |_, _| Err("asked".into()),
        ..options
    };
    let engine = SledEngine::open_existing(&never).unwrap();
    assert_eq!(
        engine.page(&KeyRange::all(), Order::Descending, 9000).unwrap().len(),
        2000
    );
}

#[test]
fn the_memory_engine_can_be_made_to_fail_for_the_layers_above() {
    let engine = MemoryEngine::new();
    engine.doubt_next(Doubt::Lost);
    assert_eq!(engine.commit(put("lost"), Lane::Live), Outcome::InDoubt);
    engine.doubt_next(Doubt::Kept);
    assert_eq!(engine.commit(put("kept"), Lane::Live), Outcome::InDoubt);
    assert_eq!(
        engine.page(&KeyRange::all(), Order::Ascending, 9).unwrap(),
        [(b"kept".to_vec(), b"value".to_vec())]
    );
    engine.set_disk_low(true);
    assert!(matches!(
        engine.commit(put("k"), Lane::Live),
        Outcome::Unfit(BatchFault::DiskLow { .. })
    ));
    assert_eq!(engine.commit(put("k").allow_when_low(), Lane::Live), Outcome::Committed);
    engine.fail("broken");
    assert_eq!(engine.get(b"kept"), Err(EngineError::Failed("broken".into())));
    assert_eq!(engine.commit(put("k"), Lane::Live), Outcome::InDoubt);
}
