//! Somebody else is faster: between the look and the write, something else is written.

use std::sync::{Arc, Mutex};

use store::engine::memory::MemoryEngine;
use store::engine::{Batch, Engine, EngineError, Health, Lane, Pending, View};
use store::{Block, FinishClaim, Recording, RunBody, SpringBody, Store, StoreError};
use tokio::sync::watch;

use super::{assert_sound, at, block, header, id, request, spring};

type Meddling = Box<dyn FnOnce() + Send>;

/// Does something of its own right before the next batch.
#[derive(Default)]
struct Meddled {
    inner: Arc<MemoryEngine>,
    next: Mutex<Option<Meddling>>,
}

impl Engine for Meddled {
    fn view(&self) -> Result<Box<dyn View + '_>, EngineError> {
        self.inner.view()
    }

    fn submit(&self, batch: Batch, lane: Lane) -> Pending {
        let meddling = self.next.lock().unwrap().take();
        meddling.into_iter().for_each(|meddle| meddle());
        self.inner.submit(batch, lane)
    }

    fn try_submit(&self, batch: Batch, lane: Lane) -> Result<Pending, Batch> {
        Ok(self.submit(batch, lane))
    }

    fn condition(&self) -> Health {
        self.inner.condition()
    }

    fn watch(&self) -> watch::Receiver<Health> {
        self.inner.watch()
    }

    fn close(&self) -> Result<(), EngineError> {
        self.inner.close()
    }
}

/// A store somebody meddles with, and the store of whoever does.
fn both() -> (Arc<Meddled>, Store, Store) {
    let engine = Arc::new(Meddled::default());
    let (slow, fast) = (
        Store::over(engine.clone()).unwrap(),
        Store::over(engine.inner.clone()).unwrap(),
    );
    (engine, slow, fast)
}

fn before_next(engine: &Meddled, meddle: impl FnOnce() + Send + 'static) {
    *engine.next.lock().unwrap() = Some(Box::new(meddle));
}

fn open(store: &Store) -> Recording {
    store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap()
        .recording
        .unwrap()
}

fn append(recording: &mut Recording, number: u64) -> Result<(), StoreError> {
    recording.append(at(2), &block(number, 5)).unwrap().wait()
}

#[test]
fn one_request_sent_twice_at_once_is_done_once() {
    let (engine, slow, fast) = both();
    let key = request(1, "create", "");
    before_next(&engine, {
        let (fast, key) = (fast.clone(), key.clone());
        move || drop(fast.create(at(1), &key, None, spring("left")).unwrap())
    });
    let answer = slow.create(at(2), &key, None, spring("left")).unwrap();
    assert_eq!(answer.create_time, at(1));
    let all = slow
        .list::<SpringBody>(
            &store::ListQuery {
                limit: 9,
                ..Default::default()
            },
            |_| true,
        )
        .unwrap();
    assert_eq!(all.records, [answer]);
    assert_sound(&slow);
}

#[test]
fn a_change_under_ones_hands_is_seen_by_the_next_attempt() {
    let (engine, slow, fast) = both();
    let made = slow
        .create(at(1), &request(1, "create", ""), Some(&id("a7")), spring("left"))
        .unwrap();
    let rename = |label: &'static str| {
        move |body: &SpringBody| {
            Ok::<_, StoreError>(SpringBody {
                label: format!("{}{label}", body.label),
                ..body.clone()
            })
        }
    };
    let other = fast.clone();
    before_next(&engine, move || {
        other
            .update(at(2), &request(2, "update", ""), &id("a7"), None, rename(" 1"))
            .unwrap();
    });
    let saved = slow
        .update(at(3), &request(3, "update", ""), &id("a7"), None, rename(" 2"))
        .unwrap();
    assert_eq!((saved.revision, saved.body.label.as_str()), (3, "left 1 2"));
    before_next(&engine, move || {
        drop(
            fast.delete::<SpringBody>(at(4), &request(4, "delete", ""), &id("a7"), None)
                .unwrap(),
        )
    });
    let late = slow.update(at(5), &request(5, "update", ""), &id("a7"), None, rename(" 3"));
    assert_eq!(late, Err(StoreError::Deleted));
    assert_eq!(slow.get_revision(&id("a7"), 1), Ok(made));
    assert_sound(&slow);
}

