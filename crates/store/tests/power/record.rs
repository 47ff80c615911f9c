//! The process that is killed, and the one that looks at what it left.
//!
//! Each thread writes its own chain: in one batch a record, the pointer to it and the removal of an old record.

use std::io::Write as _;
use std::path::Path;
use std::process::exit;
use std::thread;

use store::engine::sled::{Sabotage, SledEngine, SledOptions};
use store::engine::{Batch, Engine, KeyRange, Lane, MAX_VALUE, Order, Outcome, checksum};

use crate::THREADS;
use crate::subject::{Mode, mix};

/// Records a chain keeps.
const WINDOW: u64 = 16;

fn options(dir: &Path, mode: Mode) -> SledOptions {
    let sabotage = if mode == Mode::Unsynced {
        Sabotage::SkipSync
    } else {
        Sabotage::None
    };
    // The disks of the test are smaller than the usual reserve.
    SledOptions {
        reserve: 1 << 20,
        check: check_row,
        sabotage,
        ..SledOptions::new(dir)
    }
}

fn head_key(chain: u32) -> Vec<u8> {
    [&b"h"[..], &chain.to_be_bytes()].concat()
}

fn record_key(chain: u32, number: u64) -> Vec<u8> {
    [&b"r"[..], &chain.to_be_bytes(), &number.to_be_bytes()].concat()
}

/// Value with its checksum in front, all of it known from its place.
fn record(chain: u32, number: u64, mode: Mode) -> Vec<u8> {
    let mut state = mix(u64::from(chain) << 32 | number);
    let length = match mode {
        Mode::Small => 100 + state % 2900,
        Mode::Large => 4096 + state % (MAX_VALUE as u64 - 4096 - 16),
        // Small and large in turn, so that both ways of losing them show.
        Mode::Unsynced => 1000 + state % if number.is_multiple_of(2) { 2000 } else { 40_000 },
    };
    let mut body = Vec::with_capacity(length as usize);
    while body.len() < length as usize {
        state = mix(state);
        body.extend_from_slice(&state.to_le_bytes());
    }
    sealed(&body)
}

fn sealed(body: &[u8]) -> Vec<u8> {
    [&checksum(body).to_le_bytes(), body].concat()
}

fn check_row(_: &[u8], value: &[u8]) -> Result<(), String> {
    let (sum, body) = value.split_first_chunk::<4>().ok_or("the row is cut off")?;
    if checksum(body).to_le_bytes() == *sum {
        Ok(())
    } else {
        Err("its checksum does not match".into())
    }
}

fn head(engine: &dyn Engine, chain: u32) -> u64 {
    let value = engine.get(&head_key(chain)).unwrap();
    value.map_or(0, |value| u64::from_le_bytes(value[4..].try_into().unwrap()))
}

/// Writes until it is killed; prints `ready`, then each acknowledged record.
pub(crate) fn write(dir: &Path, mode: Mode) {
    let options = options(dir, mode);
    let engine = if dir.exists() {
        SledEngine::open_existing(&options).unwrap()
    } else {
        SledEngine::create(&options).unwrap()
    };
    say("ready");
    thread::scope(|scope| {
        for chain in 0..THREADS {
            let engine = &engine;
            scope.spawn(move || write_chain(engine, chain, mode));
        }
    });
}

fn write_chain(engine: &SledEngine, chain: u32, mode: Mode) {
    let mut number = head(engine, chain);
    loop {
        let old = sealed(&number.to_le_bytes());
        let batch = if number == 0 {
            Batch::new().require_absent(head_key(chain))
        } else {
            Batch::new().require_checksum(head_key(chain), checksum(&old))
        };
        number += 1;
        let mut batch = batch
            .require_absent(record_key(chain, number))
            .put(record_key(chain, number), record(chain, number, mode))
            .put(head_key(chain), sealed(&number.to_le_bytes()));
        if number > WINDOW {
            batch = batch.delete(record_key(chain, number - WINDOW));
        }
        let lane = if chain.is_multiple_of(2) {
            Lane::Live
        } else {
            Lane::Bulk
        };
        match engine.commit(batch, lane) {
            Outcome::Committed => say(&format!("ack {chain} {number}")),
            other => {
                say(&format!("failed {chain} {number} {other:?}"));
                exit(3);
            }
        }
    }
}

/// A whole line in one write, so that a kill never leaves half of one that reads as another.
fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    if out
        .write_all(format!("{line}\n").as_bytes())
        .and_then(|()| out.flush())
        .is_err()
    {
        // Nobody listens any more.
        exit(0);
    }
}

/// Compacts once.
pub(crate) fn compact(dir: &Path, mode: Mode) {
    store::engine::compact::compact(&options(dir, mode)).unwrap();
}

/// Opens, reads everything, prints the head of each chain and leaves the store clean. Says what is wrong and exits with 1 otherwise.
pub(crate) fn check(dir: &Path, mode: Mode) {
    if let Err(what) = examine(dir, mode) {
        say(&format!("lost {}", what.replace('\n', "; ")));
        exit(1);
    }
}

fn examine(dir: &Path, mode: Mode) -> Result<(), String> {
    let engine = SledEngine::open_existing(&options(dir, mode)).map_err(|e| e.to_string())?;
    let mut expected = Vec::new();
    for chain in 0..THREADS {
        let head = head(&engine, chain);
        say(&format!("head {chain} {head}"));
        if head > 0 {
            expected.push((head_key(chain), sealed(&head.to_le_bytes())));
        }
        for number in head.saturating_sub(WINDOW - 1).max(1)..=head {
            expected.push((record_key(chain, number), record(chain, number, mode)));
        }
    }
    expected.sort();
    let found = engine
        .page(&KeyRange::all(), Order::Ascending, usize::MAX)
        .map_err(|e| e.to_string())?;
    if found != expected {
        let wrong = found
            .iter()
            .zip(&expected)
            .position(|(found, expected)| found != expected);
        return Err(format!(
            "{} rows, {} expected, first wrong one {wrong:?}",
            found.len(),
            expected.len()
        ));
    }
    engine.close().map_err(|e| e.to_string())
}
