//! Sealing: nothing is lost at any step, every bit comes back, and it is worth it.

use std::sync::Arc;

use store::engine::memory::{Doubt, MemoryEngine};
use store::record::{Gap, Quantity, TareMark};
use store::{Block, Store, StoreError};

use super::{assert_sound, at, header, id, request, rows};

/// A rate test at 2 kHz: slow pressing, times with the jitter of a clock, readings rounded to the last digit.
fn realistic(blocks: u64, samples: usize) -> Vec<Block> {
    let mut state = 7_u64;
    let mut noise = move || {
        // Sum of uniform numbers: near enough to a bell.
        let mut sum = 0.0;
        for _ in 0..12 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum - 6.0
    };
    let mut index = 0_i64;
    (1..=blocks)
        .map(|number| {
            let mut block = Block {
                number,
                columns: vec![Vec::new(); 2],
                receive_time: at(5),
                ..Default::default()
            };
            for _ in 0..samples {
                let seconds = index as f64 / 2_000.0;
                let deflection = 10.0 * seconds + 0.004 * noise();
                let load = 9.5 * deflection + 0.3 * noise();
                block.elapsed_ns.push(index * 500_000 + (noise() * 300.0) as i64);
                block.columns[0].push((deflection / 0.01).round() * 0.01);
                block.columns[1].push((load / 0.1).round() * 0.1);
                index += 1;
            }
            block
        })
        .collect()
}

fn finished(blocks: &[Block]) -> (Arc<MemoryEngine>, Store) {
    let (engine, store) = super::in_memory();
    let opened = store
        .open_run(at(1), &request(1, "record", ""), Some(&id("r1")), header())
        .unwrap();
    let mut recording = opened.recording.unwrap();
    for block in blocks {
        recording.append(block.receive_time, block).unwrap().wait().unwrap();
    }
    store
        .finish_run(at(9), &request(2, "finish", ""), &id("r1"), None)
        .unwrap();
    (engine, store)
}

fn sample_bytes(engine: &MemoryEngine) -> usize {
    rows(engine)
        .iter()
        .filter(|(key, _)| key[0] == 0x09)
        .map(|(key, value)| key.len() + value.len())
        .sum()
}

#[test]
fn a_sealed_run_takes_few_bytes_a_sample() {
    let sent = realistic(300, 200);
    let (engine, store) = finished(&sent);
    let before = sample_bytes(&engine) as f64 / 60_000.0;
    while store.seal_step(&id("r1")).unwrap() {}
    let after = sample_bytes(&engine) as f64 / 60_000.0;
    println!("{before:.2} bytes a sample while recording, {after:.2} sealed");
    assert!(after <= 6.0);
    let read: Vec<_> = store.read_blocks(&id("r1"), 1).unwrap().map(Result::unwrap).collect();
    assert!(read == sent);
    let read: Vec<_> = store.read_blocks(&id("r1"), 250).unwrap().map(Result::unwrap).collect();
    assert!(read == sent[249..]);
    assert_sound(&store);
}

#[test]
fn a_run_cut_off_between_any_two_steps_of_sealing_is_whole() {
    let sent = realistic(900, 90);
    let (engine, mut store) = finished(&sent);
    let mut steps = 0;
    loop {
        // Every second step is cut off with its batch lost or kept, and the store opened anew.
        if steps % 2 == 1 {
            engine.doubt_next(if steps % 4 == 1 { Doubt::Lost } else { Doubt::Kept });
            assert!(matches!(store.seal_due(1), Err(StoreError::InDoubt)));
            store = Store::over(engine.clone()).unwrap();
        }
        let more = store.seal_due(1).unwrap();
        let read: Vec<_> = store.read_blocks(&id("r1"), 1).unwrap().map(Result::unwrap).collect();
        assert!(read == sent);
        assert_sound(&store);
        steps += 1;
        if !more {
            break;
        }
    }
    assert!(steps >= 3, "{steps} steps are too few to be cut off between");
}

#[test]
fn every_bit_of_a_double_and_every_mark_of_a_block_comes_back() {
    let odd = [
        0.0,
        -0.0,
        f64::MIN_POSITIVE / 2.0,
        -f64::MAX,
        0.1 + 0.2,
        f64::from_bits(0x7FF8_0000_0000_0123),
        f64::INFINITY,
    ];
    let gap = Gap {
        block: 2,
        lost_sample_count: None,
        duration: None,
        cause: "line cut".into(),
    };
    let sent = vec![
        Block {
            number: 1,
            columns: vec![odd.to_vec(), odd.to_vec()],
            receive_time: at(3),
            ..Default::default()
        },
        Block {
            number: 2,
            segment: 1,
            elapsed_ns: vec![i64::MIN, 0, i64::MAX],
            columns: vec![vec![1.0; 3], vec![-0.0; 3]],
            gap_before: Some(gap),
            tare_mark: Some(TareMark {
                load: Some(Quantity { value: -0.3, unit: 1 }),
                zeroed_load: None,
            }),
            receive_time: at(4),
        },
    ];
    let (_, store) = finished(&sent);
    for sealed in [false, true] {
        let read: Vec<_> = store.read_blocks(&id("r1"), 1).unwrap().map(Result::unwrap).collect();
        let bits = |blocks: &[Block]| -> Vec<u64> {
            blocks
                .iter()
                .flat_map(|block| block.columns.iter().flatten().map(|x| x.to_bits()))
                .collect()
        };
        assert_eq!(bits(&read), bits(&sent), "sealed: {sealed}");
        let marks = |block: &Block| Block {
            columns: Vec::new(),
            ..block.clone()
        };
        assert!(read.iter().map(marks).eq(sent.iter().map(marks)));
        assert!(!store.seal_step(&id("r1")).unwrap() || sealed || !store.seal_step(&id("r1")).unwrap());
    }
}