#[test]
fn a_block_that_comes_while_the_run_is_finished_is_counted() {
    let (engine, slow, fast) = both();
    let mut recording = open(&fast);
    append(&mut recording, 1).unwrap();
    before_next(&engine, move || {
        append(&mut recording, 2).unwrap();
    });
    let run = slow
        .finish_run(at(3), &request(2, "finish", ""), &id("r1"), None)
        .unwrap();
    assert_eq!(run.body.block_count, 2);
    assert_sound(&slow);
}

#[test]
fn a_stream_that_attaches_while_the_one_before_finishes_wins() {
    let (engine, slow, fast) = both();
    let mut recording = open(&slow);
    append(&mut recording, 1).unwrap();
    before_next(&engine, move || drop(open(&fast)));
    let claim = FinishClaim {
        block_count: 1,
        sample_count: 5,
        crc32c: None,
    };
    assert_eq!(recording.finish(at(3), claim), Err(StoreError::Superseded));
    assert_sound(&slow);
}

#[test]
fn of_two_streams_that_attach_at_once_one_can_write() {
    let (engine, slow, fast) = both();
    let first = open(&slow);
    let faster = Arc::new(Mutex::new(None));
    before_next(&engine, {
        let (fast, faster) = (fast.clone(), faster.clone());
        move || *faster.lock().unwrap() = Some(open(&fast))
    });
    let mut slower = open(&slow);
    let mut faster = faster.lock().unwrap().take().unwrap();
    assert_eq!(
        (first.attachment(), faster.attachment(), slower.attachment()),
        (1, 2, 3)
    );
    assert_eq!(append(&mut faster, 1), Err(StoreError::Superseded));
    assert_eq!(append(&mut slower, 1), Ok(()));
}

#[test]
fn two_sealers_at_once_and_a_purge_leave_a_whole_run() {
    let (engine, slow, fast) = both();
    let mut recording = open(&fast);
    (1..=1_200).for_each(|number| append(&mut recording, number).unwrap());
    fast.finish_run(at(3), &request(2, "finish", ""), &id("r1"), None)
        .unwrap();
    let other = fast.clone();
    // The other is two steps ahead when the slow one writes its first.
    before_next(&engine, move || {
        assert!(other.seal_due(1).unwrap() && other.seal_due(1).unwrap())
    });
    slow.seal_due(1).unwrap();
    assert_sound(&slow);
    while slow.seal_due(1).unwrap() {}
    let read: Vec<_> = slow.read_blocks(&id("r1"), 1).unwrap().map(Result::unwrap).collect();
    let sent: Vec<_> = (1..=1_200)
        .map(|number| Block {
            receive_time: at(2),
            ..block(number, 5)
        })
        .collect();
    assert_eq!(read, sent);
    fast.delete::<RunBody>(at(4), &request(3, "delete", ""), &id("r1"), None)
        .unwrap();
    let other = fast.clone();
    let back = request(4, "undelete", "");
    before_next(&engine, move || {
        drop(other.undelete::<RunBody>(at(5), &back, &id("r1"), None).unwrap())
    });
    assert_eq!(slow.purge_due(at(i64::MAX / 2), 9).unwrap().purged, 0);
    assert_eq!(slow.read_blocks(&id("r1"), 1).unwrap().count(), 1_200);
    assert_sound(&slow);
}

#[test]
fn a_run_that_is_purged_while_it_is_sealed_leaves_nothing_behind() {
    let (engine, slow, fast) = both();
    let mut recording = open(&fast);
    (1..=9).for_each(|number| append(&mut recording, number).unwrap());
    fast.finish_run(at(3), &request(2, "finish", ""), &id("r1"), None)
        .unwrap();
    before_next(&engine, move || {
        fast.delete::<RunBody>(at(4), &request(3, "delete", ""), &id("r1"), None)
            .unwrap();
        assert_eq!(fast.purge_due(at(31 * super::DAY), 9).unwrap().purged, 1);
    });
    slow.seal_due(1).unwrap();
    assert_sound(&slow);
    assert!(!slow.seal_due(1).unwrap());
}
