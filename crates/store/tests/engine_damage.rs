//! A store that is not what was acknowledged is refused with words: never a panic, never an empty store.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test all through; the lints only know the test functions themselves"
)]

use std::fs::{self, OpenOptions};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use store::engine::compact::compact;
use store::engine::folder::note_backup;
use store::engine::refusal::OpenError;
use store::engine::sentinel::{SLOT, Sentinel};
use store::engine::sled::{SledEngine, SledOptions};
use store::engine::{Batch, Engine, KeyRange, Lane, Order, Outcome, checksum};

const ROWS: u32 = 300;

/// A row that carries its own checksum, as the record layer's do.
fn row(i: u32) -> (Vec<u8>, Vec<u8>) {
    let body: Vec<u8> = (0..2000 + i)
        .flat_map(|at| (at.wrapping_mul(i + 7)).to_le_bytes())
        .take(4000)
        .collect();
    (
        [&b"r"[..], &i.to_be_bytes()].concat(),
        [checksum(&body).to_le_bytes().to_vec(), body].concat(),
    )
}

fn check(_: &[u8], value: &[u8]) -> Result<(), String> {
    let (sum, body) = value.split_first_chunk::<4>().ok_or("the row is cut off")?;
    if checksum(body).to_le_bytes() == *sum {
        Ok(())
    } else {
        Err("its checksum does not match".into())
    }
}

fn options(dir: &Path) -> SledOptions {
    SledOptions {
        check,
        ..SledOptions::new(dir)
    }
}

fn fill(engine: &SledEngine) {
    for start in (0..ROWS).step_by(50) {
        let batch = (start..start + 50)
            .map(row)
            .fold(Batch::new(), |batch, (key, value)| batch.put(key, value));
        assert_eq!(engine.commit(batch, Lane::Bulk), Outcome::Committed);
    }
}

fn closed_store(dir: &Path) {
    let engine = SledEngine::create(&options(dir)).unwrap();
    fill(&engine);
    engine.close().unwrap();
}

