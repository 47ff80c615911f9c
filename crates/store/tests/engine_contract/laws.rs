//! What every engine must do. Each law makes its own store and leaves nothing behind.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use store::engine::{
    Batch, BatchFault, Condition, Engine, EngineError, Health, KeyRange, Lane, MAX_BATCH, MAX_KEY, MAX_VALUE, Order,
    Outcome, Write, checksum,
};

pub(crate) trait Factory {
    fn create(&self, dir: &Path) -> Box<dyn Engine>;
    /// None where nothing outlives the engine.
    fn reopen(&self, dir: &Path) -> Option<Box<dyn Engine>>;
}

fn with_store(factory: &dyn Factory, law: impl FnOnce(&dyn Engine)) {
    let dir = tempfile::tempdir().unwrap();
    let engine = factory.create(&dir.path().join("store"));
    law(&*engine);
    engine.close().unwrap();
}

fn put(engine: &dyn Engine, key: &[u8], value: &[u8]) {
    assert_eq!(
        engine.commit(Batch::new().put(key, value), Lane::Live),
        Outcome::Committed
    );
}

fn keys(engine: &dyn Engine, range: &KeyRange, order: Order, limit: usize) -> Vec<Vec<u8>> {
    engine
        .page(range, order, limit)
        .unwrap()
        .into_iter()
        .map(|(key, _)| key)
        .collect()
}

pub(crate) fn keys_are_ordered_bytewise(factory: &dyn Factory) {
    with_store(factory, |engine| {
        let sorted: [&[u8]; 9] = [
            &[1],
            &[1, 0],
            &[1, 0, 0],
            &[1, 0, 0xFF],
            &[1, 1],
            &[0x7F],
            &[0x80],
            &[0xFF],
            &[0xFF, 0xFF],
        ];
        for key in sorted.iter().rev() {
            put(engine, key, key);
        }
        assert_eq!(keys(engine, &KeyRange::all(), Order::Ascending, 100), sorted);
        assert_eq!(
            keys(engine, &KeyRange::prefix([1, 0]), Order::Ascending, 100),
            sorted[1..4]
        );
        assert_eq!(
            keys(engine, &KeyRange::prefix([0xFF]), Order::Ascending, 100),
            sorted[7..]
        );
        assert_eq!(engine.get(&[1, 0, 0xFF]).unwrap().as_deref(), Some(&[1, 0, 0xFF][..]));
        assert_eq!(engine.get(&[1, 0, 0xFE]).unwrap(), None);
    });
}

pub(crate) fn a_condition_that_fails_keeps_the_whole_batch_out(factory: &dyn Factory) {
    with_store(factory, |engine| {
        put(engine, b"here", b"value");
        let sum = checksum(b"value");
        let good = Batch::new()
            .require_absent("new")
            .require_present("here")
            .require_checksum("here", sum);
        let broken = [
            (Batch::new().require_absent("here"), 0),
            (good.clone().require_present("new"), 3),
            (good.clone().require_checksum("here", sum ^ 1), 3),
            (good.clone().require_checksum("new", checksum(b"")), 3),
            (Batch::new().require_absent("here").require_present("new"), 0),
        ];
        for (batch, condition) in broken {
            let outcome = engine.commit(batch.put("new", "x").put("other", "x").delete("here"), Lane::Live);
            assert_eq!(outcome, Outcome::Refused { condition });
            assert_eq!(keys(engine, &KeyRange::all(), Order::Ascending, 9), [b"here"]);
        }
        let outcome = engine.commit(good.put("new", "x").put("other", "x").delete("here"), Lane::Live);
        assert_eq!(outcome, Outcome::Committed);
        assert_eq!(
            keys(engine, &KeyRange::all(), Order::Ascending, 9),
            [&b"new"[..], b"other"]
        );
    });
}

