//! What the disk and the engine can do at all: a loop that commits groups of rows as the store does, with nothing around it.
//!
//! `bare_committer DIR BLOCKS STREAMS ROW_BYTES GROUP` writes BLOCKS rows of ROW_BYTES (keys of 25 bytes included) for
//! STREAMS runs in groups of at most GROUP rows and 4 MiB, each group flushed, synced, and followed by a synced page of its
//! own file; prints rows a second and the number of groups.

use std::error::Error;
use std::fs::File;
use std::io::Write as _;
use std::os::unix::fs::FileExt;
use std::path::PathBuf;
use std::time::Instant;

use store::engine::MAX_BATCH;

/// As in the store.
const SEGMENT: usize = 8 << 20;
const CACHE: u64 = 64 << 20;
const SLOT: usize = 4096;
const COMMIT_ROW: [u8; 44] = [7; 44];
const KEY: usize = 25;

struct Wanted {
    dir: PathBuf,
    blocks: usize,
    streams: usize,
    row_bytes: usize,
    group: usize,
}

impl Wanted {
    fn read() -> Option<Self> {
        let mut words = std::env::args().skip(1);
        let dir = PathBuf::from(words.next()?);
        let mut number = || words.next()?.parse().ok();
        Some(Self {
            dir,
            blocks: number()?,
            streams: number()?,
            row_bytes: number()?,
            group: number()?,
        })
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let wanted = Wanted::read().ok_or("usage: bare_committer DIR BLOCKS STREAMS ROW_BYTES GROUP")?;
    let data = wanted.dir.join("data");
    let db = sled::Config::new()
        .path(&data)
        .segment_size(SEGMENT)
        .cache_capacity(CACHE)
        .mode(sled::Mode::LowSpace)
        .open()?;
    let data_file = File::options().write(true).open(data.join("db"))?;
    let sentinel = File::create(wanted.dir.join("SENTINEL"))?;
    sentinel.write_all_at(&[0; 2 * SLOT], 0)?;
    sentinel.sync_all()?;

    let size = wanted.row_bytes.saturating_sub(KEY);
    let at_once = wanted.group.min(MAX_BATCH / wanted.row_bytes.max(1)).max(1);
    let started = Instant::now();
    let (mut written, mut groups) = (0, 0);
    while written < wanted.blocks {
        let count = at_once.min(wanted.blocks - written);
        let mut batch = sled::Batch::default();
        for block in written..written + count {
            batch.insert(
                key(block % wanted.streams, block / wanted.streams + 1),
                value(block, size),
            );
        }
        batch.insert(&[0; 7], COMMIT_ROW.as_slice());
        db.apply_batch(batch)?;
        db.flush()?;
        data_file.sync_data()?;
        sentinel.write_all_at(&[1; SLOT], ((groups % 2) * SLOT) as u64)?;
        sentinel.sync_data()?;
        written += count;
        groups += 1;
    }
    let rate = written as f64 / started.elapsed().as_secs_f64();
    Ok(writeln!(std::io::stdout(), "{rate:.1} {groups}")?)
}

/// As a row of samples: a byte, the run's 16, the block's number.
fn key(stream: usize, number: usize) -> Vec<u8> {
    let mut key = vec![9];
    key.extend_from_slice(
        &(stream as u128)
            .wrapping_mul(0x9E37_79B9_7F4A_7C15_F39C_0C4D_1E2B_5A77)
            .to_be_bytes(),
    );
    key.extend_from_slice(&(number as u64).to_be_bytes());
    key
}

/// Bytes that nothing could make smaller, as packed samples are.
fn value(block: usize, size: usize) -> Vec<u8> {
    let mut state = block as u64 + 1;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()
    };
    let mut value: Vec<u8> = std::iter::repeat_with(&mut next)
        .take(size.div_ceil(8))
        .flatten()
        .collect();
    value.truncate(size);
    value
}
