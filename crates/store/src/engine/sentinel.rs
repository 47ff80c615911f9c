//! The `STORE` file: what the store must contain at least, kept outside the engine that might lose it.
//!
//! Two slots of 4 KiB are written in turn and synced, so one of them is whole whatever happens to the other:
//!
//! ```text
//! offset  bytes  content (integers little-endian)
//!      0      8  "SPRNGWST"
//!      8      4  layout of this slot, 1
//!     12      4  format of the data folder
//!     16     16  store id
//!     32      8  segment size
//!     40      8  turn: how many slots were written before; its last bit chooses the slot
//!     48      8  durable sequence: groups of batches that are safe
//!     56      8  keys stored at that sequence
//!     64      8  length of the data file after a clean stop, otherwise 0
//!     72      1  1 after a clean stop, otherwise 0
//!     73   4019  zero
//!   4092      4  CRC-32C of the 4,092 bytes before
//! ```

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;

/// Length of one slot: a whole page, so that no write of one touches the other.
pub const SLOT: usize = 4096;
const MAGIC: &[u8; 8] = b"SPRNGWST";
const LAYOUT: u32 = 1;
const SUM_AT: usize = SLOT - 4;

/// What a slot says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sentinel {
    /// Drawn at random when the store was made.
    pub store_id: [u8; 16],
    /// Format of the data folder.
    pub format: u32,
    /// Segment size of the data folder, fixed when it was made.
    pub segment: u64,
    /// Slots written before this one.
    pub turn: u64,
    /// Groups of batches that are durable.
    pub sequence: u64,
    /// Keys stored at that sequence.
    pub keys: u64,
    /// After a clean stop the length of the data file, otherwise none.
    pub clean: Option<u64>,
}

impl Sentinel {
    /// The bytes of the slot.
    pub fn encode(&self) -> Vec<u8> {
        let mut slot = Vec::with_capacity(SLOT);
        slot.extend_from_slice(MAGIC);
        slot.extend_from_slice(&LAYOUT.to_le_bytes());
        slot.extend_from_slice(&self.format.to_le_bytes());
        slot.extend_from_slice(&self.store_id);
        for number in [
            self.segment,
            self.turn,
            self.sequence,
            self.keys,
            self.clean.unwrap_or(0),
        ] {
            slot.extend_from_slice(&number.to_le_bytes());
        }
        slot.push(u8::from(self.clean.is_some()));
        slot.resize(SUM_AT, 0);
        let sum = crc32c::crc32c(&slot);
        slot.extend_from_slice(&sum.to_le_bytes());
        slot
    }

    /// Reads a slot; the error says what is wrong with it.
    pub fn decode(slot: &[u8]) -> Result<Sentinel, String> {
        let (body, sum) = slot.split_at_checked(SUM_AT).ok_or("the slot is cut off")?;
        if sum != crc32c::crc32c(body).to_le_bytes() {
            return Err("the checksum of the slot does not match".into());
        }
        let mut bytes = body;
        if take(&mut bytes)? != *MAGIC {
            return Err("the slot is not one of this program".into());
        }
        match u32::from_le_bytes(take(&mut bytes)?) {
            LAYOUT => {}
            other => return Err(format!("the slot has layout {other}; this program reads {LAYOUT}")),
        }
        let format = u32::from_le_bytes(take(&mut bytes)?);
        let store_id = take(&mut bytes)?;
        let mut number = || take(&mut bytes).map(u64::from_le_bytes);
        let (segment, turn, sequence, keys, length) = (number()?, number()?, number()?, number()?, number()?);
        let clean = match take(&mut bytes)? {
            [0] => None,
            [1] => Some(length),
            [other] => return Err(format!("the clean mark is {other}; allowed 0 and 1")),
        };
        Ok(Sentinel {
            store_id,
            format,
            segment,
            turn,
            sequence,
            keys,
            clean,
        })
    }

    /// The newest whole slot of the file.
    pub fn read(file: &File) -> io::Result<Result<Sentinel, String>> {
        let length = file.metadata()?.len();
        if length != 2 * SLOT as u64 {
            return Ok(Err(format!("it has {length} bytes instead of {}", 2 * SLOT)));
        }
        let mut slots = vec![0; 2 * SLOT];
        file.read_exact_at(&mut slots, 0)?;
        let (first, second) = slots.split_at(SLOT);
        Ok(match (Sentinel::decode(first), Sentinel::decode(second)) {
            (Ok(a), Ok(b)) => Ok(if a.turn > b.turn { a } else { b }),
            (Ok(one), Err(_)) | (Err(_), Ok(one)) => Ok(one),
            (Err(first), Err(second)) => Err(format!("neither slot can be read: {first}; {second}")),
        })
    }

    /// Advances the turn, writes the slot that is not the newest, and syncs it.
    pub fn write_next(&mut self, file: &File) -> io::Result<()> {
        self.turn += 1;
        file.write_all_at(&self.encode(), (self.turn % 2) * SLOT as u64)?;
        file.sync_data()
    }

    /// Fills a new file: the same slot twice.
    pub fn write_both(&mut self, file: &File) -> io::Result<()> {
        self.write_next(file)?;
        self.write_next(file)
    }
}

fn take<const N: usize>(bytes: &mut &[u8]) -> Result<[u8; N], String> {
    let (head, rest) = bytes.split_first_chunk::<N>().ok_or("the slot is cut off")?;
    *bytes = rest;
    Ok(*head)
}