pub(crate) fn conditions_see_earlier_batches_and_not_their_own(factory: &dyn Factory) {
    with_store(factory, |engine| {
        // Handed over at once, so that on disk most of these share groups.
        let pending: Vec<_> = (0..500_u32)
            .flat_map(|i| {
                let old = checksum(&i.to_be_bytes());
                [
                    Batch::new().require_checksum("n", old).put("n", (i + 1).to_be_bytes()),
                    Batch::new().require_checksum("n", old).put("n", "never"),
                    Batch::new().require_absent("gone").put("gone", ""),
                    Batch::new().require_present("gone").delete("gone"),
                ]
            })
            .collect();
        put(engine, b"n", &0_u32.to_be_bytes());
        let pending: Vec<_> = pending
            .into_iter()
            .map(|batch| engine.submit(batch, Lane::Live))
            .collect();
        for (i, pending) in pending.into_iter().enumerate() {
            let expected = if i % 4 == 1 {
                Outcome::Refused { condition: 0 }
            } else {
                Outcome::Committed
            };
            assert_eq!(pending.wait(), expected, "batch {i}");
        }
        assert_eq!(engine.get(b"n").unwrap().unwrap(), 500_u32.to_be_bytes());
        assert_eq!(engine.get(b"gone").unwrap(), None);
    });
}

pub(crate) fn the_last_change_of_a_key_counts(factory: &dyn Factory) {
    with_store(factory, |engine| {
        let batch = Batch::new()
            .put("a", "1")
            .delete("a")
            .put("a", "2")
            .put("b", "1")
            .delete("b")
            .delete("c");
        assert_eq!(engine.commit(batch, Lane::Bulk), Outcome::Committed);
        assert_eq!(
            engine.page(&KeyRange::all(), Order::Ascending, 9).unwrap(),
            [(b"a".to_vec(), b"2".to_vec())]
        );
        assert_eq!(engine.commit(Batch::new(), Lane::Bulk), Outcome::Committed);
    });
}

pub(crate) fn pages_walk_the_range_in_both_orders(factory: &dyn Factory) {
    with_store(factory, |engine| {
        for i in 0..10_u8 {
            put(engine, &[b'k', i], &[i]);
        }
        put(engine, b"a", b"");
        put(engine, b"z", b"");
        let range = KeyRange::prefix(b"k");
        for order in [Order::Ascending, Order::Descending] {
            let (mut rest, mut seen) = (range.clone(), Vec::new());
            loop {
                let page = keys(engine, &rest, order, 3);
                let Some(last) = page.last() else { break };
                assert!(page.len() <= 3);
                rest = match order {
                    Order::Ascending => rest.after(last),
                    Order::Descending => rest.before(last),
                };
                seen.extend(page.into_iter().map(|key| key[1]));
            }
            let expected: Vec<u8> = match order {
                Order::Ascending => (0..10).collect(),
                Order::Descending => (0..10).rev().collect(),
            };
            assert_eq!(seen, expected);
        }
        assert_eq!(
            keys(engine, &KeyRange::between([b'k', 3], [b'k', 5]), Order::Descending, 9),
            [[b'k', 4], [b'k', 3]]
        );
        assert!(keys(engine, &range, Order::Ascending, 0).is_empty());
        assert!(keys(engine, &KeyRange::between("z", "a"), Order::Ascending, 9).is_empty());
        assert!(keys(engine, &KeyRange::between("k", "k"), Order::Descending, 9).is_empty());
        assert_eq!(
            keys(engine, &KeyRange::all(), Order::Descending, 2),
            [&b"z"[..], &[b'k', 9]]
        );
    });
}

pub(crate) fn what_is_outside_the_limits_is_unfit_and_leaves_no_trace(factory: &dyn Factory) {
    with_store(factory, |engine| {
        let sixty_four = vec![7; MAX_VALUE];
        let large = (0..65_u8).fold(Batch::new(), |batch, i| batch.put([b'k', i], sixty_four.clone()));
        let unfit = [
            (Batch::new().put("", "x"), BatchFault::KeyEmpty),
            (Batch::new().require_absent(""), BatchFault::KeyEmpty),
            (Batch::new().put([0, 1], "x"), BatchFault::KeyReserved),
            (Batch::new().delete(*b"\0commit"), BatchFault::KeyReserved),
            (
                Batch::new().put(vec![1; MAX_KEY + 1], "x"),
                BatchFault::KeyTooLong { length: MAX_KEY + 1 },
            ),
            (
                Batch::new().put("v", vec![1; MAX_VALUE + 1]),
                BatchFault::ValueTooLarge { length: MAX_VALUE + 1 },
            ),
            (large.clone(), BatchFault::BatchTooLarge { bytes: large.bytes() }),
        ];
        assert!(large.bytes() > MAX_BATCH);
        for (batch, fault) in unfit {
            assert_eq!(
                engine.commit(batch.put("good", "x"), Lane::Live),
                match fault {
                    BatchFault::BatchTooLarge { bytes } =>
                        Outcome::Unfit(BatchFault::BatchTooLarge { bytes: bytes + 5 }),
                    fault => Outcome::Unfit(fault),
                }
            );
        }
        assert!(keys(engine, &KeyRange::all(), Order::Ascending, 9).is_empty());
        assert_eq!(engine.get(b"\0commit").unwrap(), None);
        assert_eq!(engine.get(b"").unwrap(), None);
    });
}