/// A store as a killed process leaves it.
fn killed_store(dir: &Path) {
    let scratch = tempfile::tempdir().unwrap();
    let engine = SledEngine::create(&options(&scratch.path().join("store"))).unwrap();
    fill(&engine);
    copy(&scratch.path().join("store"), dir);
    engine.close().unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn assert_whole(engine: &SledEngine) {
    let rows = engine.page(&KeyRange::all(), Order::Ascending, usize::MAX).unwrap();
    assert!(rows.into_iter().eq((0..ROWS).map(row)));
}

fn data_file(dir: &Path) -> PathBuf {
    dir.join("data-000001").join("db")
}

fn truncate(file: &Path, keep: impl FnOnce(u64) -> u64) {
    let file = OpenOptions::new().write(true).open(file).unwrap();
    file.set_len(keep(file.metadata().unwrap().len())).unwrap();
}

fn flip(file: &Path, bit: u64) {
    let file = OpenOptions::new().read(true).write(true).open(file).unwrap();
    let mut byte = [0];
    file.read_exact_at(&mut byte, bit / 8).unwrap();
    byte[0] ^= 1 << (bit % 8);
    file.write_all_at(&byte, bit / 8).unwrap();
}

fn remove_snapshots(dir: &Path) {
    for entry in fs::read_dir(dir.join("data-000001")).unwrap().map(Result::unwrap) {
        if entry.file_name().to_string_lossy().starts_with("snap.") {
            fs::remove_file(entry.path()).unwrap();
        }
    }
}

/// Refused, with the part that is wrong, the last backup and the way back.
fn assert_refused(dir: &Path, part: &str) -> String {
    note_backup(dir, "2031-05-04 to /backup/shop.txt").unwrap();
    match SledEngine::open_existing(&options(dir)) {
        Err(OpenError::Refused(refusal)) => {
            let words = refusal.to_string();
            assert!(refusal.part.contains(part), "{words}");
            assert!(
                words.contains(&format!("springwright import --store {}", dir.display())),
                "{words}"
            );
            assert!(words.contains("last backup: 2031-05-04 to /backup/shop.txt"), "{words}");
            words
        }
        Err(e) => panic!("refused with the wrong words: {e}"),
        Ok(engine) => panic!("opened: {engine:?}"),
    }
}

type Damage = fn(&Path);

#[test]
fn damaged_stores_are_refused_after_a_clean_and_an_unclean_stop() {
    let damages: [(&str, &str, Damage); 13] = [
        ("half", "data-000001", |dir| {
            truncate(&data_file(dir), |length| length / 2)
        }),
        ("nothing", "data-000001", |dir| truncate(&data_file(dir), |_| 0)),
        ("data file gone", "data-000001", |dir| {
            fs::remove_file(data_file(dir)).unwrap()
        }),
        ("data folder gone", "data-000001", |dir| {
            fs::remove_dir_all(dir.join("data-000001")).unwrap()
        }),
        ("garbled conf", "data-000001", |dir| {
            fs::write(dir.join("data-000001/conf"), b"\x01\x02garbled").unwrap()
        }),
        ("no sentinel", "STORE", |dir| {
            fs::remove_file(dir.join("STORE")).unwrap()
        }),
        ("half a sentinel", "STORE", |dir| {
            truncate(&dir.join("STORE"), |length| length / 2)
        }),
        ("both slots flipped", "STORE", |dir| {
            flip(&dir.join("STORE"), 500);
            flip(&dir.join("STORE"), 500 + 8 * SLOT as u64);
        }),
        ("foreign sentinel", "STORE", |dir| {
            fs::write(dir.join("STORE"), vec![b'x'; 2 * SLOT]).unwrap()
        }),
        ("no pointer", "CURRENT", |dir| {
            fs::remove_file(dir.join("CURRENT")).unwrap()
        }),
        ("garbled pointer", "CURRENT", |dir| {
            fs::write(dir.join("CURRENT"), "data-000001/../x\n").unwrap()
        }),
        ("pointer to nowhere", "data-000009", |dir| {
            fs::write(dir.join("CURRENT"), "data-000009\n").unwrap()
        }),
        ("foreign data", "data-000001", |dir| {
            let other = dir.parent().unwrap().join("other");
            closed_store(&other);
            fs::remove_dir_all(dir.join("data-000001")).unwrap();
            fs::rename(other.join("data-000001"), dir.join("data-000001")).unwrap();
            fs::remove_dir_all(other).unwrap();
        }),
    ];
    for (name, part, damage) in damages {
        for (stop, make) in [("clean", closed_store as Damage), ("unclean", killed_store)] {
            let scratch = tempfile::tempdir().unwrap();
            let dir = scratch.path().join("store");
            make(&dir);
            damage(&dir);
            println!("{name}, {stop}: {}\n", assert_refused(&dir, part));
        }
    }
}

/// A flipped bit can hit what is no longer used; it must never change what is read.
#[test]
fn flipped_bits_are_refused_or_harmless() {
    let scratch = tempfile::tempdir().unwrap();
    let whole = scratch.path().join("whole");
    killed_store(&whole);
    let length = fs::metadata(data_file(&whole)).unwrap().len();
    let (mut refused, mut harmless) = (0, 0);
    let spread = 0x9E37_79B9_7F4A_7C15_u64;
    for i in 1..=60_u64 {
        let dir = scratch.path().join("flipped");
        copy(&whole, &dir);
        // Rows are near the front; the tail of the last segment is mostly empty.
        flip(&data_file(&dir), i.wrapping_mul(spread) % (8 * length.min(2 << 20)));
        if i % 2 == 0 {
            remove_snapshots(&dir);
        }
        match SledEngine::open_existing(&options(&dir)) {
            Ok(engine) => {
                assert_whole(&engine);
                harmless += 1;
            }
            Err(OpenError::Refused(_)) => refused += 1,
            Err(e) => panic!("flip {i}: {e}"),
        }
        fs::remove_dir_all(&dir).unwrap();
    }
    println!("{refused} refused, {harmless} harmless");
    assert!(refused >= 10, "{refused} refused: the flips did not reach the rows");
}

#[test]
fn parts_from_different_times_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let (old, new) = (scratch.path().join("old"), scratch.path().join("new"));
    closed_store(&old);
    copy(&old, &new);
    let engine = SledEngine::open_existing(&options(&new)).unwrap();
    for i in 0..5 {
        assert_eq!(
            engine.commit(Batch::new().delete(row(i).0), Lane::Live),
            Outcome::Committed
        );
    }
    engine.close().unwrap();

    let mixed = scratch.path().join("old data");
    copy(&new, &mixed);
    fs::remove_dir_all(mixed.join("data-000001")).unwrap();
    copy(&old.join("data-000001"), &mixed.join("data-000001"));
    // The length alone may say enough; a mark that is unclean leaves the sequence to speak.
    let store_file = OpenOptions::new()
        .read(true)
        .write(true)
        .open(mixed.join("STORE"))
        .unwrap();
    let mut sentinel = Sentinel::read(&store_file).unwrap().unwrap();
    sentinel.clean = None;
    sentinel.write_next(&store_file).unwrap();
    let words = assert_refused(&mixed, "data-000001");
    assert!(words.contains("were acknowledged"), "{words}");

    let mixed = scratch.path().join("old sentinel");
    copy(&new, &mixed);
    fs::copy(old.join("STORE"), mixed.join("STORE")).unwrap();
    assert_refused(&mixed, "data-000001");
}

