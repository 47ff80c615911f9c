//! Recording: cuts, repeats, supersessions, doubt; what was sent is what is there.

use std::collections::VecDeque;
use std::sync::Arc;

use proptest::collection::vec;
use proptest::prelude::*;
use store::engine::Engine;
use store::engine::memory::{Doubt, MemoryEngine};
use store::record::{Gap, RunBody, RunState};
use store::{Block, FinishClaim, ListQuery, Recording, Store, StoreError};

use super::{DAY, assert_sound, at, block, header, id, in_memory, on_disk, request};

fn claim(blocks: &[Block]) -> FinishClaim {
    let bytes = blocks.iter().flat_map(|block| {
        let times = block.elapsed_ns.iter().flat_map(|t| t.to_le_bytes());
        times
            .chain(block.columns.iter().flatten().flat_map(|x| x.to_le_bytes()))
            .collect::<Vec<_>>()
    });
    FinishClaim {
        block_count: blocks.len() as u64,
        sample_count: blocks.iter().map(|block| block.sample_count() as u64).sum(),
        crc32c: Some(crc32c::crc32c(&bytes.collect::<Vec<_>>())),
    }
}

fn read(store: &Store, from: u64) -> Vec<Block> {
    store
        .read_blocks(&id("r1"), from)
        .unwrap()
        .map(Result::unwrap)
        .collect()
}