pub(crate) fn the_largest_rows_come_back_as_they_were(factory: &dyn Factory) {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path().join("store");
    let mut engine = factory.create(&dir);
    // Neighbours, so that a whole leaf is filled with rows of the largest size.
    let row = |i: u8| {
        let key: Vec<u8> = [vec![b'k'; MAX_KEY - 1], vec![i]].concat();
        let value: Vec<u8> = (0..MAX_VALUE).map(|at| (at * 31 + usize::from(i)) as u8).collect();
        (key, value)
    };
    for i in 0..40 {
        let (key, value) = row(i);
        put(&*engine, &key, &value);
    }
    let check = |engine: &dyn Engine| {
        for i in 0..40 {
            let (key, value) = row(i);
            assert!(engine.get(&key).unwrap() == Some(value), "row {i}");
        }
    };
    check(&*engine);
    engine.close().unwrap();
    drop(engine);
    if let Some(reopened) = factory.reopen(&dir) {
        engine = reopened;
        check(&*engine);
    }
}

pub(crate) fn a_view_never_shows_half_a_batch(factory: &dyn Factory) {
    with_store(factory, |engine| {
        let pair = |i: u64| {
            Batch::new()
                .put("a", i.to_be_bytes())
                .put("m", [1; 3000])
                .put("z", i.to_be_bytes())
        };
        assert_eq!(engine.commit(pair(0), Lane::Live), Outcome::Committed);
        let done = AtomicBool::new(false);
        thread::scope(|scope| {
            for writer in 0..4_u64 {
                let done = &done;
                scope.spawn(move || {
                    let mut i = writer;
                    while !done.load(Ordering::Relaxed) {
                        i += 4;
                        assert_eq!(engine.commit(pair(i), Lane::Live), Outcome::Committed);
                    }
                });
            }
            let mut seen = std::collections::BTreeSet::new();
            let (started, mut round) = (Instant::now(), 0_u32);
            // Until enough was written between the reads for a half to have shown.
            while seen.len() < 150 && started.elapsed() < Duration::from_secs(20) {
                round += 1;
                let view = engine.view().unwrap();
                let (first, last) = if round % 2 == 0 {
                    let first = view.get(b"a").unwrap().unwrap();
                    (first, view.get(b"z").unwrap().unwrap())
                } else {
                    let page = view.page(&KeyRange::all(), Order::Ascending, 3).unwrap();
                    (page[0].1.clone(), page[2].1.clone())
                };
                assert_eq!(first, last);
                seen.insert(first);
            }
            done.store(true, Ordering::Relaxed);
            assert!(seen.len() >= 150, "only {} states were seen", seen.len());
        });
    });
}

pub(crate) fn of_many_writers_that_require_absence_one_wins(factory: &dyn Factory) {
    with_store(factory, |engine| {
        for round in 0..50_u8 {
            let won: usize = thread::scope(|scope| {
                let writers: Vec<_> = (0..4_u8)
                    .map(|writer| {
                        let lane = if writer % 2 == 0 { Lane::Live } else { Lane::Bulk };
                        let batch = Batch::new().require_absent([b'r', round]).put([b'r', round], [writer]);
                        scope.spawn(move || usize::from(engine.commit(batch, lane) == Outcome::Committed))
                    })
                    .collect();
                writers.into_iter().map(|writer| writer.join().unwrap()).sum()
            });
            assert_eq!(won, 1, "round {round}");
        }
    });
}

#[derive(Clone, Debug)]
enum Step {
    Commit(Batch),
    Page(KeyRange, Order, usize),
    Reopen,
}