#[test]
fn one_damaged_slot_does_not_cost_the_store() {
    for slot in 0..2_u64 {
        let scratch = tempfile::tempdir().unwrap();
        let dir = scratch.path().join("store");
        killed_store(&dir);
        flip(&dir.join("STORE"), 8 * SLOT as u64 * slot + 500);
        let engine = SledEngine::open_existing(&options(&dir)).unwrap();
        assert_whole(&engine);
    }
}

#[test]
fn a_row_that_fails_its_check_is_refused_after_an_unclean_stop_and_when_asked() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path().join("store");
    closed_store(&dir);
    let reject: store::engine::sled::Check = |key, _| {
        if key == row(77).0 {
            Err("no good".into())
        } else {
            Ok(())
        }
    };
    let asked = SledOptions {
        check: reject,
        read_all: true,
        ..options(&dir)
    };
    let words = SledEngine::open_existing(&asked).unwrap_err().to_string();
    assert!(words.contains("row 720000004d: no good"), "{words}");
}

#[test]
fn a_folder_without_a_store_is_not_made_into_one_by_opening_it() {
    let scratch = tempfile::tempdir().unwrap();
    for dir in [scratch.path().join("absent"), scratch.path().to_owned()] {
        let e = SledEngine::open_existing(&options(&dir)).unwrap_err();
        assert!(matches!(e, OpenError::NoStore { .. }), "{e}");
        assert!(e.to_string().contains("is a disk not mounted?"), "{e}");
    }
    assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 0);
}

#[test]
fn a_store_is_made_only_where_nothing_is() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path().join("store");
    closed_store(&dir);
    let e = SledEngine::create(&options(&dir)).unwrap_err();
    assert!(matches!(e, OpenError::NotVacant { .. }), "{e}");
    assert_whole(&SledEngine::open_existing(&options(&dir)).unwrap());
}

#[test]
fn a_second_opening_is_told_that_the_store_is_in_use() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path().join("store");
    let first = SledEngine::create(&options(&dir)).unwrap();
    let e = SledEngine::open_existing(&options(&dir)).unwrap_err();
    assert!(matches!(e, OpenError::InUse { .. }), "{e}");
    first.close().unwrap();
    SledEngine::open_existing(&options(&dir)).unwrap();
}

#[test]
fn a_store_left_unclean_is_checked_and_leaves_no_copy_behind() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path().join("store");
    killed_store(&dir);
    assert_whole(&SledEngine::open_existing(&options(&dir)).unwrap());
    assert!(!dir.join("recovery-copy").exists());

    // Refused, so the copy stays, and it is what was found.
    let damaged = scratch.path().join("damaged");
    killed_store(&damaged);
    truncate(&data_file(&damaged), |length| length / 2);
    let found = fs::read(data_file(&damaged)).unwrap();
    let words = assert_refused(&damaged, "data-000001");
    assert!(words.contains("recovery-copy"), "{words}");
    assert!(fs::read(damaged.join("recovery-copy/db")).unwrap() == found);
}

#[test]
fn compaction_gives_space_back_and_keeps_every_row() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path().join("store");
    let engine = SledEngine::create(&options(&dir)).unwrap();
    for round in 0..12_u8 {
        for i in 0..160_u8 {
            let batch = Batch::new().put([b'x', i], vec![round; 60_000]);
            assert_eq!(engine.submit(batch, Lane::Bulk).wait(), Outcome::Committed);
        }
    }
    fill(&engine);
    for i in 0..160_u8 {
        assert_eq!(
            engine.commit(Batch::new().delete([b'x', i]), Lane::Bulk),
            Outcome::Committed
        );
    }
    engine.close().unwrap();
    // As a compaction that was cut short leaves it.
    fs::create_dir(dir.join("data-000002")).unwrap();
    fs::write(dir.join("data-000002/db"), "half").unwrap();

    let done = compact(&options(&dir)).unwrap();
    assert_eq!(done.keys, u64::from(ROWS));
    assert!(done.after * 2 <= done.before, "{done:?}");
    assert!(!dir.join("data-000001").exists());
    let engine = SledEngine::open_existing(&options(&dir)).unwrap();
    assert_whole(&engine);
    engine.close().unwrap();
    compact(&options(&dir)).unwrap();
    assert_whole(
        &SledEngine::open_existing(&SledOptions {
            read_all: true,
            ..options(&dir)
        })
        .unwrap(),
    );
}
