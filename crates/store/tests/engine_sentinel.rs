//! The bytes of the sentinel, which every later version has to read.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test all through; the lints only know the test functions themselves"
)]

use std::fs::OpenOptions;

use store::engine::sentinel::{SLOT, Sentinel};

fn example() -> Sentinel {
    Sentinel {
        store_id: *b"0123456789abcdef",
        format: 1,
        segment: 8 << 20,
        turn: 3,
        sequence: 0x0102_0304_0506_0708,
        keys: 77,
        clean: Some(16_777_216),
    }
}

#[test]
fn slot_has_these_bytes() {
    let slot = example().encode();
    let head = "5350524e4757535401000000010000003031323334353637383961626364656600008000000000000300000000000000\
                08070605040302014d00000000000000000000010000000001";
    let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    assert_eq!(slot.len(), SLOT);
    assert_eq!(hex(&slot[..73]), head);
    assert!(slot[73..SLOT - 4].iter().all(|byte| *byte == 0));
    assert_eq!(hex(&slot[SLOT - 4..]), "d57c1518");
    assert_eq!(Sentinel::decode(&slot), Ok(example()));
}

#[test]
fn any_flipped_bit_of_a_slot_is_noticed() {
    let slot = example().encode();
    for bit in (0..SLOT * 8).filter(|bit| *bit < 1200 || bit % 97 == 0 || *bit > SLOT * 8 - 40) {
        let mut damaged = slot.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        assert!(Sentinel::decode(&damaged).is_err(), "bit {bit}");
    }
}

#[test]
fn slots_are_written_in_turn_and_the_newest_is_read() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("STORE");
    let file = OpenOptions::new()
        .read(true)
        .write(true)
        .create_new(true)
        .open(&path)
        .unwrap();
    let mut sentinel = Sentinel {
        turn: 0,
        sequence: 0,
        ..example()
    };
    sentinel.write_both(&file).unwrap();
    for sequence in 1..6 {
        let before = std::fs::read(&path).unwrap();
        sentinel.sequence = sequence;
        sentinel.write_next(&file).unwrap();
        assert_eq!(Sentinel::read(&file).unwrap(), Ok(sentinel.clone()));
        let after = std::fs::read(&path).unwrap();
        let untouched = if sequence % 2 == 1 { 0..SLOT } else { SLOT..2 * SLOT };
        assert!(before[untouched.clone()] == after[untouched]);
    }
}