fn key() -> impl Strategy<Value = Vec<u8>> {
    // Few and similar keys, so that steps meet.
    vec(prop_oneof![Just(0_u8), Just(1), Just(0xFF)], 0..3).prop_map(|tail| [vec![b'k'], tail].concat())
}

fn value() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        vec(any::<u8>(), 0..4),
        (0..MAX_VALUE, any::<u8>()).prop_map(|(length, byte)| vec![byte; length])
    ]
}

fn step() -> impl Strategy<Value = Step> {
    let condition = prop_oneof![
        key().prop_map(Condition::Absent),
        key().prop_map(Condition::Present),
        (key(), vec(any::<u8>(), 0..2)).prop_map(|(key, value)| Condition::Checksum(key, checksum(&value))),
    ];
    let write = prop_oneof![
        3 => (key(), value()).prop_map(|(key, value)| Write::Put(key, value)),
        1 => key().prop_map(Write::Delete),
    ];
    let batch = (vec(condition, 0..2), vec(write, 0..4)).prop_map(|(require, write)| Batch {
        require,
        write,
        allow_when_low: false,
    });
    let range = (key(), proptest::option::of(key())).prop_map(|(start, end)| KeyRange { start, end });
    let order = prop_oneof![Just(Order::Ascending), Just(Order::Descending)];
    prop_oneof![
        10 => batch.prop_map(Step::Commit),
        4 => (range, order, 0..5_usize).prop_map(|(range, order, limit)| Step::Page(range, order, limit)),
        1 => Just(Step::Reopen),
    ]
}

pub(crate) fn random_batches_match_an_ordered_map(factory: &dyn Factory) {
    let mut runner = TestRunner::new(Config {
        cases: 12,
        failure_persistence: None,
        ..Config::default()
    });
    let outcome = runner.run(&vec(step(), 1..60), |steps| {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path().join("store");
        let mut engine = factory.create(&dir);
        let mut model = BTreeMap::new();
        for step in steps {
            match step {
                Step::Commit(batch) => {
                    let expected = decide(&mut model, &batch);
                    prop_assert_eq!(engine.commit(batch, Lane::Live), expected);
                }
                Step::Page(range, order, limit) => {
                    let inside = model
                        .iter()
                        .filter(|(key, _)| range.contains(key))
                        .map(|(k, v)| (k.clone(), v.clone()));
                    let mut expected: Vec<_> = inside.collect();
                    if order == Order::Descending {
                        expected.reverse();
                    }
                    expected.truncate(limit);
                    prop_assert!(engine.page(&range, order, limit).unwrap() == expected);
                }
                Step::Reopen => {
                    engine.close().unwrap();
                    match factory.reopen(&dir) {
                        Some(reopened) => engine = reopened,
                        None => return Ok(()),
                    }
                }
            }
        }
        let all = engine.page(&KeyRange::all(), Order::Ascending, usize::MAX).unwrap();
        prop_assert!(all.into_iter().eq(model));
        Ok(())
    });
    outcome.unwrap();
}

fn decide(model: &mut BTreeMap<Vec<u8>, Vec<u8>>, batch: &Batch) -> Outcome {
    let holds = |condition: &Condition| match condition {
        Condition::Absent(key) => !model.contains_key(key),
        Condition::Present(key) => model.contains_key(key),
        Condition::Checksum(key, sum) => model.get(key).map(|value| checksum(value)) == Some(*sum),
    };
    if let Some(condition) = batch.require.iter().position(|condition| !holds(condition)) {
        return Outcome::Refused { condition };
    }
    for write in &batch.write {
        match write {
            Write::Put(key, value) => model.insert(key.clone(), value.clone()),
            Write::Delete(key) => model.remove(key),
        };
    }
    Outcome::Committed
}

pub(crate) fn a_closed_engine_says_so(factory: &dyn Factory) {
    let dir = tempfile::tempdir().unwrap();
    let engine = factory.create(&dir.path().join("store"));
    put(&*engine, b"k", b"v");
    assert_eq!(engine.condition(), Health::Serving);
    engine.close().unwrap();
    engine.close().unwrap();
    assert_eq!(engine.condition(), Health::Closed);
    assert_eq!(engine.get(b"k"), Err(EngineError::Closed));
    assert_eq!(
        engine.commit(Batch::new().put("k", "w"), Lane::Live),
        Outcome::Unfit(BatchFault::Closed)
    );
}
