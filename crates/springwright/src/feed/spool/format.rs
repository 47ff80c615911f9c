//! The spool's bytes: frames, records, and what follows from them when they are read again.

use std::collections::VecDeque;
use std::io::Read;

use prost::Message;
use wire::v1;

use super::super::intake::{Clock, Place};

pub(super) const MAGIC: &[u8; 8] = b"SPRWSPL1";
/// Length and checksum before each record.
const FRAME_BYTES: u64 = 8;
/// A record beyond this is damage: a block is at most 64 KiB, a head less.
const RECORD_BYTES_MAX: u32 = 128 * 1024;

/// One record of the file.
#[derive(Clone, PartialEq, prost::Message)]
pub(super) struct Record {
    #[prost(oneof = "Kind", tags = "1, 2, 3, 4")]
    kind: Option<Kind>,
}

#[derive(Clone, PartialEq, prost::Oneof)]
pub(super) enum Kind {
    #[prost(message, boxed, tag = "1")]
    Head(Box<Head>),
    #[prost(message, tag = "2")]
    Checkpoint(Mark),
    #[prost(message, tag = "3")]
    Kept(Kept),
    #[prost(message, tag = "4")]
    Ended(Ended),
}

/// What a feed must know to take the recording up again.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Head {
    /// The source, as the feed names it.
    #[prost(string, tag = "1")]
    pub(crate) source: String,
    /// Its columns.
    #[prost(string, tag = "2")]
    pub(crate) columns: String,
    /// What stands between them.
    #[prost(string, tag = "3")]
    pub(crate) separator: String,
    /// Lines at its start that are passed over.
    #[prost(uint64, tag = "4")]
    pub(crate) skip_lines: u64,
    /// Whether it can leave out lines on request.
    #[prost(bool, tag = "5")]
    pub(crate) resumes: bool,
    /// Which test it says it is.
    #[prost(string, tag = "6")]
    pub(crate) test: String,
    /// The run's header with its request id.
    #[prost(message, optional, tag = "7")]
    pub(crate) header: Option<v1::RunHeader>,
    /// Whether its lines end with number and checksum.
    #[prost(bool, tag = "8")]
    pub(crate) sealed: bool,
}

/// Where everything stands after a block.
#[derive(Clone, Copy, PartialEq, prost::Message)]
pub(crate) struct Mark {
    /// The block; 0 before the first.
    #[prost(int64, tag = "1")]
    pub(crate) number: i64,
    /// Samples up to its end.
    #[prost(int64, tag = "2")]
    pub(crate) samples: i64,
    /// Checksum up to its end, as the finish states it.
    #[prost(fixed32, tag = "3")]
    pub(crate) crc32c: u32,
    /// Gaps up to its end.
    #[prost(int64, tag = "4")]
    pub(crate) gaps: i64,
    /// Segment of its samples.
    #[prost(int32, tag = "5")]
    segment: i32,
    #[prost(int64, optional, tag = "6")]
    zero_ns: Option<i64>,
    #[prost(int64, optional, tag = "7")]
    latest_ns: Option<i64>,
    #[prost(uint64, tag = "8")]
    line: u64,
    #[prost(uint64, tag = "9")]
    offset: u64,
    #[prost(uint64, tag = "10")]
    data_lines: u64,
    #[prost(uint64, tag = "11")]
    malformed: u64,
}

impl Mark {
    /// Where the source stands.
    pub(crate) fn place(&self) -> Place {
        Place {
            line: self.line,
            offset: self.offset,
            data_lines: self.data_lines,
            malformed: self.malformed,
        }
    }

    /// Where its clock stands.
    pub(crate) fn clock(&self) -> Clock {
        Clock {
            segment: self.segment,
            zero_ns: self.zero_ns,
            latest_ns: self.latest_ns,
        }
    }

    /// The mark after one more block.
    pub(super) fn after(&self, block: &v1::Block, place: Place, clock: Clock) -> Self {
        let mut crc32c = self.crc32c;
        for elapsed in &block.elapsed_ns {
            crc32c = crc32c::crc32c_append(crc32c, &elapsed.to_le_bytes());
        }
        for value in block.columns.iter().flat_map(|column| &column.values) {
            crc32c = crc32c::crc32c_append(crc32c, &value.to_le_bytes());
        }
        let samples = block.columns.first().map_or(0, |column| column.values.len());
        Self {
            number: block.number,
            samples: self.samples + i64::try_from(samples).unwrap_or(i64::MAX),
            crc32c,
            gaps: self.gaps + i64::from(block.gap_before.is_some()),
            segment: clock.segment,
            zero_ns: clock.zero_ns,
            latest_ns: clock.latest_ns,
            line: place.line,
            offset: place.offset,
            data_lines: place.data_lines,
            malformed: place.malformed,
        }
    }
}