#[test]
fn blocks_handed_over_without_waiting_are_durable_in_order_and_finish_checks_them() {
    let (_, store) = in_memory();
    let opened = store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    assert_eq!(
        (opened.attachment, opened.durable_through, opened.resumed),
        (1, 0, false)
    );
    let mut recording = opened.recording.unwrap();
    let sent: Vec<_> = (1..=20)
        .map(|n| Block {
            receive_time: at(10),
            ..block(n, 50)
        })
        .collect();
    let pending: Vec<_> = sent
        .iter()
        .map(|block| recording.append(at(10), block).unwrap())
        .collect();
    pending.into_iter().for_each(|pending| pending.wait().unwrap());
    assert_eq!(read(&store, 0), sent);
    assert_eq!(read(&store, 15), sent[14..]);
    let wrong = FinishClaim {
        crc32c: Some(1),
        ..claim(&sent)
    };
    assert!(matches!(
        recording.finish(at(20), wrong),
        Err(StoreError::FinishDiffers { block_count: 20, .. })
    ));
    let run = recording.finish(at(20), claim(&sent)).unwrap();
    assert_eq!(
        (run.body.state(), run.body.block_count, run.body.sample_count),
        (RunState::Finished, 20, 1_000)
    );
    assert_eq!(run.body.content_crc32c, claim(&sent).crc32c);
    assert_eq!(
        recording.append(at(21), &block(21, 1)).unwrap().wait(),
        Err(StoreError::RunClosed)
    );
    let again = store
        .open_run(at(22), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    assert!(again.recording.is_none() && again.run == run);
    assert_sound(&store);
}

#[test]
fn a_repeat_is_taken_a_changed_block_and_a_hole_are_refused() {
    let (_, store) = in_memory();
    let key = request(1, "record", "");
    let mut recording = store
        .open_run(at(1), &key, Some(&id("r1")), header())
        .unwrap()
        .recording
        .unwrap();
    recording.append(at(2), &block(1, 5)).unwrap().wait().unwrap();
    assert_eq!(recording.append(at(3), &block(1, 5)).unwrap().wait(), Ok(()));
    let hole = recording.append(at(3), &block(3, 5));
    assert_eq!(hole.err(), Some(StoreError::BlockOutOfOrder { wanted: 2 }));
    // After taking the run up again the comparison is with what is stored.
    let mut again = store
        .open_run(at(4), &key, Some(&id("r1")), header())
        .unwrap()
        .recording
        .unwrap();
    assert_eq!(again.append(at(5), &block(1, 5)).unwrap().wait(), Ok(()));
    assert_eq!(
        again.append(at(5), &block(1, 4)).err(),
        Some(StoreError::BlockDiffers { number: 1 })
    );
    assert_eq!(
        recording.append(at(6), &block(2, 5)).unwrap().wait(),
        Err(StoreError::Superseded)
    );
    assert_eq!(
        recording.finish(at(6), claim(&[block(1, 5)])),
        Err(StoreError::Superseded)
    );
    assert_eq!(store.run_tail(&id("r1")).unwrap().durable_through, 1);
}

#[test]
fn an_interrupted_run_is_taken_up_for_a_day_after_its_last_block() {
    let (_, store) = in_memory();
    let key = request(1, "record", "");
    let mut recording = store
        .open_run(at(0), &key, Some(&id("r1")), header())
        .unwrap()
        .recording
        .unwrap();
    recording.append(at(5), &block(1, 5)).unwrap().wait().unwrap();
    let opened = store.open_run(at(5 + DAY), &key, Some(&id("r1")), header()).unwrap();
    assert_eq!(
        (opened.attachment, opened.durable_through, opened.sample_count),
        (2, 1, 5)
    );
    let late = store.open_run(at(6 + DAY), &key, Some(&id("r1")), header());
    assert_eq!(late.err(), Some(StoreError::NotResumable));
    let other = store.open_run(at(6), &request(1, "record", "other"), Some(&id("r1")), header());
    assert_eq!(other.err(), Some(StoreError::RequestIdReused));
}

#[test]
fn gaps_are_listed_and_an_update_changes_spring_and_notes_alone() {
    let (_, store) = in_memory();
    let opened = store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    let mut recording = opened.recording.unwrap();
    let gap = Gap {
        lost_sample_count: Some(7),
        cause: "spool full".into(),
        ..Default::default()
    };
    recording.append(at(2), &block(1, 5)).unwrap().wait().unwrap();
    let gapped = Block {
        gap_before: Some(gap.clone()),
        segment: 1,
        ..block(2, 5)
    };
    recording.append(at(3), &gapped).unwrap().wait().unwrap();
    let assign = |body: &RunBody| {
        Ok::<_, StoreError>(RunBody {
            spring: "a7".into(),
            state: RunState::Finished.into(),
            ..body.clone()
        })
    };
    let run = store
        .update(at(4), &request(2, "update", ""), &id("r1"), None, assign)
        .unwrap();
    assert_eq!((run.body.spring.as_str(), run.body.state()), ("a7", RunState::Open));
    let run = store
        .finish_run(at(5), &request(3, "finish", ""), &id("r1"), None)
        .unwrap();
    assert_eq!(run.body.gaps, [Gap { block: 2, ..gap }]);
    let closed = store.discard_run(at(6), &request(4, "discard", ""), &id("r1"), None);
    assert_eq!(closed, Err(StoreError::RunClosed));
    assert_sound(&store);
}

#[test]
fn a_deleted_run_takes_no_block_and_is_purged_with_its_samples() {
    let (engine, store) = in_memory();
    let opened = store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    let mut recording = opened.recording.unwrap();
    let pending: Vec<_> = (1..=200)
        .map(|n| recording.append(at(2), &block(n, 5)).unwrap())
        .collect();
    pending.into_iter().for_each(|pending| pending.wait().unwrap());
    store
        .delete::<RunBody>(at(3), &request(2, "delete", ""), &id("r1"), None)
        .unwrap();
    assert_eq!(
        recording.append(at(4), &block(201, 5)).unwrap().wait(),
        Err(StoreError::Superseded)
    );
    assert_eq!(read(&store, 200).len(), 1);
    let mut steps = 0;
    loop {
        let step = store.purge_due(at(40 * DAY), 1).unwrap();
        assert_sound(&Store::over(engine.clone()).unwrap());
        steps += 1;
        if step.purged == 1 {
            break;
        }
        assert!(
            steps < 99 && store.get::<RunBody>(&id("r1")).is_err(),
            "a purge that has begun is not undone"
        );
    }
    assert!(steps >= 5, "200 blocks in steps of 64 rows");
    let all = store.list::<RunBody>(
        &ListQuery {
            show_deleted: true,
            limit: 9,
            ..Default::default()
        },
        |_| true,
    );
    assert_eq!(all.unwrap().records, []);
    // The clock; two request ids and their ends.
    assert_eq!(super::rows(&*engine).len(), 5);
}

#[test]
fn runs_are_listed_newest_first_page_by_page() {
    let (_, store) = in_memory();
    for n in 0..120_i64 {
        let key = request(n as u64, "record", "");
        store
            .open_run(at(n / 2), &key, Some(&id(&format!("r{n}"))), header())
            .unwrap();
    }
    let mut query = ListQuery {
        limit: 7,
        ..Default::default()
    };
    let mut seen = Vec::new();
    loop {
        let page = store
            .list::<RunBody>(&query, |run| !run.id.as_str().ends_with('3'))
            .unwrap();
        seen.extend(
            page.records
                .iter()
                .map(|run| (-run.create_time.as_nanos(), run.id.to_string())),
        );
        query.after = page.next;
        if query.after.is_none() {
            break;
        }
    }
    assert_eq!(seen.len(), 108);
    assert!(seen.is_sorted());
}

#[test]
fn a_block_too_large_as_words_is_kept_compressed_and_noise_is_refused() {
    let (_, store) = in_memory();
    let opened = store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    let mut recording = opened.recording.unwrap();
    recording.append(at(0), &block(1, 4_096)).unwrap().wait().unwrap();
    assert_eq!(read(&store, 1), [block(1, 4_096)]);
    // Mixed until no neighbour tells anything of the next.
    let noise = |salt: u64| {
        let mixed = (1..=4_096_u64).map(|i| {
            (0..4).fold(i ^ (salt << 32), |x, _| {
                (x ^ (x >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(17)
            })
        });
        mixed.map(|bits| f64::from_bits(bits >> 2)).collect::<Vec<_>>()
    };
    let large = Block {
        number: 2,
        columns: (0..16).map(noise).collect(),
        ..Default::default()
    };
    assert!(matches!(
        recording.append(at(0), &large),
        Err(StoreError::TooLarge { .. })
    ));
    let ragged = Block {
        number: 2,
        columns: vec![vec![1.0], vec![]],
        ..Default::default()
    };
    assert!(matches!(
        recording.append(at(0), &ragged),
        Err(StoreError::Malformed { .. })
    ));
    recording.append(at(0), &block(2, 9)).unwrap().wait().unwrap();
}

#[derive(Clone, Debug)]
enum Turn {
    Send { count: usize },
    Repeat { back: u64 },
    Jump,
    Doubt { kept: bool },
    Attach,
    OldStream,
    Assign,
    Reopen,
}

fn turns() -> impl Strategy<Value = Vec<Turn>> {
    let turn = prop_oneof![
        6 => (1..6_usize).prop_map(|count| Turn::Send { count }),
        3 => (0..6_u64).prop_map(|back| Turn::Repeat { back }),
        1 => Just(Turn::Jump),
        2 => any::<bool>().prop_map(|kept| Turn::Doubt { kept }),
        2 => Just(Turn::Attach),
        2 => Just(Turn::OldStream),
        1 => Just(Turn::Assign),
        1 => Just(Turn::Reopen),
    ];
    vec(turn, 1..60)
}

/// Plays a sender that keeps what is not acknowledged, as the protocol demands.
fn play(
    turns: &[Turn],
    engine: Arc<dyn Engine>,
    doubt: impl Fn(bool),
    reopen: impl Fn(Arc<dyn Engine>) -> Arc<dyn Engine>,
) {
    let mut engine = engine;
    let mut store = Store::over(engine.clone()).unwrap();
    let key = request(1, "record", "");
    let attach = |store: &Store| store.open_run(at(9), &key, Some(&id("r1")), header()).unwrap();
    let content = |number: u64| Block {
        receive_time: at(9),
        ..block(number, 1 + (number % 7) as usize)
    };
    let mut recording: Option<Recording> = attach(&store).recording;
    let mut old: Option<Recording> = None;
    let mut acknowledged = 0;
    let mut attachment = 1;
    for (step, turn) in turns.iter().enumerate() {
        match turn {
            Turn::Send { count } => {
                let mut stream = recording.take().unwrap();
                let first = stream.handed_over().durable_through + 1;
                let numbers = first..first + *count as u64;
                let pending: VecDeque<_> = numbers.map(|n| stream.append(at(9), &content(n)).unwrap()).collect();
                let mut broken = false;
                for pending in pending {
                    let number = pending.number();
                    match pending.wait() {
                        // Durable, and so is every block before it, one whose own answer was lost included.
                        Ok(()) => acknowledged = number,
                        Err(StoreError::InDoubt | StoreError::BlockOutOfOrder { .. }) => broken = true,
                        Err(error) => panic!("{error:?}"),
                    }
                }
                match broken {
                    true => old = Some(stream),
                    false => recording = Some(stream),
                }
            }
            Turn::Repeat { back } => {
                let stream = recording.as_mut().unwrap();
                let number = stream.handed_over().durable_through.saturating_sub(*back);
                if number > 0 {
                    match stream.append(at(8), &content(number)).unwrap().wait() {
                        Ok(()) => {}
                        Err(StoreError::InDoubt) => old = recording.take(),
                        Err(error) => panic!("{error:?}"),
                    }
                }
            }
            Turn::Jump => {
                let stream = recording.as_mut().unwrap();
                let wanted = stream.handed_over().durable_through + 1;
                let jumped = stream.append(at(9), &content(wanted + 1));
                assert_eq!(jumped.err(), Some(StoreError::BlockOutOfOrder { wanted }));
            }
            Turn::Doubt { kept } => doubt(*kept),
            Turn::Attach => old = recording.take(),
            Turn::OldStream => {
                if let Some(stream) = &mut old {
                    let number = stream.handed_over().durable_through + 1;
                    let late = stream.append(at(9), &block(number, 3)).unwrap().wait();
                    assert!(
                        matches!(late, Err(StoreError::Superseded | StoreError::InDoubt)),
                        "{late:?}"
                    );
                }
            }
            Turn::Assign => {
                let assign = |body: &RunBody| {
                    Ok::<_, StoreError>(RunBody {
                        notes: format!("{step}"),
                        ..body.clone()
                    })
                };
                let key = request(1_000 + step as u64, "update", "");
                let saved = store.update(at(9), &key, &id("r1"), None, assign);
                assert!(matches!(saved, Ok(_) | Err(StoreError::InDoubt)));
            }
            Turn::Reopen => {
                // The engine goes with the last store over it.
                (recording, old) = (None, None);
                drop(store);
                engine = reopen(engine);
                store = Store::over(engine.clone()).unwrap();
            }
        }
        while recording.is_none() {
            match store.open_run(at(9), &key, Some(&id("r1")), header()) {
                Ok(opened) => {
                    assert!(opened.attachment > attachment && opened.durable_through >= acknowledged);
                    (attachment, acknowledged) = (opened.attachment, opened.durable_through);
                    recording = opened.recording;
                }
                Err(error) => assert_eq!(error, StoreError::InDoubt),
            }
        }
    }
    let stream = recording.unwrap();
    let sent: Vec<_> = (1..=acknowledged).map(content).collect();
    let finished = loop {
        match stream.finish(at(10), claim(&sent)) {
            Err(StoreError::InDoubt) => {}
            Err(StoreError::RunClosed) => break attach(&store).run,
            other => break other.unwrap(),
        }
    };
    assert_eq!(finished.body.block_count, acknowledged);
    while store.seal_due(1).unwrap() {}
    assert_eq!(read(&store, 0), sent);
    assert_sound(&store);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..Default::default() })]
    #[test]
    fn any_recording_ends_in_exactly_the_samples_sent(turns in turns()) {
        let engine = Arc::new(MemoryEngine::new());
        let doubt = |kept| engine.doubt_next(if kept { Doubt::Kept } else { Doubt::Lost });
        play(&turns, engine.clone(), doubt, |engine| engine);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..Default::default() })]
    #[test]
    fn a_recording_on_disk_outlives_reopening(turns in turns()) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("store");
        play(&turns, on_disk(&path), |_| (), |engine| {
            engine.close().unwrap();
            drop(engine);
            on_disk(&path)
        });
    }
}