#[derive(Clone, PartialEq, prost::Message)]
pub(super) struct Kept {
    #[prost(message, optional, tag = "1")]
    pub(super) block: Option<v1::Block>,
    #[prost(message, optional, tag = "2")]
    pub(super) mark: Option<Mark>,
}

#[derive(Clone, Copy, PartialEq, prost::Message)]
pub(super) struct Ended {}

#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) mark: Mark,
    pub(super) offset: u64,
    pub(super) length: u64,
}

/// Whether a file that begins with these bytes is a spool, and is too short for the head it begins with.
pub(super) fn ends_within_head(bytes: &[u8], length: u64) -> bool {
    let Some(rest) = bytes.strip_prefix(MAGIC.as_slice()) else {
        return MAGIC.starts_with(bytes);
    };
    let Some((head, _)) = rest.split_first_chunk::<4>() else {
        return true;
    };
    length < MAGIC.len() as u64 + FRAME_BYTES + u64::from(u32::from_le_bytes(*head))
}

pub(super) fn frame(kind: Kind) -> Vec<u8> {
    let payload = Record { kind: Some(kind) }.encode_to_vec();
    // A record is bounded far below 4 GiB by the block's own bounds.
    let length = u32::try_from(payload.len()).unwrap_or(u32::MAX).to_le_bytes();
    let checksum = crc32c::crc32c_append(crc32c::crc32c(&length), &payload).to_le_bytes();
    [length.as_slice(), checksum.as_slice(), payload.as_slice()].concat()
}

#[derive(Debug, Default)]
pub(super) struct Scan {
    pub(super) head: Option<Head>,
    pub(super) floor: Mark,
    pub(super) entries: VecDeque<Entry>,
    pub(super) ended: bool,
    /// Bytes up to the end of the last good record.
    pub(super) good: u64,
    pub(super) fault: Option<&'static str>,
}

pub(super) fn scan(reader: &mut impl Read) -> Scan {
    let mut scan = Scan::default();
    let mut magic = [0; 8];
    if reader.read_exact(&mut magic).is_err() || &magic != MAGIC {
        scan.fault = Some("no spool");
        return scan;
    }
    scan.good = MAGIC.len() as u64;
    loop {
        let outcome = match next(reader) {
            Ok(None) => return scan,
            Ok(Some((kind, length))) => scan.take(kind, length),
            Err(reason) => Err(reason),
        };
        if let Err(reason) = outcome {
            scan.fault = Some(reason);
            return scan;
        }
    }
}

impl Scan {
    fn take(&mut self, kind: Kind, length: u64) -> Result<(), &'static str> {
        let last = self.entries.back().map_or(self.floor, |entry| entry.mark);
        match kind {
            Kind::Head(head) if self.head.is_none() => self.head = Some(*head),
            Kind::Checkpoint(mark) if self.head.is_some() && last == Mark::default() => self.floor = mark,
            Kind::Kept(Kept {
                block: Some(block),
                mark: Some(mark),
            }) if self.head.is_some()
                && !self.ended
                && block.number == last.number + 1
                && mark == last.after(&block, mark.place(), mark.clock()) =>
            {
                self.entries.push_back(Entry {
                    mark,
                    offset: self.good,
                    length,
                });
            }
            Kind::Ended(_) if self.head.is_some() => self.ended = true,
            Kind::Head(_) | Kind::Checkpoint(_) | Kind::Kept(_) | Kind::Ended(_) => {
                return Err("a record that does not follow the one before");
            }
        }
        self.good += length;
        Ok(())
    }
}

/// The next record and how many bytes it took; none at the end.
pub(super) fn next(reader: &mut impl Read) -> Result<Option<(Kind, u64)>, &'static str> {
    let mut frame = Vec::with_capacity(8);
    let torn = |_| "a torn record";
    reader.take(FRAME_BYTES).read_to_end(&mut frame).map_err(torn)?;
    if frame.is_empty() {
        return Ok(None);
    }
    let Some((length_bytes, checksum)) = frame.split_first_chunk::<4>() else {
        return Err("a torn record");
    };
    let Ok(checksum) = <[u8; 4]>::try_from(checksum) else {
        return Err("a torn record");
    };
    let length = u32::from_le_bytes(*length_bytes);
    if length > RECORD_BYTES_MAX {
        return Err("a damaged record");
    }
    let mut payload = Vec::new();
    reader.take(u64::from(length)).read_to_end(&mut payload).map_err(torn)?;
    if payload.len() as u64 != u64::from(length) {
        return Err("a torn record");
    }
    if crc32c::crc32c_append(crc32c::crc32c(length_bytes), &payload) != u32::from_le_bytes(checksum) {
        return Err("a damaged record");
    }
    match Record::decode(payload.as_slice()) {
        Ok(Record { kind: Some(kind) }) => Ok(Some((kind, FRAME_BYTES + u64::from(length)))),
        Ok(Record { kind: None }) | Err(_) => Err("a record of a kind this program does not know"),
    }
}
